"""Explain: why a step stands where it stands, in plain words."""

from orchestrator.errors import CallError
from orchestrator.facility.step import Step
from orchestrator.planning.result import DryRun
from orchestrator.reports.layout import item, wrap
from orchestrator.reports.words import batch_mates, interim_steps, step_words


def explain(plan: DryRun, subject: str | None = None) -> str:
    """The steps that concern ``subject`` (a device, ``device/source``, a step), each with why.

    Raises:
        CallError: no step concerns it.
    """
    steps = plan.sequence.steps
    wanted = subject.removeprefix("s") if subject else None
    chosen = [step for step in steps if subject is None or _concerns(step, subject, wanted)]
    if not chosen and subject is not None:
        raise CallError(
            f"no step of this dry-run concerns {subject}",
            "name a device, device/source, device/destination or step of 'cutsheet dry-run'",
        )
    by_id = {step.id: step for step in steps}
    interim = interim_steps(plan.sequence)
    mates = batch_mates(steps)
    lines: list[str] = []
    for step in chosen:
        words = step_words(step, interim=step.id in interim)
        lines += item(f"{step.order}.".rjust(5), f"{step.subject}: {words}")
        for reason in _reasons(step, by_id):
            lines += wrap(reason, 6, 2)
        if step.id in mates:
            others = ", ".join(f"{one.order} ({one.kind})" for one in mates[step.id])
            lines += wrap(f"goes in one request with step {others}, due at the same time", 6, 2)
    return "\n".join(lines or ["Everything is as wanted: there are no steps."]) + "\n"


def _concerns(step: Step, subject: str, number: str | None) -> bool:
    return subject in {step.device, step.subject, step.id} or str(step.order) == number


def _reasons(step: Step, by_id: dict[str, Step]) -> list[str]:
    """Why it waits: the words it was given, then the steps of its own device or source."""
    reasons = [f"{step.subject} {why}" if why.startswith("waits") else why for why in step.why]
    own = [by_id[name] for name in step.after if by_id[name].device == step.device]
    if own:
        shown = "; ".join(f"{one.order} ({one.kind})" for one in own[-4:])
        before = f" and {len(own) - 4} more" if len(own) > 4 else ""  # noqa: PLR2004 - readable
        reasons.append(f"after its own device's step {shown}{before}")
    others = [by_id[name] for name in step.after if by_id[name].device != step.device]
    if others and not step.why:
        shown = "; ".join(f"{one.order} ({one.kind} of {one.subject})" for one in others)
        reasons.append(f"keeps clear of step {shown}")
    if not step.after:
        reasons.append("nothing has to come before it")
    if step.phase:
        reasons.append(f"it belongs to phase {step.phase + 1}, after its go/no-go point")
    return reasons
