"""The terms of a run in words, and what its window leaves for each phase.

In JSON::

    after_failure, soak_seconds
    window       opens, closes, zone, margin_seconds; or null
    phases[]     latest_start, turn_back_before, turn_back_after, longest_seconds
"""

from collections.abc import Mapping, Sequence

from orchestrator.reports.clock import clock_words, limit_words, window_words
from orchestrator.reports.layout import seconds, wrap
from orchestrator.reports.values import Json
from orchestrator.running.terms import AfterFailure, Terms
from orchestrator.running.window import Window, limits

AFTER_FAILURE: Mapping[AfterFailure, str] = {
    AfterFailure.HOLD_DEVICE: "that device and what depends on it wait, the rest is finished",
    AfterFailure.HOLD_ROOM: "its whole room waits, the rest is finished",
    AfterFailure.HOLD_ALL: "nothing more is begun anywhere",
    AfterFailure.TAKE_ROOM_BACK: "its whole room waits, the rest is finished, and then the room "
    "is taken back",
}


def terms_lines(terms: Terms, lengths: Sequence[float]) -> list[str]:
    """The terms for people; ``lengths`` are the seconds that the phases take at the most."""
    lines = wrap(f"After a failure: {AFTER_FAILURE[terms.after_failure]} ({terms.after_failure}).")
    if terms.soak_s:
        lines += wrap(f"Before each go/no-go point it is watched for {seconds(terms.soak_s)}.")
    if terms.window is None:
        return [*lines, *wrap("No maintenance window was given.")]
    return [*lines, *_window(terms.window, lengths)]


def _window(window: Window, lengths: Sequence[float]) -> list[str]:
    lines = wrap(f"Window: {window_words(window)}; {seconds(window.margin_s)} stay free.")
    for phase, length in enumerate(lengths):
        lines += wrap(limit_words(window, limits(window, lengths, phase), length, phase))
    lines += wrap("To turn back is reckoned to take as long as it took, at the most.")
    return lines


def turn_back_words(terms: Terms, lengths: Sequence[float], begun: int) -> str | None:
    """The last time to turn back for a run of which ``begun`` phases were begun; None: no window.

    After it, going on is the way out.
    """
    if terms.window is None or not begun:
        return None
    last = limits(terms.window, lengths, begun - 1).end_by
    return clock_words(last, terms.window)


def terms_json(terms: Terms, lengths: Sequence[float]) -> Json:
    """The terms as the document that the module describes."""
    window = terms.window
    return {
        "after_failure": terms.after_failure.value,
        "soak_seconds": terms.soak_s,
        "window": None
        if window is None
        else {
            "opens": window.opens,
            "closes": window.closes,
            "zone": window.zone,
            "margin_seconds": window.margin_s,
        },
        "phases": []
        if window is None
        else [_phase_json(window, lengths, phase) for phase in range(len(lengths))],
    }


def _phase_json(window: Window, lengths: Sequence[float], phase: int) -> Json:
    found = limits(window, lengths, phase)
    return {
        "latest_start": found.latest_start.isoformat(),
        "turn_back_before": found.turn_back.isoformat(),
        "turn_back_after": found.end_by.isoformat(),
        "longest_seconds": lengths[phase],
    }
