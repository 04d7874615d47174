"""An invented change at Tern Point Radio: two engines swap a number, one of them moves."""

from collections.abc import Callable

import pytest

from orchestrator.facility.change import Change
from orchestrator.facility.found import (
    AsFound,
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    NotFound,
    SourceState,
)
from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Phase,
    Sequence,
    Step,
    StepKind,
    StepValue,
)
from orchestrator.planning.result import DryRun, Estimate, Listeners, Silence
from orchestrator.running.events import Event, Intended, Proved, Sent
from orchestrator.running.record import RunRecord

SOUTH, BOOTH, NODE = "studio-south-engine", "news-booth-engine", "rack-node"
AT = {SOUTH: "127.44.3.31", BOOTH: "127.44.3.41", NODE: "127.44.3.71"}
SERIALS = {SOUTH: "CV-20931", BOOTH: "CV-20944", NODE: "TM-118"}
ROOMS = {SOUTH: "studio-south", BOOTH: "news-booth", NODE: "rack"}


def group(number: int) -> str:
    """The group of a number: the number-th address of 239.194.0.0/16."""
    return f"239.194.{number // 256}.{number % 256}:5004"


def assigned(number: int) -> Assigned:
    """A number with its group."""
    return Assigned(number, (group(number),))


def source(number: int, label: str) -> SourceState:
    """A source that is on."""
    return SourceState(number=number, groups=(group(number),), label=label, enabled=True)


def found(device: str, **parts: object) -> Found:
    """A device that answered at its address."""
    model = "TN-8" if device == NODE else "CE-40"
    state = DeviceState(
        identity=Identity(serial=SERIALS[device], model=model, firmware="4.1"),
        interfaces={"main": InterfaceState(address=AT[device], prefix=24)},
        **parts,  # type: ignore[arg-type]
    )
    return Found(at=AT[device], state=state, response_s=0.05)


BEFORE = {
    SOUTH: found(SOUTH, sources={"program-1": source(101, "S-PGM")}),
    BOOTH: found(BOOTH, sources={"program-1": source(201, "B-PGM")}),
    NODE: found(
        NODE,
        destinations={"output-1": DestinationState(hears=group(201), label="OUT")},
        settings={"ptp_domain": 0},
    ),
}


def step(
    place: int,
    kind: StepKind,
    device: str,
    values: tuple[StepValue, StepValue] = (None, None),
    *,
    name: str | None = None,
    setting: str | None = None,
    after: tuple[int, ...] = (),
    why: tuple[str, ...] = (),
    at: str | None = None,
    phase: int = 0,
) -> Step:
    """One step, numbered by its place."""
    repoint = kind is StepKind.REPOINT
    return Step(
        id=f"s{place}",
        kind=kind,
        device=device,
        at=at or AT[device],
        as_found=values[0],
        wanted=values[1],
        source=None if repoint else name,
        destination=name if repoint else None,
        setting=setting,
        after=tuple(f"s{number}" for number in after),
        why=why,
        order=place,
        phase=phase,
        estimate_s=12.0 if kind is StepKind.CONFIRM else 0.4,
    )


