"""What a device can do to a run: each row of the table in the guide, over real sockets.

Each case goes through 'apply', and through 'resume' where it pauses. The referee, which knows
nothing of the tool, judges each change; what the run tells is compared with what the devices hold.
"""

import re
from collections.abc import Callable
from dataclasses import dataclass, field
from datetime import UTC, datetime, timedelta
from email.utils import format_datetime
from pathlib import Path

import pytest

from mocks.faults import Fault, Kind
from mocks.journal import Asked, Change
from orchestrator.running.steps import hand, reading
from tests.cli.stage import ANSWERS, APPLY, NODES, PROGRAMMES, Stage, staged
from tests.cli.test_end_to_end import _broken, _off_by

NEWS, TALKS, SOUTH, SOUTH_IO = (
    *("news-booth-engine", "talks-engine", "studio-south-engine", "studio-south-io"),
)
MICS = "news-booth-mics"
Act = Callable[[Stage], object]


class OnMove:
    """Does something at the instant at which a device has taken another address."""

    def __init__(self, stage: Stage, device: str, act: Act) -> None:
        self._stage, self._device, self._act = stage, device, act
        self._done = False

    def changed(self, change: Change) -> None:
        """Look at the address."""
        moved = change.before.running.lan.address != change.after.running.lan.address
        if change.device == self._device and moved and not self._done:
            self._done = True
            self._act(self._stage)

    def moved(self) -> None:
        """Nothing to do."""

    def asked(self, asked: Asked) -> None:
        """Nothing to do."""


def once_moved(act: Act) -> Act:
    """Arrange that ``act`` is done as soon as the node has moved."""
    return lambda stage: stage.world.observe(OnMove(stage, MICS, act))


def meddling(device: str, act: Act, **when: str | int) -> Act:
    """Arrange that ``act`` is done when a matching request comes to a device."""

    def arrange(stage: Stage) -> None:
        fault = Fault(Kind.CALL, do=lambda: act(stage), **when)  # type: ignore[arg-type]
        stage.world.add_fault(device, fault)

    return arrange


def stranger(device: str, serial: str, **more: str) -> Act:
    """A device gives another serial from now on."""
    return faulty(
        device,
        Fault(Kind.WRONG_IDENTITY, serial=serial, always=True, **more),  # type: ignore[arg-type]
    )


def faulty(device: str, *faults: Fault) -> Act:
    """Arrange faults of a device."""

    def arrange(stage: Stage) -> None:
        for fault in faults:
            stage.world.add_fault(device, fault)

    return arrange


def nothing(_stage: Stage) -> None:
    """Nothing to do."""


@dataclass(frozen=True, kw_only=True)
class Case:
    """One row.

    ``why`` are the reasons of the failed steps of ``device``, empty where the run just goes on;
    ``said`` is on the screen. ``mend`` is what a person does before 'resume', beside taking
    the faults away. ``hold``: no write may reach the device from the fault on.
    """

    device: str
    arrange: Act
    playbook: str = PROGRAMMES
    why: frozenset[str] = field(default_factory=frozenset)
    said: str = ""
    mend: Act = nothing
    hold: bool = False


def _why(*names: str) -> frozenset[str]:
    return frozenset(names)


def _date(seconds: float) -> str:
    """A time from now as HTTP writes it (RFC 9110, 5.6.7); it has no parts of a second."""
    return format_datetime(datetime.now(UTC) + timedelta(seconds=seconds + 1), usegmt=True)


def _busy(status: int, **more: str) -> Act:
    return faulty(NEWS, Fault(Kind.BUSY, method="PATCH", status=status, **more))  # type: ignore[arg-type]


def busy_until(stage: Stage) -> None:
    """Busy, with the time until then; it is worked out when the stage stands."""
    _busy(503, retry_after=_date(1))(stage)


_AWAY = Fault(Kind.REFUSE, method="PATCH", nth=2, always=True)
_GUEST = "studio-south-returns"

