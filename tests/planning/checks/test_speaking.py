"""Each way that the plan names for a device has something to do."""

from dataclasses import replace

import pytest

from orchestrator.facility.description import Description
from orchestrator.facility.plan import Device, PlannedDestination, Reach
from orchestrator.planning.check import BUILT_IN, Finding, findings
from tests.adapters.makes import CORVID, TAMARISK
from tests.planning.made_plan import device, plan, source

STREAMS = replace(
    TAMARISK,
    reads={part: TAMARISK.reads[part] for part in ("identity", "sources", "destinations")},
    settings={},
    setting_writes={},
)
DESCRIPTIONS = {"tamarisk-node": TAMARISK, "corvid-engine": CORVID, "streams": STREAMS}


def found(some: Device, descriptions: dict[str, Description] | None = None) -> list[Finding]:
    """What is found of one device."""
    told = findings(plan(some), (), descriptions or DESCRIPTIONS, {*BUILT_IN, "gull-plug-in"})
    return list(told)


@pytest.mark.parametrize(
    "speaks",
    [
        ("nmos",),
        ("restconf",),
        ("nmos", "restconf"),
        ("restconf", "nmos"),
        ("streams", "restconf"),
        ("nmos", "gull-plug-in"),
        ("gull-plug-in", "tamarisk-node"),
        (),
    ],
)
def test_ways_that_share_a_device_are_fine(speaks: tuple[str, ...]) -> None:
    """In either order; of a plug-in nothing is known here, so it may do anything."""
    assert found(device("a", 31, speaks=speaks)) == []


@pytest.mark.parametrize(
    ("speaks", "index"),
    [
        (("tamarisk-node", "nmos"), 1),
        (("tamarisk-node", "restconf"), 1),
        (("nmos", "restconf", "streams"), 2),
        (("tamarisk-node", "corvid-engine"), 1),
    ],
)
def test_a_way_with_nothing_to_do_is_told(speaks: tuple[str, ...], index: int) -> None:
    """Whoever wrote it there expects something of it."""
    (told,) = found(device("a", 31, speaks=speaks))
    assert told.path == ("devices", "a", "speaks", index)
    assert f"a: {speaks[index]} has nothing to do beside {speaks[0]}" in told.what
    assert told.fix.startswith(f"remove {speaks[index]}")


def test_a_way_that_writes_goes_before_one_that_only_reads() -> None:
    """So NMOS first leaves the addresses to RESTCONF, or to a description that writes them."""
    lan = replace(TAMARISK, reads={p: TAMARISK.reads[p] for p in ("identity", "interfaces")})
    lan = replace(lan, settings={}, setting_writes={})
    assert found(device("a", 31, speaks=("nmos", "lan")), {"lan": lan}) == []
    shown = replace(lan, writes={})
    (told,) = found(device("a", 31, speaks=("nmos", "lan")), {"lan": shown})
    assert "lan has nothing to do beside nmos" in told.what


def test_streams_that_nothing_tells_of_are_told() -> None:
    """RESTCONF knows addresses; sources in the plan want something that knows streams."""
    host = replace(
        device("a", 31, source("x", 311), speaks=("restconf",)),
        destinations={"in": PlannedDestination(name="in")},
    )
    told = found(host)
    assert [one.path[-1] for one in told] == ["destinations", "sources"]
    assert told[1].what == "a has sources in the plan, and restconf can't tell of them"
    assert "speaks: [nmos, restconf]" in told[1].fix
    assert found(replace(host, speaks=("nmos", "restconf"))) == []


def test_one_way_twice_is_told() -> None:
    """One of the two was meant to be another."""
    (told,) = found(device("a", 31, speaks=("nmos", "nmos")))[:1]
    assert told.what == "a is to speak one way twice (nmos, nmos)"


def test_options_of_a_way_that_is_not_spoken_are_told() -> None:
    """They would change nothing, and whoever wrote them thinks that they do."""
    node = device("a", 31, speaks=("nmos",))
    (told,) = found(replace(node, restconf=Reach(port=8443)))
    assert (told.path[-1], told.what) == ("restconf", "a has a 'restconf', and does not speak it")
    assert found(replace(node, port=8080)) == []
    described = replace(node, speaks=("tamarisk-node",), port=8080)
    (told,) = found(described)
    assert told.fix == "remove it; the port is given in its device description"
    (told,) = found(replace(node, speaks=("restconf",), port=8080))
    assert told.fix == "remove it; the port is given under 'restconf'"
    (told,) = found(replace(node, speaks=("restconf",), scheme="https"))
    assert (told.path[-1], "under 'restconf'" in told.fix) == ("scheme", True)
    assert found(replace(node, scheme="https")) == []
    both = replace(node, speaks=("nmos", "restconf"), port=8080, restconf=Reach(port=8443))
    assert found(both) == []
