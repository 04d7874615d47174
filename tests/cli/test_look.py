"""The commands that only look: what they say, and that they write nothing."""

from pathlib import Path
from typing import Any

import jsonschema
import pytest
import yaml

from mocks.faults import Fault, Kind
from tests.cli.stage import SECRETS, Stage, cutsheet, facility
from tests.example import WORLD

TEXT, NUMBER = {"type": "string"}, {"type": "number", "minimum": 0}
NAMES = {"type": "array", "items": TEXT}


def items(required: list[str], **properties: Any) -> dict[str, Any]:
    """A list of objects with at least these members."""
    entry = {"type": "object", "required": required, "properties": properties}
    return {"type": "array", "items": entry}


DRY_RUN = {
    "$schema": "https://json-schema.org/draft/2020-12/schema",
    "type": "object",
    "required": ["schema", "changes", "sequence", "hazards", "silence", "estimate", "digest"],
    "properties": {
        "schema": {"const": "cutsheet/dry-run/1"},
        "digest": {"type": "string", "pattern": "^[0-9a-f]{16}$"},
        "changes": items(["device", "setting", "as_found", "wanted"], device=TEXT, setting=TEXT),
        "sequence": items(
            ["id", "step", "device", "as_found", "wanted", "after", "phase", "estimate_s"],
            step={
                "enum": [
                    *("disable", "set", "renumber", "repoint", "save"),
                    *("readdress", "confirm", "enable", "by-hand"),
                ]
            },
            after=NAMES,
            phase={"type": "integer", "minimum": 0},
            estimate_s=NUMBER,
        ),
        "hazards": items(
            ["rule", "grade", "what", "where", "fix"],
            grade={"enum": ["stops", "needs_name", "information"]},
            where=NAMES,
        ),
        "silence": items(["device", "seconds", "bound_seconds"], seconds=NUMBER),
        "estimate": {
            "type": "object",
            "required": ["seconds", "bound_seconds"],
            "properties": {"seconds": NUMBER, "bound_seconds": NUMBER},
        },
    },
}


def test_check_of_the_example(tmp_path: Path) -> None:
    """Nothing is wrong, in words and as JSON."""
    folder = str(facility(tmp_path / "facility"))
    assert cutsheet("check", "--facility", folder).status == 0
    found = cutsheet("check", "--facility", folder, "--json").json
    assert (found["devices"], found["rooms"], found["problems"]) == (13, 5, [])


@pytest.mark.parametrize(
    ("name", "old", "new"),
    [
        ("plan.yaml", "address: 127.44.3.41", "address: 127.44.3.999"),
        ("plan.yaml", "    serial: TM-7703\n", "    serail: TM-7703\n"),
        ("playbooks/programme-numbers.yaml", "number: 104", "number: [104"),
        ("devices/corvid-engine.yaml", "port: 8080", "port: many"),
    ],
)
def test_a_broken_document(name: str, old: str, new: str, tmp_path: Path) -> None:
    """Exit status 3 and one message with file, line and column; no traceback."""
    folder = facility(tmp_path / "facility")
    path = folder / name
    text = path.read_text(encoding="utf-8")
    line = text[: text.index(old)].count("\n") + 1
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    ended = cutsheet("check", "--facility", str(folder))
    assert (ended.status, ended.out) == (3, "")
    assert ended.err.count(f"{Path(name).name}:") == 1
    places = [f"{Path(name).name}:{line + more}:" for more in (0, 1)]
    assert any(place in ended.err for place in places), ended.err
    assert "1 problem in the documents" in ended.err
    assert "Traceback" not in ended.err


def test_the_dry_run_keeps_its_contract(stage: Stage) -> None:
    """Its JSON has the members that are promised, and steps come after earlier ones."""
    found = stage.run("dry-run", "--json")
    assert found.status == 1
    jsonschema.Draft202012Validator(DRY_RUN).validate(found.json)
    seen: set[str] = set()
    for step in found.json["sequence"]:
        assert set(step["after"]) <= seen
        seen.add(step["id"])
    for entry in found.json["silence"]:
        assert 0 <= entry["bound_seconds"] <= entry["seconds"]
    assert stage.writes() == 0


def test_a_dry_run_in_words(stage: Stage) -> None:
    """It fits the screen; the same survey gives the same words."""
    saved = stage.folder / "survey.json"
    assert stage.run("survey", "--out", str(saved)).status == 0
    one = stage.run("dry-run", "--as-found", str(saved))
    assert max(map(len, one.out.splitlines())) <= 80
    asked = sum(stage.world.requests(name) for name in stage.world.names)
    assert stage.run("dry-run", "--as-found", str(saved)).out == one.out
    assert asked == sum(stage.world.requests(name) for name in stage.world.names)


def test_nothing_to_do_is_said_shortly(small: Stage) -> None:
    """No empty sections."""
    (small.folder / "playbooks" / "programme-numbers.yaml").unlink()
    ended = small.run("dry-run")
    assert ended.status == 0
    assert "nothing to change" in ended.out
    assert "Sequence" not in ended.out
    assert "Length" not in ended.out


@pytest.mark.parametrize(
    "arguments", [("--room", "no-such"), ("--phase", "talks,no-such"), ("--accept", "x")]
)
def test_a_wrong_choice(arguments: tuple[str, str], small: Stage) -> None:
    """Exit status 2, and the wrong word is named."""
    ended = small.run("dry-run", *arguments)
    assert ended.status == 2
    assert arguments[1].rpartition(",")[2] in ended.err


