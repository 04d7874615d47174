"""Each fault, as a client in memory meets it."""

from collections.abc import Callable

import httpx
import pytest

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.messages import Later, Restart, answer
from mocks.world import World

Ask = Callable[..., httpx.Response]
TITLE = ("north", "PATCH", "/streams/program-1", {"title": "New"})


def title(world: World) -> str:
    """The label that the writes of these tests change; it begins as N-1."""
    return world.device("north").source("program-1").label


@pytest.mark.parametrize(
    ("kind", "error", "after"),
    [
        (Kind.REFUSE, httpx.ConnectError, "N-1"),
        (Kind.DROP_REQUEST, httpx.ReadError, "N-1"),
        (Kind.DROP_ANSWER, httpx.ReadError, "New"),
        (Kind.REBOOT_BEFORE, httpx.ReadError, "N-1"),
        (Kind.REBOOT_AFTER, httpx.ReadError, "New"),
        (Kind.HALF_BODY, httpx.RemoteProtocolError, "New"),
    ],
)
def test_lost_requests_and_lost_answers(
    world: World, ask: Ask, kind: Kind, error: type[Exception], after: str
) -> None:
    """What is lost on the way there has no effect; what is lost on the way back has."""
    world.add_fault("north", Fault(kind))
    with pytest.raises(error):
        ask(*TITLE)
    assert title(world) == after
    assert ask("north", "GET", "/unit").status_code == 200
    assert world.log[0].faults == (str(kind),)


@pytest.mark.parametrize(
    ("fault", "status", "header"),
    [
        (Fault(Kind.ERROR), 500, None),
        (Fault(Kind.ERROR, status=502), 502, None),
        (Fault(Kind.SIGN_IN), 401, "www-authenticate"),
        (Fault(Kind.SIGN_IN, status=403), 403, None),
        (Fault(Kind.BUSY, retry_after="2"), 503, "retry-after"),
        (Fault(Kind.BUSY, status=429), 429, None),
        (Fault(Kind.BUSY, status=423, retry_after="1"), 423, "retry-after"),
    ],
)
def test_refused_in_words(
    world: World, ask: Ask, fault: Fault, status: int, header: str | None
) -> None:
    """An error, a sign-in refused and a busy device answer so, and do nothing."""
    world.add_fault("north", fault)
    response = ask(*TITLE)
    assert response.status_code == status
    assert {"www-authenticate", "retry-after"} & set(response.headers) == ({header} - {None})
    assert title(world) == "N-1"


def test_error_after_the_effect(world: World, ask: Ask) -> None:
    """A 5xx does not say that nothing was done."""
    world.add_fault("north", Fault(Kind.ERROR, effect=True))
    assert (ask(*TITLE).status_code, title(world)) == (500, "New")


def test_says_yes_and_does_nothing(world: World, ask: Ask, clock: HandClock, net: str) -> None:
    """The answer is that of success; the memory stays, and no address settles."""
    world.add_fault("north", Fault(Kind.SAYS_YES, always=True, method="PATCH"))
    world.add_fault("north", Fault(Kind.SAYS_YES, method="PUT"))
    assert ask(*TITLE).json()["title"] == "New"
    body = {"ip": f"{net}.33", "prefix": 25, "router": None}
    assert ask("north", "PUT", "/lan", body).status_code == 202
    clock.advance(9)
    assert (title(world), f"{net}.31" in world.answering()) == ("N-1", True)


def test_applies_late(world: World, ask: Ask, clock: HandClock) -> None:
    """The answer comes at once, the effect later; reading in between shows the old value."""
    world.add_fault("north", Fault(Kind.LATE, seconds=3))
    assert ask(*TITLE).json()["title"] == "New"
    assert ask("north", "GET", "/streams").json()["streams"][0]["title"] == "N-1"
    clock.advance(3)
    assert ask("north", "GET", "/streams").json()["streams"][0]["title"] == "New"


def test_delay_shorter_than_the_timeout(world: World, ask: Ask, clock: HandClock) -> None:
    """A slow device is waited for."""
    world.add_fault("north", Fault(Kind.DELAY, seconds=2))
    assert ask(*TITLE).status_code == 200
    assert clock() == 102.0


