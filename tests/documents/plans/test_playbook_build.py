"""A playbook's values."""

from orchestrator.documents.plans.plan_reader import read_plan
from orchestrator.documents.plans.playbook_build import build_playbook
from orchestrator.documents.plans.playbook_model import PlaybookModel
from orchestrator.documents.reading.tree import Fault
from orchestrator.documents.reading.yaml_reader import read
from orchestrator.facility.plan import ListensTo
from orchestrator.facility.wanted import AskedSource, Auto, Playbook, Unit

PLAN = b"""\
facility: x
networks:
  red: {subnet: 127.1.0.0/24, numbering: {range: 1-999, group_range: 239.194.0.0/16, port: 6000}}
  blue: {subnet: 127.2.0.0/24, numbering: red}
rooms: {north: {site: s, network: red}}
devices:
  one: {room: north, interfaces: {eth0: {address: 127.1.0.9}}}
  two: {room: north, interfaces: {r: {address: 127.1.0.8}, b: {network: blue, address: 127.2.0.8}}}
"""


def built(devices: str, *, plan: bool = True) -> tuple[Playbook, tuple[Fault, ...]]:
    """A playbook for these devices, with or without a plan that could be read."""
    text = f"playbook: t\ndevices:\n{devices}"
    model = PlaybookModel.model_validate(read(text.encode(), "p.yaml")[0].plain())
    return build_playbook(model, "p.yaml", read_plan(PLAN, "plan.yaml") if plan else None)


def test_an_address_is_that_of_the_one_interface() -> None:
    """Whatever the plan calls it; of several, one has to be named."""
    playbook, faults = built("  one: {address: 127.1.0.10}\n")
    assert (playbook.devices["one"].addresses, faults) == ({"eth0": "127.1.0.10"}, ())
    _, (fault,) = built("  two: {address: 127.1.0.10}\n")
    assert "which interface" in fault.what
    assert fault.fix == "write interfaces: {r: 127.1.0.10}"
    playbook, faults = built("  two: {interfaces: {b: 127.2.0.10}}\n")
    assert (playbook.devices["two"].addresses, faults) == ({"b": "127.2.0.10"}, ())
    playbook, faults = built("  one: {address: 127.1.0.10}\n", plan=False)
    assert (playbook.devices["one"].addresses, faults) == ({"main": "127.1.0.10"}, ())


def test_sources() -> None:
    """Ranges expanded, auto for each, groups with the plan's port."""
    playbook, faults = built(
        "  one:\n"
        "    unit: reused\n"
        "    sources:\n"
        "      in-{1..2}: {number: 11-12, label: 'L{1..2}'}\n"
        "      fx-{1..2}: {number: auto, enabled: false}\n"
        "      g: {groups: [239.194.0.1], number: unassigned}\n"
        "    destinations: {'out-{1..2}': {listens_to: 'two/in-{1..2}'}}\n"
    )
    assert faults == ()
    device = playbook.devices["one"]
    assert device.unit is Unit.REUSED
    assert device.playbook == "p.yaml"
    assert device.sources["in-2"] == AskedSource(name="in-2", number=12, label="L2")
    assert device.sources["fx-1"] == AskedSource(name="fx-1", number=Auto.AUTO, enabled=False)
    assert device.sources["g"].groups == ("239.194.0.1:6000",)
    assert device.sources["g"].number is Auto.UNASSIGNED
    heard = [str(item.listens_to) for item in device.destinations.values()]
    assert heard == ["two/in-1", "two/in-2"]
    assert isinstance(device.destinations["out-1"].listens_to, ListensTo)


def test_what_is_not_said_is_not_asked() -> None:
    """None is left None, so that nothing changes."""
    playbook, _ = built("  one: {}\n")
    device = playbook.devices["one"]
    assert (device.blocks, device.numbers, device.reach_at) == (None, None, None)
    assert device.unit is Unit.KNOWN
    assert device.addresses == {}


def test_faults_stand_where_the_document_says_it() -> None:
    """At the entry with the range, not at a member of it."""
    _, (fault,) = built("  one: {sources: {'in-{1..2}': {number: 5}}}\n")
    assert fault.path == ("devices", "one", "sources", "in-{1..2}", "number")
    _, (fault,) = built("  one: {address: 127.1.0.10, interfaces: {eth0: 127.1.0.11}}\n")
    assert "both 'address' and 'interfaces'" in fault.what
