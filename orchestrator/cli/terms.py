"""The options that say on which terms a run is made."""

from pathlib import Path
from typing import Annotated

import typer

from orchestrator.actions.desk import Desk
from orchestrator.documents.plans.window import read_window
from orchestrator.errors import CallError
from orchestrator.reports.terms import AFTER_FAILURE
from orchestrator.running.terms import AfterFailure, Terms
from orchestrator.running.window import MARGIN_S

_MINUTE = 60.0

AfterFailureOption = Annotated[
    AfterFailure | None,
    typer.Option(
        "--after-failure",
        show_default=False,
        help="When a step has failed for good: "
        + "; ".join(f"{name}: {words}" for name, words in AFTER_FAILURE.items())
        + ". Default: hold-device.",
    ),
]
SoakOption = Annotated[
    float | None,
    typer.Option(
        "--soak",
        min=0,
        metavar="MINUTES",
        help="Watch for so long before each go/no-go point.",
    ),
]
WindowOption = Annotated[
    str | None,
    typer.Option(
        "--window",
        metavar="START-END",
        help="The maintenance window in the facility's time zone: 02:00-04:00 (the next one), or "
        "with its day 2026-03-29T02:00/04:00. No phase starts that could not be taken back in it.",
    ),
]
MarginOption = Annotated[
    float | None,
    typer.Option(
        "--margin",
        min=0,
        metavar="MINUTES",
        help=f"What stays free before the window's end. Default: {MARGIN_S / _MINUTE:g}.",
    ),
]


def terms_of(
    desk: Desk,
    after_failure: AfterFailure | None,
    soak: float | None,
    window: str | None,
    margin: float | None,
) -> Terms | None:
    """What the options say; None if they say nothing.

    Raises:
        CallError: a margin without a window, or a window that can't be read.
    """
    if margin is not None and window is None:
        raise CallError("--margin is what stays free of a window, and there is none", "--window")
    if after_failure is None and soak is None and window is None:
        return None
    return Terms(
        after_failure=after_failure or AfterFailure.HOLD_DEVICE,
        soak_s=(soak or 0.0) * _MINUTE,
        window=None
        if window is None
        else read_window(
            window,
            desk.plan.time_zone,
            desk.clock.now(),
            margin_s=MARGIN_S if margin is None else margin * _MINUTE,
        ),
    )


def refuse_terms(order: Path, given: Terms | None) -> None:
    """A work order has its own terms, which were approved with it.

    Raises:
        CallError: others were given.
    """
    if given is not None:
        raise CallError(
            f"{order} has terms of its own, which were approved with it",
            "leave --after-failure, --soak and --window out; or make the work order anew",
        )
