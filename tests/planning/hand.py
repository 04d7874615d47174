"""Safe sequences to break by hand, and the tools to break them."""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from orchestrator.facility.hazard import Hazard
from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.facility.wanted import Unit
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.proof.case import Case, Meant
from orchestrator.planning.proof.prove import prove
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from tests.planning.scenes import Box, address, scene


def safe(boxes: Mapping[str, Box], **about: Any) -> tuple[Scene, Sequence]:
    """The scene of ``boxes`` and its sequence, which the proof finds safe."""
    where = scene(boxes, **about)
    planned = dry_run(where)
    assert not planned.stopped, planned.hazards
    assert planned.sequence.steps
    return where, planned.sequence


def planned(boxes: Mapping[str, Box], **about: Any) -> DryRun:
    """The dry-run of ``boxes``, whatever comes of it."""
    return dry_run(scene(boxes, **about))


def chain(saves: Saves = Saves.AT_ONCE) -> dict[str, Box]:
    """Source a/s goes to 312, which b/s leaves for 320; c/in listens to a/s."""
    return {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, {"s": (312, True)}, wants={"s": (320, None)}, saves=saves),
        "c": Box(33, hears={"in": 311}),
    }


def ring() -> dict[str, Box]:
    """Sources a/s and b/s exchange 311 and 312; c/in listens to a/s."""
    return {
        "a": Box(31, {"s": (311, True)}, wants={"s": (312, None)}),
        "b": Box(32, {"s": (312, True)}, wants={"s": (311, None)}),
        "c": Box(33, hears={"in": 311}),
    }


def readdress() -> dict[str, Box]:
    """Device a goes to the address that b leaves."""
    return {
        "a": Box(31, {"s": (311, True)}, to=address(32), labels={"s": "News"}),
        "b": Box(32, {"s": (321, True)}, to=address(40), hears={"in": None}),
    }


def exchange() -> dict[str, Box]:
    """Devices a and b exchange their addresses."""
    return {
        "a": Box(31, {"s": (311, True)}, to=address(32)),
        "b": Box(32, {"s": (321, True)}, to=address(31)),
    }


def join(saves: Saves = Saves.ON_SAVE) -> dict[str, Box]:
    """A fresh unit comes from the bench; it holds 311 there, as a/s does in the facility."""
    return {
        "a": Box(31, {"s": (311, True)}, hears={"in": 311}),
        "new": Box(
            50,
            {"s": (311, True), "t": (7, True)},
            at="127.0.2.50",
            to=address(50),
            unit=Unit.FRESH,
            wants={"s": (501, True)},
            saves=saves,
        ),
    }


def step(sequence: Sequence, kind: StepKind, subject: str, nth: int = 0) -> Step:
    """The ``nth`` step of a kind about ``subject``."""
    return [s for s in sequence.steps if s.kind is kind and s.subject == subject][nth]


def changed(sequence: Sequence, *steps: Step) -> Sequence:
    """``sequence`` with these steps in the place of those with their ids."""
    new = {s.id: s for s in steps}
    return replace(sequence, steps=tuple(new.get(s.id, s) for s in sequence.steps))


def dropped(sequence: Sequence, gone: Step) -> Sequence:
    """``sequence`` without a step; who waited for it waits for what it waited for."""
    steps = [
        replace(
            s,
            after=tuple(
                dict.fromkeys(x for a in s.after for x in (gone.after if a == gone.id else (a,)))
            ),
        )
        for s in sequence.steps
        if s.id != gone.id
    ]
    return replace(sequence, steps=tuple(steps))


def apart(sequence: Sequence, first: Step, then: Step) -> Sequence:
    """``sequence`` with ``then`` waiting for ``first`` no more, not even through others.

    The disables of its device do not wait for it either: that they do is for less silence only.
    """
    below = _below(sequence, first)
    loose = [
        replace(s, after=tuple(a for a in s.after if a not in below))
        for s in sequence.steps
        if s.device == then.device and s.kind is StepKind.DISABLE
    ]
    sequence = changed(sequence, *loose)
    below = _below(sequence, first)
    after = tuple(a for a in then.after if a not in below)
    return changed(sequence, replace(then, after=after))


def _below(sequence: Sequence, first: Step) -> set[str]:
    """``first`` and all that waits for it."""
    below = {first.id}
    for s in _sorted(sequence):
        if below & set(s.after):
            below.add(s.id)
    return below


def alone(sequence: Sequence, device: str) -> Sequence:
    """``sequence`` with a device's steps waiting only for its own."""
    own = {s.id for s in sequence.steps if s.device == device}
    return changed(
        sequence,
        *[
            replace(s, after=tuple(a for a in s.after if a in own))
            for s in sequence.steps
            if s.id in own
        ],
    )


def waiting(sequence: Sequence, then: Step, *firsts: Step) -> Sequence:
    """``sequence`` with ``then`` waiting for ``firsts`` as well."""
    now = next(s for s in sequence.steps if s.id == then.id)
    return changed(sequence, replace(now, after=(*now.after, *[f.id for f in firsts])))


def before(sequence: Sequence, first: Step, then: Step) -> Sequence:
    """``sequence`` with ``first`` before ``then``, which came before it."""
    turned = apart(sequence, then, first)
    return waiting(turned, then, first)


def _sorted(sequence: Sequence) -> list[Step]:
    done: dict[str, Step] = {}
    while len(done) < len(sequence.steps):
        for s in sequence.steps:
            if s.id not in done and all(a in done for a in s.after):
                done[s.id] = s
    return list(done.values())


def one_phase(sequence: Sequence) -> Sequence:
    """``sequence`` with all its steps in one phase."""
    return replace(sequence, steps=tuple(replace(s, phase=0) for s in sequence.steps))


def verdict(where: Scene, sequence: Sequence) -> list[Hazard]:
    """What the proof says."""
    return prove(where, sequence, Meant.of(where))


def case(where: Scene, sequence: Sequence) -> Case:
    """What the parts of the proof look at."""
    return Case.of(where, sequence, Meant.of(where))


def said(hazards: list[Hazard]) -> set[tuple[str, str]]:
    """The rules that are broken, each with the step named first."""
    return {(hazard.rule, hazard.where[0]) for hazard in hazards}


def with_device(where: Scene, name: str, **values: Any) -> Scene:
    """``where`` with other values in the plan's entry of a device."""
    devices = {**where.plan.devices, name: replace(where.plan.devices[name], **values)}
    return replace(where, plan=replace(where.plan, devices=devices))


def on_air(where: Scene, *refs: Ref) -> Scene:
    """``where`` with these destinations on air."""
    return replace(where, plan=replace(where.plan, on_air=refs))