OFF, ON = (True, False), (False, True)
MOVE = (AddressValue("main", "127.44.3.31", 24), AddressValue("main", "127.44.3.32", 24))
HEARD = (Hearing(group=group(201)), Hearing(group=group(101)))
STEPS = (
    step(1, StepKind.DISABLE, SOUTH, OFF, name="program-1"),
    step(2, StepKind.DISABLE, BOOTH, OFF, name="program-1"),
    step(
        3, StepKind.RENUMBER, SOUTH, (assigned(101), assigned(2990)), name="program-1", after=(1,)
    ),
    step(
        4,
        StepKind.RENUMBER,
        BOOTH,
        (assigned(201), assigned(101)),
        name="program-1",
        after=(2, 3),
        why=("studio-south-engine/program-1 has let go of number 101",),
    ),
    step(5, StepKind.REPOINT, NODE, HEARD, name="output-1", after=(4,)),
    step(6, StepKind.SAVE, NODE, after=(5,)),
    step(
        7, StepKind.RENUMBER, SOUTH, (assigned(2990), assigned(201)), name="program-1", after=(4,)
    ),
    step(8, StepKind.SET, SOUTH, ("S-PGM", "S-NEW"), name="program-1", setting="label"),
    step(9, StepKind.READDRESS, SOUTH, MOVE, after=(7, 8)),
    step(10, StepKind.CONFIRM, SOUTH, MOVE, after=(9,), at="127.44.3.32"),
    step(11, StepKind.ENABLE, BOOTH, ON, name="program-1", after=(5,)),
    step(12, StepKind.ENABLE, SOUTH, ON, name="program-1", after=(10,), at="127.44.3.32"),
    step(13, StepKind.SET, NODE, (0, 127), setting="ptp_domain", phase=1),
    step(14, StepKind.SAVE, NODE, after=(13,), phase=1),
)
SEQUENCE = Sequence(steps=STEPS, phases=(Phase(("studio-south", "news-booth")), Phase(("rack",))))
HAZARDS = (
    Hazard(
        name="plant-wide-rack-node",
        rule="H6",
        grade=Grade.NEEDS_NAME,
        what="the clock domain of rack-node changes",
        where=("rack-node",),
        fix="accept it by name, or leave ptp_domain out",
        accepted="the plant moves to domain 127 tonight",
    ),
    Hazard(name="dangling-201", rule="H8", grade=Grade.INFORMATION, what="a pointer is left over"),
)


@pytest.fixture
def record() -> RunRecord:
    """The run before its first event."""
    return RunRecord(
        id="2026-11-25-1",
        facility="Tern Point Radio",
        title="Swap the programs of South and Booth",
        made_at="2026-11-25T02:00:00+01:00",
        digest="5f0c2a",
        sequence=SEQUENCE,
        expects={name: entry.state.identity for name, entry in BEFORE.items()},
        before=BEFORE,
        hazards=HAZARDS,
    )


Make = Callable[..., tuple[Event, ...]]


@pytest.fixture
def done() -> Make:
    """Events that prove the steps of the given places, in that order."""

    def make(*places: int) -> tuple[Event, ...]:
        return tuple(
            event
            for place in places
            for event in (Intended(f"s{place}"), Sent(f"s{place}", True), Proved(f"s{place}"))
        )

    return make


@pytest.fixture
def rooms() -> dict[str, str]:
    """Each device's room."""
    return dict(ROOMS)


@pytest.fixture
def dry_run() -> DryRun:
    """The dry-run of the change."""
    return DryRun(
        facility="Tern Point Radio",
        changes=(
            Change(
                device=SOUTH,
                room=ROOMS[SOUTH],
                setting="number",
                as_found=assigned(101),
                wanted=assigned(201),
                source="program-1",
            ),
            Change(
                device=SOUTH,
                room=ROOMS[SOUTH],
                setting="address",
                as_found=MOVE[0],
                wanted=MOVE[1],
            ),
            Change(
                device=NODE,
                room=ROOMS[NODE],
                setting="listens_to",
                as_found=HEARD[0],
                wanted=HEARD[1],
                destination="output-1",
            ),
        ),
        sequence=SEQUENCE,
        hazards=HAZARDS,
        silence=(
            Silence(device=SOUTH, source="program-1", seconds=14.25, bound_seconds=13.5),
            Silence(device=BOOTH, source="program-1", seconds=2.0, bound_seconds=2.0, on_air=True),
            Silence(device=NODE, destination="output-1", seconds=2.0, bound_seconds=2.0),
        ),
        estimate=Estimate(75.0, 62.0),
        listeners=(
            Listeners(
                source=f"{BOOTH}/program-1",
                destinations=(f"{NODE}/output-1",),
                also=(),
                sure="known",
            ),
            Listeners(
                source=f"{SOUTH}/program-1",
                destinations=(),
                also=("the old intercom",),
                sure="partly",
            ),
        ),
        lent={f"{SOUTH}/program-1": "2990"},
        mended={"number 415 on media": ("a/s1", "b/s2")},
        proved=True,
    )


@pytest.fixture
def as_found() -> AsFound:
    """A survey in which one device did not answer."""
    return AsFound(
        facility="Tern Point Radio",
        taken_at="2026-11-25T01:50:00+01:00",
        devices={
            **BEFORE,
            "alert-inserter": NotFound(
                at="127.44.3.61", why="nothing answered", kind="Unreachable"
            ),
        },
    )
