"""The words of the rollback notes: what stands where, and what is said of each step."""

import re
from collections.abc import Callable
from dataclasses import replace
from pathlib import Path

import pytest

from orchestrator.facility.step import AddressValue, Sequence, StepKind
from orchestrator.reports import rollback_notes as notes
from orchestrator.running.events import Event, Failed, Failure, Intended, Proved, Sent
from orchestrator.running.record import RunRecord

Make = Callable[..., tuple[Event, ...]]


def way(text: str) -> str:
    """The way back alone, on one line."""
    return flat(text.split("## The way back\n")[1].split("\n## ", 1)[0])


def flat(text: str) -> str:
    """The text on one line."""
    return " ".join(text.split())


def test_before_the_first_write_there_is_nothing_to_put_back(record: RunRecord) -> None:
    """Notes written before the run say so, and give every value as it is."""
    text = flat(notes.text(record, ()))
    assert "True before the first step is begun" in text
    assert "Nothing has been written: there is nothing to put back" in text
    assert "`studio-south-engine/program-1`: number `101`, group `239.194.0.101:5004`" in text


def test_silence_comes_first_and_cautions_before_the_steps(record: RunRecord, done: Make) -> None:
    """Who is silent, then the cautions, then the way back."""
    text = notes.text(record, done(1, 2))
    heads = re.findall(r"^## (.*)$", text, re.MULTILINE)
    assert heads == [
        "Silent now",
        "Before you touch anything",
        "The way back",
        "Each step of the run",
        "Values before the run",
    ]
    assert "`news-booth-engine/program-1`: switched off by the run. Heard by" in flat(text)
    for about in ("Hearing", "Alert and transmitter chains", "Who is on air"):
        assert f"- **{about}.**" in text


def test_switching_on_warns_ears_and_names_who_heard(record: RunRecord, done: Make) -> None:
    """Each step that brings sound back says headphones off, and who heard it on these units."""
    text = flat(notes.text(record, done(1, 2)))
    assert text.count("Headphones off and monitors down wherever") == 2
    assert "it was heard by `rack-node/output-1`), then: Source `program-1`: set switch" in text


def test_each_visit_names_the_unit_by_its_serial(record: RunRecord, done: Make) -> None:
    """Before anything is set, the reader sees that it is the unit meant."""
    text = notes.text(record, done(*range(1, 10)))
    assert "### Go to 127.44.3.32: studio-south-engine" in text
    assert "serial `CV-20931`, model `CE-40`" in flat(text)


def test_a_readdress_is_followed_by_its_confirm(record: RunRecord, done: Make) -> None:
    """After the address is put back the unit is seen there by its serial before all else."""
    steps = re.split(r" (?=\d+\. )", way(notes.text(record, done(*range(1, 10)))))
    place = next(n for n, step in enumerate(steps) if "set address of interface" in step)
    assert "see that it answers at `127.44.3.31`, serial `CV-20931`" in steps[place + 1]
    assert "12 s or more" in steps[place + 1]
    assert "127.44.3.32" not in " ".join(steps[place + 1 :])


def test_a_readdress_in_doubt_is_looked_for_at_both(record: RunRecord, done: Make) -> None:
    """Where nobody knows whether a unit moved, both addresses are named."""
    events = (*done(1, 2, 3, 4, 7, 8), Intended("s9"), Sent("s9", False))
    text = flat(notes.text(record, events))
    assert "one of `127.44.3.31` and `127.44.3.32`, look at both" in text
    assert "It is either `127.44.3.32` or `127.44.3.31`" in text
    assert "in doubt. Look: it is either address of interface main `127.44.3.31` or" in text


def test_a_unit_that_joined_says_which_cable(record: RunRecord, done: Make) -> None:
    """Going back to another network, the notes say to move the cable."""
    bench = AddressValue("main", "127.0.2.50", 24)
    steps = tuple(
        replace(step, as_found=bench) if step.id == "s9" else step for step in record.sequence.steps
    )
    moved = replace(record, sequence=replace(record.sequence, steps=steps))
    text = flat(notes.text(moved, done(*range(1, 10))))
    assert "another network (127.0.2.0/24): move the unit's cable there" in text


