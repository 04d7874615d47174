"""A small made-up change over four devices, for the tests of a run: a swap, a follow, a move."""

from dataclasses import replace

from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Identity,
    InterfaceState,
    SourceState,
)
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

NORTH, SOUTH, NODE, FRESH = "north", "south", "node", "fresh"
AT = {NORTH: "10.44.3.31", SOUTH: "10.44.3.41", NODE: "10.44.3.71", FRESH: "192.0.2.50"}
NEW = "10.44.3.51"
EXPECTS = {name: Identity(serial=f"S-{name}", model="M-1") for name in AT}
BENCH = AddressValue("main", AT[FRESH], 24)
JOINED = AddressValue("main", NEW, 24, "10.44.3.254")


def state_of(
    device: str,
    *,
    sources: dict[str, SourceState] | None = None,
    destinations: dict[str, DestinationState] | None = None,
    address: AddressValue | None = None,
    settings: dict[str, bool | int | float | str] | None = None,
    unsaved: bool | None = None,
) -> DeviceState:
    """A device's state with only what is given."""
    held = address or AddressValue("main", AT[device], 24)
    return DeviceState(
        identity=EXPECTS[device],
        interfaces={
            held.interface: InterfaceState(
                address=held.address, prefix=held.prefix, gateway=held.gateway
            )
        },
        sources=sources or {},
        destinations=destinations or {},
        settings=settings or {},
        unsaved=unsaved,
    )


def source(number: int | None, *, enabled: bool = False, label: str = "") -> SourceState:
    """A source of one leg."""
    group = None if number is None else f"239.194.0.{number % 256}:5004"
    return SourceState(number=number, groups=(group,), label=label, enabled=enabled)


def step(
    name: str, kind: StepKind, as_found: StepValue, wanted: StepValue, *after: str, **more: object
) -> Step:
    """A step named ``device.word``; ``more`` replaces any field."""
    device = name.partition(".")[0]
    on_source = kind in (StepKind.DISABLE, StepKind.ENABLE, StepKind.RENUMBER)
    made = Step(
        id=name, kind=kind, device=device, at=AT[device], as_found=as_found, wanted=wanted,
        source="one" if on_source else None, after=after,
    )  # fmt: skip
    return replace(made, **more)  # type: ignore[arg-type]  # a test names real fields


def one(made: Step, **more: object) -> Sequence:
    """A sequence of one step, on its own."""
    return Sequence(steps=(replace(made, after=(), phase=0),), **more)  # type: ignore[arg-type]  # as above


def number(figure: int) -> Assigned:
    """A number without groups."""
    return Assigned(figure)


STEPS = (
    step("north.clock", StepKind.SET, 0, 7, "south.off", setting="ptp_domain"),
    step("north.off", StepKind.DISABLE, True, False),
    step("south.off", StepKind.DISABLE, True, False),
    step("north.lend", StepKind.RENUMBER, number(311), number(2990), "north.off"),
    step("south.take", StepKind.RENUMBER, number(411), number(311), "south.off", "north.lend"),
    step("node.follow", StepKind.REPOINT, Hearing(411), Hearing(311), "south.take",
         destination="in"),
    step("north.take", StepKind.RENUMBER, number(2990), number(411), "south.take"),
    step("south.save", StepKind.SAVE, None, None, "south.take"),
    step("north.on", StepKind.ENABLE, False, True, "north.take"),
    step("south.on", StepKind.ENABLE, False, True, "south.save", "node.follow"),
    step("node.tally", StepKind.BY_HAND, None, None, "node.follow"),
    step("fresh.off", StepKind.DISABLE, True, False, phase=1),
    step("fresh.clock", StepKind.SET, 0, 7, "fresh.off", setting="ptp_domain", phase=1),
    step("fresh.move", StepKind.READDRESS, BENCH, JOINED, "fresh.clock", phase=1),
    step("fresh.there", StepKind.CONFIRM, BENCH, JOINED, "fresh.move", at=NEW, phase=1),
    step("fresh.on", StepKind.ENABLE, False, True, "fresh.there", at=NEW, phase=1),
)  # fmt: skip

SEQUENCE = Sequence(
    steps=tuple(replace(each, order=order) for order, each in enumerate(STEPS)),
    phases=(Phase(("north", "south")), Phase(("bench",))),
)
BY_ID = {each.id: each for each in STEPS}
