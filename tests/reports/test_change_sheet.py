"""The change sheet has what people in the window need."""

import re
from dataclasses import replace
from datetime import UTC, datetime, timedelta

from orchestrator.facility.step import Sequence
from orchestrator.planning.result import DryRun
from orchestrator.reports import change_sheet
from orchestrator.reports.change_sheet import Window

START = datetime(2026, 11, 25, 2, 0, tzinfo=UTC)


def sheet(dry_run: DryRun, rooms: dict[str, str], window: Window | None = None) -> str:
    """The sheet of the change."""
    return change_sheet.text(dry_run, "5f0c", "Swap", rooms, window)


def test_the_parts_come_in_order(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """Silence first, then window, people, before, steps, tests, back-out, after."""
    text = sheet(dry_run, rooms)
    assert re.findall(r"^## (.*)$", text, re.MULTILINE) == [
        "What goes silent",
        "Window",
        "People",
        "Before",
        "Steps",
        "Tests",
        "Back-out",
        "After",
    ]
    assert max(map(len, text.splitlines())) <= 80


def test_the_last_time_to_turn_back_leaves_room_for_going_back() -> None:
    """Window 02:00 to 04:00, back-out 25 min, margin 15 min: 03:20. Worked by hand."""
    window = Window(START, START + timedelta(hours=2), timedelta(minutes=15))
    assert window.last_return(timedelta(minutes=25)) == START + timedelta(hours=1, minutes=20)


def test_a_window_gives_clock_times_and_none_leaves_them_open(
    dry_run: DryRun, rooms: dict[str, str]
) -> None:
    """With a window the last time to turn back is printed; without, it is filled in by hand."""
    window = Window(START, START + timedelta(hours=2))
    assert "**Last time to turn back: 2026-11-25 03:58:45.**" in sheet(dry_run, rooms, window)
    assert "last time to turn back: . . ." in sheet(dry_run, rooms)


def test_every_step_can_be_ticked_under_its_phase(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """Each step stands once, enables warn ears, and a go/no-go stands before the second phase."""
    steps = sheet(dry_run, rooms).split("## Steps\n")[1].split("\n## ", 1)[0]
    numbers = re.findall(r"^- \[ \] (\d+)\.", steps, re.MULTILINE)
    assert numbers == [str(n) for n in range(1, len(dry_run.sequence.steps) + 1)]
    flat = " ".join(steps.split())
    assert flat.count("Headphones off") == 2
    assert flat.index("Phase 2: rack") < flat.index("**Go / no-go**") < flat.index("(s13)")


def test_a_sheet_without_steps_says_so(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """An empty change makes no empty list."""
    empty = replace(dry_run, sequence=Sequence(steps=()), silence=())
    assert "There are no steps." in sheet(empty, rooms)
    assert "Nothing that the tool can see." in sheet(empty, rooms)


def test_what_goes_in_one_request_is_said(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """Whoever ticks one of them sees that the others come with it."""
    first, second, *others = dry_run.sequence.steps
    mate = replace(second, device=first.device, batch=1)
    steps = (replace(first, batch=1), mate, *others)
    together = replace(dry_run, sequence=replace(dry_run.sequence, steps=steps))
    flat = " ".join(sheet(together, rooms).split())
    assert "In one request with s2." in flat
    assert "In one request with s1." in flat
