"""What rehearsals came to, for people and for programs.

The JSON document, ``cutsheet/rehearsal/1`` (times in seconds)::

    facility, digest, steps
    estimate_s      how long the dry-run says that it takes; null for a work order
    clean           no safety rule broken, and without faults every run finished by itself
    rehearsals[]    faults (in words; empty: none), times, seed (of the first),
                    finished, resumed (finished after a pause, once the trouble was over), stuck
                    median_s, p95_s (of those that finished by themselves; null: none did)
                    silence[]      what, worst_s
                    left_silent[]  what, times: still silent when the run paused
                    paused_on[]    device, step, why, times
                    broken[]       seed, faults[], rules[]
"""

from collections.abc import Sequence
from dataclasses import dataclass

from orchestrator.reports.layout import heading, item, seconds, table, wrap
from orchestrator.reports.values import Json
from orchestrator.running.rehearsed import Held, Rehearsal, Time

MOST_ROWS = 12


def clean(rehearsals: Sequence[Rehearsal]) -> bool:
    """Whether no rule was broken, and every run without faults finished by itself."""
    return not any(
        each.broken or (each.calm and len(each.finished) < len(each.times)) for each in rehearsals
    )


@dataclass(frozen=True, slots=True, kw_only=True)
class Rehearsed:
    """What was rehearsed; ``estimate_s``, in seconds, is the dry-run's, None for a work order."""

    facility: str
    steps: int
    digest: str
    estimate_s: float | None = None


def text(rehearsals: Sequence[Rehearsal], what: Rehearsed) -> str:
    """Rehearsals for people: broken rules and silence first."""
    lines = wrap(
        f"Rehearsal, {what.facility}: {what.steps} steps on simulated devices made of the survey. "
        "Nothing was written to any device."
    )
    lines += _verdict(rehearsals)
    for each in rehearsals:
        lines += heading(_title(each))
        lines += [*_ends(each, what.estimate_s), *_silent(each), *_held(each), *_broken(each)]
    lines += ["", *wrap(f"Digest of the sequence: {what.digest}")]
    return "\n".join(lines) + "\n"


def _verdict(rehearsals: Sequence[Rehearsal]) -> list[str]:
    broken = sum(len(each.broken) for each in rehearsals)
    if broken:
        return wrap(f"A SAFETY RULE WAS BROKEN in {broken} of them: do not apply this change.")
    if not clean(rehearsals):
        return wrap("Without any fault, not every run finished: look at what they paused on.")
    return wrap("No safety rule was broken at any instant of any of them.")


def _title(each: Rehearsal) -> str:
    first, count = each.times[0].seed, len(each.times)
    how = "devices as they were found" if each.calm else f"with faults: {each.given}"
    return f"{count} times, {how} (seeds {first} to {first + count - 1})"


def _ends(each: Rehearsal, estimate_s: float | None) -> list[str]:
    resumed, stuck = _resumed(each), _stuck(each)
    lines = wrap(f"Finished by itself: {len(each.finished)} of {len(each.times)}.")
    if resumed:
        most = max(time.resumes or 0 for time in resumed)
        often = "one 'resume'" if most == 1 else f"one to {most} times 'resume'"
        lines += wrap(f"Paused, and finished by {often} once the trouble was over: {len(resumed)}.")
    if stuck:
        lines += wrap(f"Paused, and no 'resume' finished it; 'undo' is the way: {len(stuck)}.")
    median, most_of = each.lasted(0.5), each.lasted(0.95)
    if median is not None and most_of is not None:
        planned = f" The dry-run says about {seconds(estimate_s)}." if estimate_s else ""
        lines += wrap(
            f"Those that finished took {seconds(median)} (median), {seconds(most_of)} (95 of "
            f"100 took no longer).{planned} What a person takes to answer comes on top."
        )
    return lines


def _resumed(each: Rehearsal) -> list[Time]:
    return [time for time in each.times if not time.finished and time.resumes is not None]


def _stuck(each: Rehearsal) -> list[Time]:
    return [time for time in each.times if time.resumes is None]


def _silent(each: Rehearsal) -> list[str]:
    lines: list[str] = []
    if each.worst:
        rows = [(name, seconds(worst)) for name, worst in each.worst.items()]
        lines += ["", *table(("source or known listener", "silent at worst"), rows[:MOST_ROWS])]
        lines += _more(len(rows))
    else:
        lines += wrap("Nothing that the tool can see went silent and came back.")
    if each.left_silent:
        most = len(each.times)
        rows = [(name, f"{times} of {most}") for name, times in each.left_silent.items()]
        lines += ["", *table(("still silent at a pause", "in"), rows[:MOST_ROWS])]
        lines += _more(len(rows))
    return lines


def _more(count: int) -> list[str]:
    return wrap(f"and {count - MOST_ROWS} more (--json has all)", 2) if count > MOST_ROWS else []


def _held(each: Rehearsal) -> list[str]:
    if not each.held:
        return []
    lines = ["", *wrap("It would have paused on:")]
    for held, times in list(each.held.items())[:MOST_ROWS]:
        lines += item(f"{times} of {len(each.times)}".rjust(10), f"{held.step}: {held.why}")
    return [*lines, *_more(len(each.held))]


def _broken(each: Rehearsal) -> list[str]:
    lines: list[str] = []
    for time in each.broken:
        faults = ", ".join(str(fault) for fault in time.faults) or "none"
        lines += ["", *wrap(f"Broken with seed {time.seed} (faults: {faults}):")]
        for rule in time.broken:
            lines += wrap(rule, 4, 2)
        lines += wrap(f"To see it again: {again(time)}", 4, 2)
    return lines


def again(time: Time) -> str:
    """The options that make one rehearsal again."""
    faults = [f"--fault {fault}" for fault in time.faults]
    return " ".join([f"--seed {time.seed} --times 1", *(faults or ["--faults 0"])])


def as_json(rehearsals: Sequence[Rehearsal], what: Rehearsed) -> Json:
    """Rehearsals as the document that the module describes."""
    return {
        "schema": "cutsheet/rehearsal/1",
        "facility": what.facility,
        "digest": what.digest,
        "steps": what.steps,
        "estimate_s": what.estimate_s,
        "clean": clean(rehearsals),
        "rehearsals": [_json(each) for each in rehearsals],
    }


def _json(each: Rehearsal) -> Json:
    return {
        "faults": each.given,
        "times": len(each.times),
        "seed": each.times[0].seed,
        "finished": len(each.finished),
        "resumed": len(_resumed(each)),
        "stuck": len(_stuck(each)),
        "median_s": each.lasted(0.5),
        "p95_s": each.lasted(0.95),
        "silence": [{"what": name, "worst_s": worst} for name, worst in each.worst.items()],
        "left_silent": [{"what": name, "times": n} for name, n in each.left_silent.items()],
        "paused_on": [_held_json(held, times) for held, times in each.held.items()],
        "broken": [
            {
                "seed": time.seed,
                "faults": [str(fault) for fault in time.faults],
                "rules": list(time.broken),
            }
            for time in each.broken
        ],
    }


def _held_json(held: Held, times: int) -> Json:
    return {"device": held.device, "step": held.step, "why": held.why, "times": times}