def test_rooms_narrow_the_change(stage: Stage) -> None:
    """Only devices of the room, and their listeners, change; what that can't do is told."""
    found = stage.run("dry-run", "--json", "--room", "studio-south")
    rooms = {one["room"] for one in found.json["changes"] if "source" in one}
    assert rooms == {"studio-south"}
    stops = {one["name"]: one["fix"] for one in found.json["hazards"] if one["grade"] == "stops"}
    assert "held:studio-south-io/mixer:113" in stops
    assert "news-booth" in stops["held:studio-south-io/mixer:113"]


def test_one_way_by_an_option(small: Stage) -> None:
    """``--connect`` sends what is meant for one address elsewhere, and wins over the file."""
    ended = small.run("survey", "--json", "--connect", "127.44.3.41=127.0.0.1:9")
    assert ended.status == 4
    missing = {one["device"] for one in ended.json["not_found"]}
    assert "studio-south-io" in missing
    ways = yaml.safe_load(small.map.read_text(encoding="utf-8"))
    options = [part for at, to in ways.items() for part in ("--connect", f"{at}={to}")]
    found = cutsheet("survey", "--json", "--facility", str(small.folder), *options)
    assert {one["device"] for one in found.json["not_found"]} == missing - {"studio-south-io"}


@pytest.mark.parametrize("way", ["127.44.3.41", "127.44.3.41=nowhere", "x=127.0.0.1:9"])
def test_a_wrong_way(way: str, small: Stage) -> None:
    """It is refused before anything is asked."""
    ended = small.run("survey", "--connect", way)
    assert ended.status == 2
    assert sum(small.world.requests(name) for name in small.world.names) == 0


TROUBLE = {
    "no connection": (
        Fault(Kind.REFUSE, always=True),
        "studio-south-io at 127.44.3.41 does not answer",
    ),
    "wrong password": (Fault(Kind.SIGN_IN, always=True), "refused the sign-in"),
    "nonsense": (Fault(Kind.HALF_BODY, always=True), "gave an answer that can't be used"),
    "a stranger": (
        Fault(Kind.WRONG_IDENTITY, always=True, serial="TM-9999"),
        "expected TN-8 serial TM-7703, but TN-8 serial TM-9999",
    ),
}


@pytest.mark.parametrize("name", TROUBLE)
def test_a_device_in_trouble(name: str, small: Stage) -> None:
    """One clear message names it; the change is stopped; nothing is written."""
    fault, words = TROUBLE[name]
    small.world.add_fault("studio-south-io", fault)
    surveyed = small.run("survey")
    assert surveyed.status == 4
    told = surveyed.said
    assert told.count(words) == 1, told[:600]
    planned = small.run("dry-run", "--json")
    assert planned.status == 1
    stops = [one["name"] for one in planned.json["hazards"] if one["grade"] == "stops"]
    assert "unsurveyed:studio-south-io" in stops
    assert small.run("apply", "--yes").status == 1
    assert small.writes() == 0


def test_a_missing_secret_is_told_once(small: Stage) -> None:
    """One message names the credential and the devices that need it; nobody is asked."""
    without = {"CUTSHEET_CREDENTIAL_CORVID_UNITS": ""}
    for command in ("survey", "dry-run", "audit", "apply"):
        ended = small.run(command, **without)
        assert ended.status == 2
        assert ended.err.count("corvid-units") == 1, ended.err
        assert "needed by studio-north-engine, studio-south-engine" in ended.err
        assert "tamarisk" not in ended.err
    assert sum(small.world.requests(name) for name in small.world.names) == 0


def test_no_secret_is_ever_shown(stage: Stage) -> None:
    """Not by a survey, a dry-run, JSON or an error."""
    secrets = {text.rpartition(":")[2] for text in SECRETS.values()} - {"environment"}
    assert all(secret in WORLD.read_text(encoding="utf-8") for secret in secrets)
    stage.world.add_fault("studio-south-io", Fault(Kind.SIGN_IN, always=True))
    for call in (["survey"], ["survey", "--json"], ["dry-run", "-" * 2 + "json"], ["audit"]):
        said = stage.run(*call).said
        assert not [secret for secret in secrets if secret in said]


def test_the_audit_names_what_is_wrong(stage: Stage) -> None:
    """The number held twice, and not the source that the tool never reads."""
    found = stage.run("audit", "--json")
    assert found.status == 1
    names = {one["name"] for one in found.json["findings"]}
    assert "duplicate:418" in names
    assert not [name for name in names if "transmitter-feed" in name]


def test_explain(small: Stage) -> None:
    """One device, one source, one step; what is not there is a wrong call."""
    words = small.run("explain", "talks-engine/program-1")
    assert words.status == 0
    assert "waits until studio-south-io/mixer has let go of 112" in words.said
    assert "news-booth" not in small.run("explain", "rack-codec/output-2").out.splitlines()[0]
    missing = small.run("explain", "no-such")
    assert missing.status == 2
    assert "no step of this dry-run concerns no-such" in missing.err


@pytest.mark.parametrize("what", ["plan", "playbook", "device"])
def test_schemas(what: str) -> None:
    """Each is a valid JSON Schema of 2020-12."""
    jsonschema.Draft202012Validator.check_schema(cutsheet("schema", what).json)
