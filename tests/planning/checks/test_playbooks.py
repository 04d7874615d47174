"""Playbooks against the plan, and against one another."""

import pytest

from orchestrator.facility.wanted import AskedSource, Auto, Playbook, Release, Unit
from tests.planning.made_plan import asked, device, found, numbers, one, plan, playbook, source


def release(what: str) -> Release:
    """A release of ``what``."""
    return Release(what=what, by="the licensee", reference="L-7", until="2026-03-01T06:00:00+00:00")


ALERT = device("alert", 61, source("tone", 611), off_limits="carries the alert insertion")


@pytest.mark.parametrize(
    ("released", "right"),
    [((), False), (("alert",), True), (("alert/tone",), True), (("alert/other",), False)],
)
def test_what_is_off_limits_needs_a_release_that_names_it(
    released: tuple[str, ...], *, right: bool
) -> None:
    """The device, or the very thing that is asked."""
    book = playbook(
        asked("alert", sources=numbers(tone=612)), releases=tuple(map(release, released))
    )
    told = found(plan(ALERT), book)
    assert (told == []) == right
    if not right:
        assert told[0].what == (
            "alert is off limits (carries the alert insertion), and no release names it"
        )


def test_a_release_of_a_source_is_none_of_its_device() -> None:
    """Readdressing touches all of a device: the device itself has to be released."""
    book = playbook(
        asked("alert", address=62, sources=numbers(tone=612)), releases=(release("alert/tone"),)
    )
    assert "off limits" in one(plan(ALERT), book).what
    fresh = asked("alert", unit=Unit.FRESH, sources=numbers(tone=612))
    assert "off limits" in one(plan(ALERT), playbook(fresh, releases=(release("alert/tone"),))).what


def test_two_playbooks_may_share_a_device_but_no_thing_of_it() -> None:
    """Else it would hang on their order which of the two counts."""
    some = plan(device("a", 31, source("x", 311), source("y", 312)))

    def book(file: str, **sources: int) -> Playbook:
        return playbook(asked("a", sources=numbers(**sources)), file=file)

    assert found(some, book("one.yaml", x=313), book("two.yaml", y=314)) == []
    told = one(some, book("one.yaml", x=313), book("two.yaml", x=313))
    assert told.document == "two.yaml"
    assert "sources x is asked for by one.yaml too" in told.what


@pytest.mark.parametrize(
    ("address", "what"),
    [
        ("127.0.2.50", None),
        ("127.44.3.31", None),  # its own address
        ("127.44.3.99", None),  # nobody's
        ("127.44.3.41", "where b stands"),
        ("127.99.0.1", "on no known network"),
        ("127.0.2.255", "the network's broadcast address"),
    ],
)
def test_where_a_unit_is_reached(address: str, what: str | None) -> None:
    """On a known network, and not where somebody else stands."""
    told = found(plan(device("a", 31), device("b", 41)), playbook(asked("a", reach_at=address)))
    assert [what in item.what for item in told if what] == ([] if what is None else [True])
    assert bool(told) == (what is not None)


def autos(count: int) -> dict[str, AskedSource]:
    """That many sources with a number left to the tool."""
    return {f"s{n}": AskedSource(name=f"s{n}", number=Auto.AUTO) for n in range(count)}


@pytest.mark.parametrize(
    ("blocks", "count", "right"),
    [((), 9, True), ((), 10, False), ((31, 32), 19, True), ((31, 32), 20, False)],
)
def test_numbers_left_to_auto_fit_into_the_blocks(
    blocks: tuple[int, ...], count: int, *, right: bool
) -> None:
    """A first block has nine for sources (311 to 319), the ones after it ten."""
    told = found(plan(device("a", 31, blocks=blocks)), playbook(asked("a", sources=autos(count))))
    assert (told == []) == right
    if not right:
        assert f"leaves {count} numbers to auto" in told[0].what
        assert str([*(blocks or (31,)), (blocks or (31,))[-1] + 1]) in told[0].fix


def test_what_is_taken_is_not_vacant() -> None:
    """Its own other sources, and what somebody else lists inside its block."""
    some = plan(
        device("a", 31, source("x", 311), source("y", 312)), device("b", 41, numbers=(319,))
    )
    assert found(some, playbook(asked("a", sources=autos(6)))) == []
    assert "6 vacant" in one(some, playbook(asked("a", sources=autos(7)))).what


def test_auto_needs_a_network_that_numbers() -> None:
    """On a bench for good, there is no number to give."""
    some = plan(device("a", "127.0.2.50", network="bench"))
    assert "auto has no number to give" in one(some, playbook(asked("a", sources=autos(1)))).what