def test_delay_longer_than_the_timeout(world: World, ask: Ask, clock: HandClock) -> None:
    """The client gives up; the request lands all the same, later."""
    world.add_fault("north", Fault(Kind.DELAY, seconds=2))
    with pytest.raises(httpx.ReadTimeout):
        ask(*TITLE, timeout=0.5)
    assert (clock(), title(world)) == (100.5, "N-1")
    clock.advance(1.5)
    world.run_due()
    assert title(world) == "New"
    assert world.log[-1].at == 102.0


def test_slow_trickle(world: World, ask: Ask, clock: HandClock) -> None:
    """A body in small parts arrives whole; parts too far apart run into the read timeout."""
    world.add_fault("north", Fault(Kind.TRICKLE, seconds=4, always=True))
    assert ask("north", "GET", "/unit", timeout=1).json()["serial"] == "CV-1"
    assert clock() == pytest.approx(104.0)
    with pytest.raises(httpx.ReadTimeout):
        ask("north", "GET", "/unit", timeout=0.1)


def test_wrong_identity(world: World, ask: Ask) -> None:
    """Another serial is given while the fault lasts, and the true one again afterwards."""
    world.add_fault("node", Fault(Kind.WRONG_IDENTITY, serial="X-1"))
    assert ask("node", "GET", "/api/info").json()["id"]["sn"] == "X-1"
    assert ask("node", "GET", "/api/info").json()["id"]["sn"] == "TM-1"


def test_refuses_for_a_time(world: World, ask: Ask, clock: HandClock) -> None:
    """From the request that it strikes on, a device may refuse for some seconds, or for good."""
    world.add_fault("north", Fault(Kind.REFUSE, seconds=5))
    for _ in range(2):
        with pytest.raises(httpx.ConnectError):
            ask("north", "GET", "/unit")
    clock.advance(5)
    assert ask("north", "GET", "/unit").status_code == 200
    world.add_fault("north", Fault(Kind.REFUSE, always=True, method="PUT"))
    assert ask("north", "GET", "/unit").status_code == 200
    with pytest.raises(httpx.ConnectError):
        ask("north", "PUT", "/lan", {})
    clock.advance(1e6)
    with pytest.raises(httpx.ConnectError):
        ask("north", "GET", "/unit")


def test_away_while_it_boots(world: World, ask: Ask, clock: HandClock) -> None:
    """A power cycle in the middle loses what was not saved, and takes its time."""
    world.add_fault("node", Fault(Kind.REBOOT_AFTER, method="PUT", seconds=3))
    with pytest.raises(httpx.ReadError):
        ask("node", "PUT", "/api/tx/1", {"state": "off"})
    with pytest.raises(httpx.ConnectError):
        ask("node", "GET", "/api/tx")
    clock.advance(3)
    assert ask("node", "GET", "/api/tx").json()["tx"]["1"]["state"] == "on"


def test_another_hand_in_between(world: World, ask: Ask) -> None:
    """Something may be done just before a request is looked at."""
    hand = world.another_hand("north")
    world.add_fault(
        "north", Fault(Kind.CALL, nth=2, do=lambda: hand.set_source("program-1", label="Hand"))
    )
    assert ask("north", "GET", "/streams").json()["streams"][0]["title"] == "N-1"
    assert ask("north", "GET", "/streams").json()["streams"][0]["title"] == "Hand"


def test_a_device_restarts_itself_when_it_said_so(
    world: World, ask: Ask, clock: HandClock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """With what it had saved, after its answer, and it is away meanwhile."""
    north = world.machine("north")
    saved = north.memory.saved
    said = answer(202, {}, later=(Later(0.1, Restart(2.0)),))
    monkeypatch.setattr(north, "_routed", lambda _: said)
    assert ask(*TITLE).status_code == 202
    monkeypatch.undo()
    clock.advance(0.5)
    with pytest.raises(httpx.ConnectError):
        ask("north", "GET", "/unit")
    clock.advance(2.0)
    assert ask("north", "GET", "/unit").status_code == 200
    assert north.memory.running == saved