CASES: dict[str, Case] = {
    "another device answers at the new address": Case(
        device=MICS,
        playbook=NODES,
        arrange=once_moved(stranger(MICS, "TN-99999")),
        why=_why("wrong_device"),
        said="TN-99999",
        hold=True,
    ),
    "nobody answers at the new address": Case(
        device=MICS,
        playbook=NODES,
        arrange=once_moved(lambda stage: stage.world.pull_cable(MICS)),
        why=_why("unreachable"),
        said="move its cable to the network of",
        mend=lambda stage: stage.world.plug_in(MICS),
    ),
    "somebody is at the new address already": Case(
        device="studio-north-mics",
        playbook=NODES,
        arrange=meddling(
            "studio-north-mics",
            lambda stage: stage.world.another_hand(_GUEST).set_address("127.44.3.230"),
            method="PUT",
        ),
        why=_why("occupied"),
        said="answers at 127.44.3.230; nothing was sent",
        mend=lambda stage: stage.world.another_hand(_GUEST).set_address("127.44.3.43"),
    ),
    "another device answers in mid-run": Case(
        device=NEWS,
        arrange=meddling(NEWS, stranger(NEWS, "CV-99999", path="/unit"), path="/unit", nth=8),
        why=_why("wrong_device"),
        said="CV-99999",
        hold=True,
    ),
    "it says 200 and does nothing": Case(
        device=SOUTH,
        arrange=faulty(SOUTH, Fault(Kind.SAYS_YES, method="PATCH")),
        why=_why("not_done"),
        said="still shows",
    ),
    "it does it late": Case(
        device=SOUTH, arrange=faulty(SOUTH, Fault(Kind.LATE, method="PATCH", seconds=0.06))
    ),
    "it does it later than it ever should": Case(
        device=SOUTH,
        arrange=faulty(SOUTH, Fault(Kind.LATE, method="PATCH", seconds=1.5)),
        why=_why("not_done"),
        said="still shows",
    ),
    "it reboots, with all saved": Case(
        device=NEWS,
        arrange=faulty(NEWS, Fault(Kind.REBOOT_AFTER, method="PATCH", nth=2, seconds=0.2)),
    ),
    "it reboots, with things unsaved": Case(
        device=SOUTH_IO,
        arrange=faulty(SOUTH_IO, Fault(Kind.REBOOT_BEFORE, method="POST", seconds=0.2)),
        why=_why("not_done", "other_hand"),
        said="it has gone back to what was saved, or another hand is at work",
    ),
    "it forgets without a word": Case(
        device=SOUTH_IO,
        arrange=meddling(SOUTH_IO, lambda stage: stage.world.reboot(SOUTH_IO), method="POST"),
        why=_why("not_done", "other_hand"),
        said="it has gone back to what was saved",
    ),
    "it falls silent": Case(
        device=TALKS, arrange=faulty(TALKS, _AWAY), why=_why("unknown"), said="does not answer"
    ),
    "another controller writes in between": Case(
        device=SOUTH,
        arrange=meddling(
            SOUTH,
            lambda stage: stage.world.another_hand(SOUTH).set_source("program-1", number=119),
            method="PATCH",
            path="/streams",
        ),
        why=_why("other_hand"),
        said="neither",
        mend=lambda stage: stage.world.another_hand(SOUTH).set_source("program-1", number=102),
    ),
    "it is busy: 423": Case(device=NEWS, arrange=_busy(423)),
    "it is busy: 429, Retry-After in seconds": Case(
        device=NEWS, arrange=_busy(429, retry_after="1")
    ),
    "it is busy: 503, Retry-After as a date": Case(
        device=NEWS,
        arrange=busy_until,
    ),
    "it stays busy": Case(
        device=NEWS,
        arrange=faulty(NEWS, Fault(Kind.BUSY, method="PATCH", nth=2, always=True)),
        why=_why("busy"),
        said="503",
    ),
    "it fails with 500 after it did it": Case(
        device=SOUTH, arrange=faulty(SOUTH, Fault(Kind.ERROR, method="PATCH", nth=2, effect=True))
    ),
    "half a body to a read": Case(
        device=TALKS, arrange=faulty(TALKS, Fault(Kind.HALF_BODY, method="GET", nth=12))
    ),
    "half a body to a write": Case(
        device=TALKS, arrange=faulty(TALKS, Fault(Kind.HALF_BODY, method="PATCH", nth=2))
    ),
    "a slow trickle": Case(
        device=TALKS, arrange=faulty(TALKS, Fault(Kind.TRICKLE, method="PATCH", seconds=3.0))
    ),
    "it takes the sign-in no more": Case(
        device=NEWS,
        arrange=faulty(NEWS, Fault(Kind.SIGN_IN, method="PATCH", nth=2, always=True)),
        why=_why("refused"),
        said="401",
    ),
    "the request is lost": Case(
        device=NEWS, arrange=faulty(NEWS, Fault(Kind.DROP_REQUEST, method="PATCH", nth=3))
    ),
    "the answer is lost": Case(
        device=NEWS, arrange=faulty(NEWS, Fault(Kind.DROP_ANSWER, method="PATCH", nth=2))
    ),
    "a readdress whose request is lost": Case(
        device=MICS,
        playbook=NODES,
        arrange=faulty(MICS, Fault(Kind.DROP_REQUEST, method="PUT", path="/api/ports")),
        why=_why("unknown"),
        said="still shows",
    ),
    "a readdress whose answer is lost": Case(
        device=MICS,
        playbook=NODES,
        arrange=faulty(MICS, Fault(Kind.DROP_ANSWER, method="PUT", path="/api/ports")),
    ),
}
"""The rows of the guide's table; a test compares them."""


