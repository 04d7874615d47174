"""Faults that the run mended stay mended, with all that follows."""

from collections.abc import Callable
from dataclasses import replace

import pytest

from orchestrator.facility.step import Hearing, Step
from orchestrator.reports.way_back import way_back
from orchestrator.running.events import Event
from orchestrator.running.record import RunRecord

Make = Callable[..., tuple[Event, ...]]
SOUTH, BOOTH = "studio-south-engine/program-1", "news-booth-engine/program-1"


def mended(record: RunRecord, fault: str, *holders: str) -> RunRecord:
    """The record of a run that mended a fault."""
    return replace(record, mended={fault: holders})


def kept(record: RunRecord, events: tuple[Event, ...]) -> set[str]:
    """The steps that are not taken back."""
    return {step.id for step in way_back(record, events).kept}


def back(record: RunRecord, events: tuple[Event, ...]) -> list[str]:
    """The steps of the way back."""
    return [entry.step.id for entry in way_back(record, events).steps]


def test_without_a_fault_everything_is_taken_back(record: RunRecord, done: Make) -> None:
    """Nothing stays where nothing was mended."""
    assert kept(record, done(*range(1, 15))) == set()


@pytest.mark.parametrize("fault", ["number 201 on media", "group 239.194.0.201:5004 on media"])
def test_a_source_is_not_put_back_onto_a_duplicate(
    record: RunRecord, done: Make, fault: str
) -> None:
    """The renumber away from the fault is kept; a fault of another holder keeps nothing."""
    faulty = mended(record, fault, BOOTH, "old/p")
    assert "s4" in kept(faulty, done(2, 3, 4))
    other = mended(record, fault, "old/p", "older/p")
    assert "s4" not in kept(other, done(2, 3, 4))


def test_what_would_land_on_a_kept_source_is_kept_too(record: RunRecord, done: Make) -> None:
    """Booth keeps 101, so South can't go back to 101 and stays as well."""
    faulty = mended(record, "number 201 on media", BOOTH, "old/p")
    assert {"s3", "s4", "s7"} <= kept(faulty, done(1, 2, 3, 4, 7))


def test_a_destination_pointed_at_a_kept_source_stays(record: RunRecord, done: Make) -> None:
    """A listener that followed the source goes on following it."""
    faulty = mended(record, "number 201 on media", BOOTH, "old/p")
    assert "s5" in kept(faulty, done(2, 3, 4, 5))
    away = replace(
        faulty,
        sequence=replace(
            faulty.sequence,
            steps=tuple(
                replace(step, wanted=Hearing(7)) if step.id == "s5" else step
                for step in faulty.sequence.steps
            ),
        ),
    )
    assert "s5" not in kept(away, done(2, 3, 4, 5))


def test_a_source_on_a_transit_number_is_not_switched_on_there(
    record: RunRecord, done: Make
) -> None:
    """Stopped half way, a source that can't go back stays off."""
    faulty = mended(record, "number 101 on media", SOUTH, "old/p")
    assert {"s1", "s3"} <= kept(faulty, done(1, 3))
    assert back(faulty, done(1, 3)) == []


def test_a_silenced_source_on_its_new_number_is_switched_on_again(
    record: RunRecord, done: Make
) -> None:
    """Where only its enable was missing, a kept source is brought back on its new number."""
    faulty = mended(record, "number 201 on media", BOOTH, "old/p")
    assert "s2" in back(faulty, done(1, 2, 3, 4))


def test_a_kept_source_is_not_switched_off_and_on_for_nothing(
    record: RunRecord, done: Make
) -> None:
    """Its off and on are left out, unless the unit as a whole is put back in between."""
    faulty = mended(record, "number 201 on media", BOOTH, "old/p")
    way = back(faulty, done(*range(1, 13)))
    assert "s2" not in way
    assert "s11" not in way
    assert {"s1", "s12"} <= set(way)  # South's unit goes back to its old address meanwhile


def test_a_unit_is_not_put_back_onto_a_duplicate_address(record: RunRecord, done: Make) -> None:
    """A readdress away from an address that two held is kept."""
    faulty = mended(record, "address 127.44.3.31 on media", "studio-south-engine", "old-engine")
    assert kept(faulty, done(*range(1, 13))) == {"s9"}


def test_odd_words_for_a_fault_keep_nothing(record: RunRecord, done: Make) -> None:
    """A fault whose words name no number, group or address keeps no step."""
    steps: tuple[Step, ...] = record.sequence.steps
    assert steps
    for fault in ("", "number", "clock 201"):
        assert kept(mended(record, fault, BOOTH), done(2, 3, 4)) == set()
