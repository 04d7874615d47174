"""Bringing up units on a bench, in words: which unit, which cable, which address, what is left.

The JSON document, ``cutsheet/bench/1``::

    units[]   device, serial (null: not met), state (joined | joined before | paused | stopped |
              waiting), run (null: none began), why
"""

from collections.abc import Collection, Iterable, Sequence
from dataclasses import dataclass
from enum import StrEnum

from orchestrator.facility.change import Change
from orchestrator.facility.found import Identity
from orchestrator.facility.wanted import Unit
from orchestrator.planning.bench import Amiss, BenchUnit, is_own_loopback, own_address
from orchestrator.reports.layout import heading, item, table, wrap
from orchestrator.reports.values import Json
from orchestrator.reports.words import change_words


class UnitState(StrEnum):
    """How far a unit has come."""

    JOINED = "joined"
    JOINED_BEFORE = "joined before"
    PAUSED = "paused"
    STOPPED = "stopped"
    WAITING = "waiting"


@dataclass(frozen=True, slots=True, kw_only=True)
class UnitEnd:
    """How it ended with one unit."""

    device: str
    state: UnitState
    serial: str | None = None
    run: str | None = None
    why: str = ""


def card(unit: BenchUnit, place: int, count: int, others: Collection[BenchUnit]) -> list[str]:
    """What a person needs to know before the unit goes on the cable."""
    device, bench = unit.device, unit.bench
    serial = f"serial {device.serial}" if device.serial else "no serial in the plan yet"
    lines = heading(f"Unit {place} of {count}: {unit.name}, for {device.room}")
    lines += item("unit:", f"{unit.name}, a {unit.asked.unit} unit, {serial}", 2)
    lines += item(
        "cable:", f"the bench cable, to this unit and no other; its network is {bench.name}", 2
    )
    if is_own_loopback(bench):
        lines += item("this computer:", f"{bench.subnet} is on this computer itself", 2)
    else:
        own = own_address(bench, others)
        lines += item(
            "this computer:",
            f"{own} with prefix length {bench.subnet.prefixlen} on the interface with that cable; "
            "no gateway there",
            2,
        )
    lines += item("answers at:", f"{unit.reach_at}, until it is readdressed", 2)
    if unit.asked.unit is not Unit.KNOWN:
        lines += item(
            "left over:", "what the playbook does not name is switched off before it joins", 2
        )
    return lines


def plug_question(unit: BenchUnit, others: Sequence[BenchUnit]) -> tuple[str, ...]:
    """What a person is asked before the unit is spoken to."""
    alike = [other.name for other in others if other.reach_at == unit.reach_at]
    lines = [f"Put {unit.name} on the bench cable, alone, and switch it on."]
    if alike:
        lines.append(
            f"{', '.join(alike)} will answer at {unit.reach_at} too: keep them off the cable. "
            "Each is known by its serial."
        )
    return (*lines, "Is it there, and nothing else?")


def serial_question(unit: BenchUnit, found: Identity) -> tuple[str, ...]:
    """What a person is asked where the plan has no serial."""
    return (
        f"The plan has no serial for {unit.name}; {found} answers at {unit.reach_at}.",
        f"Is that the unit that is to be {unit.name}? 'adopt' will write its serial into the plan.",
    )


def by_hand_question(unit: BenchUnit) -> tuple[str, ...]:
    """What a person is asked where this computer does not tell its routes."""
    return (
        "This system does not tell its routes, so they have to be looked at by hand.",
        f"Is the interface on the bench cable the only way to {unit.bench.subnet}?",
        "Is no gateway on it?",
    )


def amiss_lines(found: Iterable[Amiss]) -> list[str]:
    """What has to be put right on this computer first."""
    lines = wrap("This computer could send to the wrong place, so nothing is sent:")
    for one in found:
        lines += [*item("-", one.what, 2), *item("fix:", one.fix, 6)]
    return lines


def leftovers(unit: BenchUnit, changes: Iterable[Change]) -> list[str]:
    """What the unit still has of its factory or of a former life, and what becomes of it."""
    named = {*unit.asked.sources, *unit.asked.destinations}
    rows = [
        change_words(change)
        for change in changes
        if change.device == unit.name
        and (thing := change.source or change.destination) is not None
        and thing not in named
    ]
    if not rows:
        return wrap("Nothing is left over in it that the playbook does not name.")
    return [
        *wrap("Left over in it, and not named in the playbook:"),
        *table(("what", "as found", "will be"), rows),
    ]


def cable_lines(unit: BenchUnit, address: str, wait_s: float) -> list[str]:
    """What a person has to do once the unit has taken its new address."""
    return [
        "",
        *wrap(
            f"MOVE THE CABLE NOW: take {unit.name} off the bench and put it on the network "
            f"{unit.device.interfaces[0].network} in {unit.device.room}. It is looked for at "
            f"{address}, for {wait_s:.0f} s."
        ),
        "",
    ]


_STATES = {
    UnitState.JOINED: "joined",
    UnitState.JOINED_BEFORE: "joined in an earlier run",
    UnitState.PAUSED: "PAUSED: run 'cutsheet bench' again, or 'cutsheet resume'",
    UnitState.STOPPED: "stopped before anything was written",
    UnitState.WAITING: "its turn has not come",
}


def text(ends: Sequence[UnitEnd]) -> str:
    """How it ended, unit by unit."""
    lines = heading("The units")
    rows = [(end.device, end.serial or "", _STATES[end.state], end.run or "") for end in ends]
    lines += table(("unit", "serial", "state", "run"), rows)
    for end in ends:
        if end.why:
            lines += wrap(f"{end.device}: {end.why}", 2, 4)
    if all(end.state in (UnitState.JOINED, UnitState.JOINED_BEFORE) for end in ends):
        lines += wrap(
            "All have joined. Next: 'cutsheet audit'; 'cutsheet adopt RUN' for each run; "
            "'cutsheet dry-run' for what else the playbooks ask."
        )
    return "\n".join(lines) + "\n"


def as_json(ends: Sequence[UnitEnd]) -> Json:
    """The same as the document that the module describes."""
    return {
        "schema": "cutsheet/bench/1",
        "units": [
            {
                "device": end.device,
                "serial": end.serial,
                "state": end.state.value,
                "run": end.run,
                "why": end.why,
            }
            for end in ends
        ],
    }