def test_a_step_by_hand_is_put_back_by_hand(record: RunRecord, done: Make) -> None:
    """A person's act is taken back by a person, in its own words."""
    hand = replace(
        record.sequence.steps[0],
        kind=StepKind.BY_HAND,
        source=None,
        setting="media cable",
        as_found="port 3",
        wanted="port 9",
    )
    made = replace(record, sequence=Sequence(steps=(hand,)))
    text = flat(notes.text(made, done(1)))
    assert "By hand: set `media cable` from `port 9` to `port 3`." in text


def test_a_failed_step_has_nothing_to_put_back(record: RunRecord, done: Make) -> None:
    """A step that surely did not happen is not in the way back, and why is said."""
    events = (*done(2), Intended("s1"), Failed("s1", Failure.REJECTED, "no *way*"))
    text = notes.text(record, events)
    assert "not done, nothing to put back: the device refused the request (no \\*way\\*)" in flat(
        text
    )
    assert "studio-south-engine" not in way(text)


def test_what_was_so_already_is_left(record: RunRecord) -> None:
    """What another hand had done before the run is not the run's to take back."""
    text = flat(notes.text(record, (Intended("s13"), Proved("s13", already=True))))
    assert "## Not this run's doing" in text
    assert "was so already when the run came to it: `ptp_domain` `127`" in text
    assert "Nothing that the run wrote is left to put back" in text


def test_a_mended_duplicate_stays_mended(record: RunRecord, done: Make) -> None:
    """The fault is named with its holders, and no step restores it."""
    faulty = replace(
        record,
        mended={"number 201 on media": ("news-booth-engine/program-1", "old-engine/program-9")},
    )
    text = notes.text(faulty, done(2, 3, 4))
    said = flat(text)
    assert "number 201 on media was held by `news-booth-engine/program-1` and" in said
    assert "`news-booth-engine/program-1`: leave as it is: number `101`" in said
    assert "to `201`" not in way(text)


def test_notes_are_written_whole(record: RunRecord, tmp_path: Path) -> None:
    """The file holds the text."""
    notes.write(tmp_path / "n.md", notes.text(record, ()))
    assert (tmp_path / "n.md").read_text(encoding="utf-8") == notes.text(record, ())


@pytest.mark.parametrize("word", ["dialect", "adapter", "orchestrator", "password"])
def test_no_inner_words(record: RunRecord, done: Make, word: str) -> None:
    """Words of the program's inside, and secrets, are not in the notes."""
    assert word not in notes.text(record, done(*range(1, 15))).lower()


def test_what_was_done_since_is_told_line_by_line(record: RunRecord, done: Make) -> None:
    """Each event that changes what is true has one entry; a device's yes alone has none."""
    steps = {step.id: step for step in record.sequence.steps}
    first = record.sequence.steps[0]
    told: dict[str, Event] = {
        "begun at": Intended(first.id),
        "in doubt. Look: it is either": Sent(first.id, known=False),
        "done: switch `on` became `off`": Proved(first.id),
        "was so already, leave it": Proved(first.id, already=True),
        "not done, nothing to put back": Failed(first.id, Failure.REJECTED, "no"),
    }
    for words, event in told.items():
        assert words in flat("\n".join(notes.since(steps, event)))
        assert first.subject in flat("\n".join(notes.since(steps, event)))
    doubt = Failed(first.id, Failure.UNKNOWN, "x", unsure=True)
    assert "in doubt" in flat("\n".join(notes.since(steps, doubt)))
    assert notes.since(steps, Sent(first.id, known=True)) == []
    assert all(notes.since(steps, event) for event in done(1) if isinstance(event, Proved))


def test_the_list_of_what_was_done_since_comes_first(record: RunRecord) -> None:
    """The title says to begin with it, and its own head says how: from the last line upward."""
    assert "'Done since', that list comes first" in flat(notes.text(record, ()))
    said = flat("\n".join(notes.SINCE))
    assert "from the last line upward" in said
    assert "look first" in said
    assert "stays mended" in said


def test_whole_configurations_are_told_where_there_are_some(record: RunRecord) -> None:
    """Which file, why one is missing, that the way back needs none, and how without the tool."""
    assert "Whole configurations" not in notes.text(record, ())
    kept = replace(record, configurations={"rack-node": None, "ear-node": "it did not answer"})
    text = flat(notes.text(kept, ()))
    assert "`configuration-rack-node.json`, beside these notes" in text
    assert "none is kept: it did not answer" in text
    assert "the way back does not need it" in text
    assert "all of the unit's sources off" in text
    assert "by PATCH it only tries, by PUT it does" in text
