"""The plan's values, made of the document."""

from dataclasses import replace

from orchestrator.documents.plans.plan_build import build_plan
from orchestrator.documents.plans.plan_model import PlanModel
from orchestrator.documents.plans.plan_reader import read_plan
from orchestrator.documents.reading.yaml_reader import read
from orchestrator.facility.plan import Interface, ListensTo, Plan, PlannedSource, Reach, Ref

HEAD = """\
facility: x
networks:
  red: {subnet: 127.1.0.0/24, numbering: {range: 1-999, group_range: 239.194.0.0/16, port: 6000}}
  blue: {subnet: 127.2.0.0/24, numbering: red}
rooms: {north: {site: s, network: red}}
"""


def plan(text: str) -> Plan:
    """A plan with these devices."""
    return read_plan((HEAD + text).encode(), "plan.yaml")


def faults(text: str) -> list[tuple[tuple[str | int, ...], str]]:
    """Path and words of what the model can't see."""
    tree, _ = read((HEAD + text).encode(), "plan.yaml")
    _, found = build_plan(PlanModel.model_validate(tree.plain()))
    return [(fault.path, fault.what) for fault in found]


def test_networks_may_share_rules() -> None:
    """The rules are the same; the numbers are unique on each network all the same."""
    some = plan("devices: {}")
    assert some.networks["blue"].numbering == some.networks["red"].numbering is not None


def test_rules_that_lead_nowhere() -> None:
    """A network that does not exist, or has no rules of its own."""
    text = "devices: {}"
    head = HEAD.replace("numbering: red", "numbering: rde")
    tree, _ = read((head + text).encode(), "plan.yaml")
    _, (fault,) = build_plan(PlanModel.model_validate(tree.plain()))
    assert (fault.what, fault.fix) == ("there is no network 'rde'", "write 'red'")
    head = HEAD.replace("numbering: red", "numbering: blue")
    tree, _ = read((head + text).encode(), "plan.yaml")
    _, (fault,) = build_plan(PlanModel.model_validate(tree.plain()))
    assert fault.what == "network 'blue' has no numbering of its own"


def test_types_are_filled_in_key_by_key() -> None:
    """A device's own value wins, in each source by itself; a range meets a single name."""
    some = plan(
        "types:\n"
        "  t:\n"
        "    speaks: [nmos, restconf]\n"
        "    credentials: c\n"
        "    port: 8080\n"
        "    blocks: [7]\n"
        "    sources: {'in-{1..3}': {label: 'L{1..3}', enabled: true, number: 11-13}}\n"
        "    destinations: {out: {slot: o}}\n"
        "devices:\n"
        "  a:\n"
        "    {room: north, type: t, address: 127.1.0.9, credentials: d, blocks: [8, 9],\n"
        "     sources: {in-2: {enabled: false}, own: {number: 5}},\n"
        "     destinations: {out: {listens_to: 4}}}\n"
    )
    device = some.devices["a"]
    assert (device.speaks, device.credentials) == (("nmos", "restconf"), "d")
    assert (device.blocks, device.port) == ((8, 9), 8080)
    first = PlannedSource(name="in-1", label="L1", enabled=True, number=11)
    second = replace(first, name="in-2", label="L2", enabled=False, number=12)
    assert list(device.sources) == ["in-1", "in-2", "in-3", "own"]
    assert (device.sources["in-1"], device.sources["in-2"]) == (first, second)
    out = device.destinations["out"]
    assert (out.slot, out.listens_to) == ("o", ListensTo(number=4))


def test_interfaces() -> None:
    """One named main, several by name; the network is the room's unless it is said."""
    some = plan(
        "devices:\n"
        "  a: {room: north, address: 127.1.0.9}\n"
        "  b: {room: north, network: blue, address: 127.2.0.9}\n"
        "  c:\n"
        "    room: north\n"
        "    interfaces: {r: {address: 127.1.0.8}, b: {network: blue, address: 127.2.0.8}}\n"
        "  d: {room: north}\n"
    )
    assert some.devices["a"].interfaces == (Interface("main", "red", "127.1.0.9"),)
    assert some.devices["b"].interfaces == (Interface("main", "blue", "127.2.0.9"),)
    assert [item.network for item in some.devices["c"].interfaces] == ["red", "blue"]
    assert some.devices["d"].interfaces == ()
    both = "devices: {a: {room: north, address: 127.1.0.9, interfaces: {r: {address: 127.1.0.8}}}}"
    assert faults(both) == [
        (("devices", "a", "address"), "both 'address' and 'interfaces' stand here")
    ]


def test_blocks_that_are_not_given_stay_unsaid() -> None:
    """They follow the address; so what was given can be told from what follows."""
    assert plan("devices: {a: {room: north, address: 127.1.0.9}}").devices["a"].blocks == ()


def test_a_group_without_a_port_takes_the_networks() -> None:
    """Leg by leg."""
    some = plan(
        "on_air: [a/out]\n"
        "devices: {a: {room: north, address: 127.1.0.9, sources: {s: {groups: [239.194.0.1]}},\n"
        "  destinations: {out: {listens_to: 239.194.0.2}}}}"
    )
    assert some.devices["a"].sources["s"].groups == ("239.194.0.1:6000",)
    hears = some.devices["a"].destinations["out"].listens_to
    assert hears == ListensTo(group="239.194.0.2:6000")
    assert some.on_air == (Ref("a", "out"),)


def test_a_fault_in_a_type_is_told_once() -> None:
    """However many devices are of the type, and if none is."""
    kind = "types: {t: {sources: {'in-{1..2}': {number: 5}}}}\n"
    devices = "devices:\n" + "".join(
        f"  d{n}: {{room: north, type: t, address: 127.1.0.{n}}}\n" for n in range(1, 4)
    )
    for text in (kind + "devices: {}", kind + devices):
        assert set(faults(text)) == {
            (("types", "t", "sources", "in-{1..2}", "number"), "one number for 2 sources")
        }


def test_how_restconf_is_reached_and_what_its_interfaces_are_called() -> None:
    """By https at its own port unless the device or its type says otherwise."""
    some = plan(
        "types: {t: {speaks: [nmos, restconf], restconf: {scheme: http, port: 8043}}}\n"
        "devices:\n"
        "  a: {room: north, address: 127.1.0.9}\n"
        "  b: {room: north, type: t, interfaces: {red: {address: 127.1.0.10, slot: eth0}}}\n"
        "  c: {room: north, type: t, address: 127.1.0.11, restconf: {}}\n"
    )
    assert some.devices["a"].restconf == Reach(scheme="https", port=None)
    assert some.devices["b"].restconf == Reach(scheme="http", port=8043)
    assert some.devices["c"].restconf == Reach()
    assert some.devices["b"].interfaces == (Interface("red", "red", "127.1.0.10", "eth0"),)
