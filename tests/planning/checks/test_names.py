"""Whatever a document names exists."""

from dataclasses import replace

import pytest

from orchestrator.facility.description import Description, Pick, Read, SignIn
from orchestrator.facility.plan import ListensTo, Ref, Room
from orchestrator.facility.traits import Traits
from orchestrator.facility.wanted import AskedDestination, Release
from orchestrator.planning.check import findings
from tests.planning.made_plan import asked, device, found, numbers, one, plan, playbook, source


def hears(device_name: str, name: str) -> dict[str, ListensTo | None]:
    """A destination that listens to a source."""
    return {"in-1": ListensTo(source=Ref(device_name, name))}


def test_rooms_and_networks() -> None:
    """An unknown one is told where it stands, with the nearest known, and only there."""
    told = one(plan(device("a", 31, room="nroth")))
    assert told.what == "a: there is no room 'nroth'"
    assert told.fix == "write 'north'"
    told = one(plan(device("a", 31, network="meda")))
    assert (told.path[-1], told.fix) == ("network", "write 'media'")
    rooms = (Room("north", "point", "meda"),)
    told = one(plan(device("a", 31, network="meda"), device("b", 32, network="meda"), rooms=rooms))
    assert told.path == ("rooms", "north", "network")


def test_speaks() -> None:
    """One missing description is told once; built-in ways and plug-ins need none."""
    some = plan(device("a", 31, speaks=("corvid",)), device("b", 32, speaks=("corvid",)))
    told = one(some)
    assert told.what == "there is no device description 'corvid' (for a)"
    assert told.path == ("devices", "a", "speaks", 0)
    assert findings(some, (), {}, {"corvid"}) == ()
    assert found(plan(device("a", 31, speaks=("nmos", "restconf")))) == []


def test_what_is_spoken_to_has_an_address() -> None:
    """A device without an address can't be spoken to; one that is not spoken to needs none."""
    assert "no address to be spoken to at" in one(plan(device("a", None, speaks=("nmos",)))).what
    assert found(plan(device("a", None))) == []


@pytest.mark.parametrize(
    ("ref", "what"),
    [
        (("a", "x"), None),
        (("a", "z"), "a has no source 'z'"),
        (("ghost", "x"), "the plan has no device 'ghost'"),
        (("spoken", "anything"), None),  # declares none: its own names count
        (("mute", "x"), "mute has no source 'x'"),
    ],
)
def test_what_a_destination_listens_to(ref: tuple[str, str], what: str | None) -> None:
    """In the plan and in a playbook alike."""
    a = device("a", 31, source("x", 311))
    others = (device("spoken", 41, speaks=("nmos",)), device("mute", 51))
    listener = device("l", 61, hears=hears(*ref))
    asks = {"in-1": AskedDestination(name="in-1", listens_to=ListensTo(source=Ref(*ref)))}
    plain = plan(a, *others, device("l", 61))
    for told in (
        found(plan(a, *others, listener)),
        found(plain, playbook(asked("l", destinations=asks))),
    ):
        assert [item.what.partition(": ")[2] or item.what for item in told] == (
            [] if what is None else [what]
        )


def test_a_number_that_nobody_holds_is_no_error() -> None:
    """A destination may point at a number that comes later, or from outside."""
    assert found(plan(device("l", 61, hears={"in-1": ListensTo(number=2000)}))) == []


def test_a_source_that_a_playbook_declares_may_be_listened_to() -> None:
    """What is wanted counts as there."""
    a = device("a", 31, source("x", 311))
    listener = device("l", 61, hears=hears("a", "new"))
    assert found(plan(a, listener), playbook(asked("a", sources=numbers(new=312)))) == []


def test_on_air() -> None:
    """What is on air is a destination that exists: nothing would protect a misspelt one."""
    feed = device("feed", 71, hears={"output-1": None})
    assert found(plan(feed, on_air=(Ref("feed", "output-1"),))) == []
    told = one(plan(feed, on_air=(Ref("feed", "ouput-1"),)))
    assert told.fix == "write 'output-1'"
    assert told.path == ("on_air", 0)
    assert "no device 'fed'" in one(plan(feed, on_air=(Ref("fed", "output-1"),))).what


def test_serials() -> None:
    """A serial is one unit's."""
    told = one(plan(device("a", 31, serial="CV-1"), device("b", 32, serial="CV-1")))
    assert told.what == "serial CV-1 stands twice: for a and for b"


def test_playbooks() -> None:
    """Devices, interfaces and releases that a playbook names."""
    some = plan(device("north-engine", 31))
    told = one(some, playbook(asked("north-engin", address=32)))
    assert told.fix == "write 'north-engine'"
    other = replace(asked("north-engine"), addresses={"red": "127.44.3.32"})
    assert "has no interface 'red'" in one(some, playbook(other)).what
    release = Release(what="north-engin/x", by="b", reference="r", until="u")
    assert "a release names 'north-engin'" in one(some, playbook(releases=(release,))).what


def test_settings() -> None:
    """A setting is in the device's description; where a description is not all, nobody knows."""
    described = Description(
        name="corvid",
        make="Corvid",
        scheme="http",
        port=8080,
        sign_in=SignIn.NONE,
        reads={},
        writes={},
        traits=Traits(can=frozenset()),
        settings={"ptp_domain": Read(get="/clock", fields={"value": Pick(at="/domain")})},
    )

    def told(speaks: tuple[str, ...], setting: str) -> list[tuple[str, str]]:
        book = playbook(asked("a", settings={setting: 0}))
        some = plan(device("a", 31, speaks=speaks))
        every = findings(some, (book,), {"corvid": described})
        return [(item.what, item.fix) for item in every]

    assert told(("corvid",), "ptp_domain") == []
    assert told(("corvid", "nmos"), "gain") == []
    what = "the device description of a has no setting 'ptp_domian'"
    assert told(("corvid",), "ptp_domian") == [(what, "write 'ptp_domain'")]
