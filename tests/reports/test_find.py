import json

import pytest

from orchestrator.facility.discovered import HeardOf, Service
from orchestrator.facility.found import Identity
from orchestrator.planning.whereabouts import Place, Whereabout, Whereabouts
from orchestrator.reports.find import as_json, text

SERVICE = Service(
    kind="_nmos-query._tcp", name="registry", addresses=("127.44.3.90",), port=80, text={"pri": "1"}
)


def one(place: Place, device: str | None, host: str = "127.44.3.41") -> Whereabout:
    """A node that was heard of."""
    node = HeardOf(
        id="an-id",
        identity=Identity(serial="SW-7", model="SN-2"),
        label="Rack node",
        hosts=(host,),
        told_by="the registry at 127.44.3.90",
    )
    return Whereabout(node, place, device)


@pytest.mark.parametrize(
    ("place", "device", "said"),
    [
        (Place.ELSEWHERE, "rack-node", "where neither the plan nor a playbook has it"),
        (Place.NO_SERIAL, "rack-node", "write the serial into the plan"),
        (Place.ANOTHER_UNIT, "rack-node", "another unit than the plan's"),
        (Place.UNKNOWN, None, "is not in the plan"),
    ],
)
def test_what_is_not_as_planned_comes_first(place: Place, device: str | None, said: str) -> None:
    """With what it is, and where."""
    shown = text(Whereabouts(nodes=(one(place, device),), unheard=("quiet-node",)))
    odd, _, rest = shown.partition("Nodes\n-----")
    words = " ".join(odd.split())
    assert said in words
    assert "127.44.3.41" in words
    assert "quiet-node in the plan, and nobody spoke of it. No answer is not vacant." in words
    assert "SW-7" in rest


def test_all_as_planned_is_short() -> None:
    """The nodes, and nothing to look at."""
    shown = text(Whereabouts(nodes=(one(Place.AS_PLANNED, "rack-node"),), unheard=()))
    assert "Not as planned" not in shown
    assert "rack-node" in shown
    assert text(Whereabouts(nodes=(), unheard=())).startswith("0 node(s) were heard of")


def test_what_was_announced_is_listed() -> None:
    """With who was no help, and why."""
    shown = text(Whereabouts(nodes=(), unheard=()), (SERVICE,), ("registry: does not answer",))
    assert "registry: does not answer" in shown
    assert "_nmos-query._tcp" in shown


def test_a_label_can_not_command_the_terminal() -> None:
    """Names come from the network."""
    odd = one(Place.UNKNOWN, None, host="\x1b[2J")
    assert "\x1b" not in text(Whereabouts(nodes=(odd,), unheard=()))


def test_as_json() -> None:
    """As the module says."""
    found = Whereabouts(nodes=(one(Place.AS_PLANNED, "rack-node"),), unheard=("quiet-node",))
    document = json.loads(json.dumps(as_json(found, (SERVICE,), ("x",))))
    assert document["schema"] == "cutsheet/find/1"
    assert document["nodes"] == [
        {
            "serial": "SW-7",
            "model": "SN-2",
            "label": "Rack node",
            "id": "an-id",
            "hosts": ["127.44.3.41"],
            "told_by": "the registry at 127.44.3.90",
            "place": "as planned",
            "device": "rack-node",
        }
    ]
    assert (document["unheard"], document["no_help"]) == (["quiet-node"], ["x"])
    assert document["services"][0]["port"] == 80
