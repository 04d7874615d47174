"""A dry-run for people and for programs."""

import json
from dataclasses import replace

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import Sequence
from orchestrator.planning.result import DryRun, Listeners, Search
from orchestrator.reports import dry_run as report

DIGEST = "5f0c2a9b"


def test_silence_and_risk_come_before_changes_and_sequence(
    dry_run: DryRun, rooms: dict[str, str]
) -> None:
    """What a person decides by comes first."""
    text = report.text(dry_run, DIGEST, rooms)
    heads = ("Silent during the run", "At risk", "Changes", "Sequence", "Length")
    places = [text.index(f"\n{head}\n---") for head in heads]
    assert places == sorted(places)
    assert "Nothing was written to any device" in text.splitlines()[0]


def test_it_fits_80_columns(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """No line is wider than 80 columns."""
    assert max(map(len, report.text(dry_run, DIGEST, rooms).splitlines())) <= 80


def test_on_air_is_first_and_every_silence_has_its_bound(
    dry_run: DryRun, rooms: dict[str, str]
) -> None:
    """What is on air comes before what is silent longer; seconds and bound stand in the row."""
    text = report.text(dry_run, DIGEST, rooms)
    rows = [" ".join(line.split()) for line in text.splitlines() if line.endswith(" s")]
    assert rows == [
        "news-booth-engine/ news-booth source, ON AIR 2.0 s 2.0 s",
        "studio-south-engine/ studio-south source 14 s 14 s",
        "rack-node/output-1 rack listener 2.0 s 2.0 s",
    ]


def test_known_listeners_only_where_they_are_known(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """The words stand once: for the source whose listeners are all known."""
    text = " ".join(report.text(dry_run, DIGEST, rooms).split())
    assert text.count("known listeners") == 1
    assert "news-booth-engine/program-1: known listeners: rack-node/output-1" in text
    assert "listeners as far as known: none; as the plan says, also heard by: the old intercom" in (
        text
    )


def test_unknown_listeners_are_called_unknown(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """Where listeners are not known, those seen are named and no more is claimed."""
    unknown = Listeners(source="a/s", destinations=("b/d",), also=(), sure="unknown")
    alone = Listeners(source="a/t", destinations=(), also=(), sure="known")
    text = report.text(replace(dry_run, listeners=(unknown, alone)), DIGEST, rooms)
    assert "a/s: its listeners are not known; seen: b/d" in text
    assert "a/t: no known listener" in text
    assert "known listeners" not in text


def test_the_sequence_is_numbered_and_says_what_it_waits_for(
    dry_run: DryRun, rooms: dict[str, str]
) -> None:
    """Steps are numbered lines in words; waits name the number and the reason."""
    text = " ".join(report.text(dry_run, DIGEST, rooms).split())
    assert "3. studio-south-engine/program-1: number 101 to 2990 (transit)" in text
    assert "after 2, 3: studio-south-engine/program-1 has let go of number 101" in text
    assert "Phase 2: rack" in text
    assert text.index("Go or no-go") < text.index("Phase 2: rack") < text.index("13. rack-node")


def test_length_loans_mends_and_digest_are_said(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """The estimate with its bound, what is lent, what is mended, and the digest."""
    text = " ".join(report.text(dry_run, DIGEST, rooms).split())
    assert "About 1 min 15 s in all; no safe order of these steps takes less than 1 min 2 s" in text
    assert "Lent from transit: 2990 to studio-south-engine/program-1" in text
    assert "number 415 on media, held by a/s1 and b/s2 until now" in text
    assert text.endswith(f"Digest of the sequence: {DIGEST}")
    assert "proved safe" in text


def test_a_search_that_stopped_early_says_so(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """With its tries, in words and in JSON; one that was through says nothing in words."""
    early = replace(dry_run, search=Search(tries=311, whole=False))
    said = "The search for an order with less silence stopped after 311 tries."
    assert said in " ".join(report.text(early, DIGEST, rooms).split())
    assert "stopped after" not in report.text(dry_run, DIGEST, rooms)
    assert report.as_json(early, DIGEST)["search"] == {"tries": 311, "whole": False}


def test_what_stops_it_is_named_at_the_top(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """A blocking hazard stands in the first lines, and no proof is claimed."""
    stop = Hazard(name="spread-415", rule="H1", grade=Grade.STOPS, what="w")
    text = report.text(replace(dry_run, hazards=(stop,)), DIGEST, rooms)
    assert "spread-415" in "".join(text.splitlines()[:3])
    assert "proved safe" not in text


def test_a_sequence_without_proof_says_so(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """A sequence that the proof has not passed is not called safe."""
    text = report.text(replace(dry_run, proved=False), DIGEST, rooms)
    assert "may not be run" in text
    assert "proved safe" not in text


def test_nothing_to_do_is_said_in_words(dry_run: DryRun, rooms: dict[str, str]) -> None:
    """An empty dry-run says that there is nothing, not that something is safe."""
    empty = replace(
        dry_run,
        changes=(),
        sequence=Sequence(steps=()),
        hazards=(),
        silence=(),
        listeners=(),
        lent={},
        mended={},
    )
    text = report.text(empty, DIGEST, rooms)
    for said in ("Nothing that the tool can see goes silent", "No hazard", "Everything is as"):
        assert said in text
    assert "proved safe" not in text


def test_the_json_has_the_keys_of_the_contract(dry_run: DryRun) -> None:
    """Every promised key is there, and the whole is JSON."""
    made = json.loads(json.dumps(report.as_json(dry_run, DIGEST)))
    assert made["schema"] == "cutsheet/dry-run/1"
    assert {"device", "setting", "as_found", "wanted", "source"} <= set(made["changes"][0])
    assert {"id", "step", "device", "as_found", "wanted", "after", "phase", "estimate_s"} <= set(
        made["sequence"][0]
    )
    assert set(made["hazards"][0]) == {
        "name",
        "rule",
        "grade",
        "what",
        "where",
        "fix",
        "accepted",
    }
    assert made["silence"][2] == {
        "device": "rack-node",
        "destination": "output-1",
        "seconds": 2.0,
        "bound_seconds": 2.0,
        "on_air": False,
    }
    assert made["estimate"] == {"seconds": 75.0, "bound_seconds": 62.0}
    assert made["digest"] == DIGEST
    assert made["phases"][1] == {"rooms": ["rack"], "accepts": []}
    assert (made["proved"], made["stopped"]) == (True, False)
    assert made["lent"] == {"studio-south-engine/program-1": "2990"}
    assert made["mended"] == {"number 415 on media": ["a/s1", "b/s2"]}


def test_what_goes_in_one_request_is_said_at_each_step(
    dry_run: DryRun, rooms: dict[str, str]
) -> None:
    """In words by number, and for programs by the batch's number; alone is null."""
    first, second, *others = dry_run.sequence.steps
    mate = replace(second, device=first.device, batch=1)
    steps = (replace(first, batch=1), mate, *others)
    together = replace(dry_run, sequence=replace(dry_run.sequence, steps=steps))
    shown = report.text(together, DIGEST, rooms)
    assert "in one request with 2\n" in shown
    assert "in one request with 1\n" in shown
    told = report.as_json(together, DIGEST)["sequence"]
    assert [step["batch"] for step in told][:3] == [1, 1, None]
