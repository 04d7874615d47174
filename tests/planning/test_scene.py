from dataclasses import replace

from orchestrator.facility.plan import ListensTo
from orchestrator.facility.wanted import (
    AskedDestination,
    AskedDevice,
    AskedSource,
    Playbook,
    Release,
    Unit,
)
from orchestrator.planning.scene import merge
from tests.planning.scenes import Box, address, scene


def test_only_devices_that_answered_have_a_state() -> None:
    """An absent device has none."""
    where = scene({"a": Box(31, {"s": (311, True)}), "gone": Box(61, absent=True)})
    assert set(where.states) == {"a"}
    assert where.states["a"].sources["s"].number == 311


def test_a_bench_is_no_network() -> None:
    """Each interface has its facility network; None on a bench, and where no network is planned."""
    new = Box(50, at="127.0.2.50", to=address(50), unit=Unit.FRESH)
    where = scene({"a": Box(31), "new": new})
    assert where.networks_now == {"a": ("media",), "new": (None,)}
    assert where.network_at(address(99)) == "media"
    assert where.network_at("127.99.0.1") is None


def test_a_release_of_a_device_or_of_one_thing_of_it() -> None:
    """A release of the device covers all of it; one of a source covers that source only."""
    release = Release(what="a/s", by="A. Licensee", reference="7", until="2026-01-02T00:00:00Z")
    where = replace(scene({"a": Box(31)}), releases=(release,))
    assert where.released("a", "s")
    assert not where.released("a", "t")
    assert not where.released("a")
    whole = replace(where, releases=(replace(release, what="a"),))
    assert whole.released("a")
    assert whole.released("a", "s")
    assert not whole.released("b")


def test_the_room_of_a_device() -> None:
    """As planned."""
    assert scene({"a": Box(31, room="south")}).room_of("a") == "south"


def _playbook(*devices: AskedDevice) -> Playbook:
    return Playbook(title="t", file="t.yaml", devices={d.name: d for d in devices})


def test_what_several_playbooks_ask_of_one_device_is_joined() -> None:
    """One numbers it, another labels and readdresses it; each part is kept."""
    one = AskedDevice(
        name="a",
        playbook="one.yaml",
        sources={"s": AskedSource(name="s", number=311)},
        destinations={"in": AskedDestination(name="in", listens_to=ListensTo(number=5))},
        settings={"domain": 1},
        blocks=(31,),
        exact={"red": ("127.0.2.9", 24, None)},
    )
    two = AskedDevice(
        name="a",
        playbook="two.yaml",
        reach_at="127.0.2.50",
        unit=Unit.FRESH,
        sources={"t": AskedSource(name="t", label="News")},
        addresses={"main": address(31)},
        settings={"rate": 48},
        numbers=(7,),
    )
    other = AskedDevice(name="b", playbook="two.yaml")
    expected = AskedDevice(
        name="a",
        playbook="one.yaml",
        reach_at="127.0.2.50",
        unit=Unit.FRESH,
        addresses={"main": address(31)},
        exact={"red": ("127.0.2.9", 24, None)},
        blocks=(31,),
        numbers=(7,),
        sources={**one.sources, **two.sources},
        destinations=one.destinations,
        settings={"domain": 1, "rate": 48},
    )
    merged = merge((_playbook(one), _playbook(two, other)))
    assert merged == {"a": expected, "b": other}
    turned = merge((_playbook(two, other), _playbook(one)))
    assert replace(turned["a"], playbook="one.yaml") == expected


def test_nothing_asked_is_nothing_merged() -> None:
    """No playbooks, no wishes."""
    assert merge(()) == {}