@pytest.mark.parametrize("name", CASES)
def test_odd_device(name: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """The run goes on or pauses as the table says, tells the truth, and resume reaches the end."""
    case = CASES[name]
    for module in (hand, reading):
        monkeypatch.setattr(module, "BUSY_WAITS", (0.1, 0.2, 0.3, 0.5))
    with staged(tmp_path, case.playbook) as stage:
        case.arrange(stage)
        ended = stage.run(*APPLY)
        assert _by_the_tool(stage, case.device) == set()
        run = stage.run("runs", stage.last(), "--json").json
        why = {one["why"] for one in run["failed"] if one["device"] == case.device}
        assert why == case.why, ended.said[-1500:]
        assert ended.status == (1 if case.why else 0)
        assert run["state"] == ("paused" if case.why else "finished")
        assert case.said in ended.said
        if case.hold:
            _held(stage, case.device)
        if case.why:
            _all_silent_told(stage, run)
            stage.world.clear_faults(case.device)
            case.mend(stage)
            _resumed(stage, case)
        assert stage.target_reached()
        assert not _sent_twice(stage, "/api/ports")


def test_what_was_found_unsaved_and_is_lost_before_it_is_saved_stops_the_run(
    tmp_path: Path,
) -> None:
    """Nothing else is written until somebody has put it right; then a resume reaches the end."""
    with staged(tmp_path, PROGRAMMES) as stage:
        stage.world.another_hand(SOUTH_IO).set_source("7", enabled=True)
        meddling(SOUTH_IO, lambda stage: stage.world.reboot(SOUTH_IO), method="POST")(stage)
        accepted = ("--accept", f"unsaved:{SOUTH_IO}=a test")
        ended = stage.run(*APPLY, *accepted)
        assert ended.status == 1
        assert "line-2 is off, which is not as it was found" in ended.said
        assert [one.path for one in stage.world.log if one.writes] == ["/api/store"]
        stage.world.clear_faults(SOUTH_IO)
        stage.world.another_hand(SOUTH_IO).set_source("7", enabled=True)
        ended = stage.run("resume", *ANSWERS, *accepted)
        assert ended.status == 0, ended.said[-1500:]
        assert stage.target_reached()


def _all_silent_told(stage: Stage, run: dict[str, list[dict[str, str]]]) -> None:
    told = {f"{one['device']}/{one['source']}" for one in run["silent"] if "source" in one}
    off = {re.sub(r"/(\d+)$", r"/input-\1", name) for name in _off_by(stage)}
    assert off <= told, "nothing that is silent is left out"


def _held(stage: Stage, device: str) -> None:
    """No write has reached the device since it was first a stranger."""
    own = [one for one in stage.world.log if one.device == device]
    first = next(place for place, one in enumerate(own) if "wrong-identity" in one.faults)
    assert not [one for one in own[first:] if one.writes]


def _resumed(stage: Stage, case: Case) -> None:
    ended = stage.run("resume", *ANSWERS)
    assert ended.status == 0, ended.said[-1500:]
    assert _by_the_tool(stage, case.device) == set()


def _by_the_tool(stage: Stage, device: str) -> set[str]:
    """What the tool broke: what a device hears that went back by itself, no write did."""
    broken = _broken(stage, device)
    gone_back = any("call" in asked.faults for asked in stage.world.log)
    return {one for one in broken if not (gone_back and one.startswith(f"H8: {device}/"))}


def _sent_twice(stage: Stage, path: str) -> list[str]:
    """Bodies of readdresses that a device was sent again, though it had got them."""
    sent = [
        f"{one.device} {one.body}"
        for one in stage.world.log
        if one.writes and one.path.startswith(path) and "drop-request" not in one.faults
    ]
    return [one for one in set(sent) if sent.count(one) > 1]
