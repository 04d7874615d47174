"""A run on paper: every step takes just its estimate, and a run's own rules say what starts.

It knows steps and sequences only, nothing of how they were planned. All times are milliseconds.
"""

from collections.abc import Iterable, Mapping

from orchestrator.facility.step import Sequence, Step, StepKind


def starts(sequence: Sequence) -> dict[str, int]:
    """When each step starts; raises AssertionError where the steps wait for one another."""
    waiting = {step.id: step for step in sorted(sequence.steps, key=lambda step: step.order)}
    began: dict[str, int] = {}
    running: dict[str, tuple[int, list[Step]]] = {}
    proved: set[str] = set()
    now = 0
    while waiting or running:
        begun = [step for _, steps in running.values() for step in steps]
        phase = min(step.phase for step in [*waiting.values(), *begun])
        for step in list(waiting.values()):
            if step.id in began:
                continue
            spoken = sum(s[0].kind is not StepKind.BY_HAND for _, s in running.values())
            full = spoken >= sequence.width and step.kind is not StepKind.BY_HAND
            if full or step.phase != phase or step.device in running:
                continue
            if proved.issuperset(step.after) and proved.issuperset(step.behind):
                batch = [step, *_mates(step, waiting.values(), proved)]
                longest = max(round(one.estimate_s * 1000) for one in batch)
                running[step.device] = (now + longest, batch)
                for one in batch:
                    del waiting[one.id]
                    began[one.id] = now
        assert running, "the steps wait for one another"
        now = min(end for end, _ in running.values())
        for device, (end, batch) in list(running.items()):
            if end == now:
                del running[device]
                proved.update(step.id for step in batch)
    return began


def _mates(step: Step, waiting: Iterable[Step], proved: set[str]) -> list[Step]:
    """What goes in one request with ``step``, as far as it may start."""
    return [
        one
        for one in waiting
        if one is not step
        and step.batch
        and (one.device, one.batch) == (step.device, step.batch)
        and proved.issuperset((*one.after, *one.behind))
    ]


def silences(sequence: Sequence, began: Mapping[str, int]) -> dict[str, int]:
    """From the start of each source's disable to the end of its enable."""
    off = {s.subject: began[s.id] for s in sequence.steps if s.kind is StepKind.DISABLE}
    return {
        step.subject: began[step.id] + round(step.estimate_s * 1000) - off[step.subject]
        for step in sequence.steps
        if step.kind is StepKind.ENABLE and step.subject in off
    }


def length(sequence: Sequence, began: Mapping[str, int]) -> int:
    """When the last step ends."""
    ends = (began[s.id] + round(s.estimate_s * 1000) for s in sequence.steps)
    return max(ends, default=0)
