"""A survey: devices that did not answer first."""

import json
from dataclasses import replace

from orchestrator.facility.found import AsFound, Found
from orchestrator.reports import survey


def test_devices_not_found_come_first(as_found: AsFound, rooms: dict[str, str]) -> None:
    """Who did not answer, where and why, stands before all that did."""
    text = survey.text(as_found, rooms)
    assert "alert-inserter at 127.44.3.61: nothing answered" in text
    assert text.index("alert-inserter") < text.index("studio-south-engine")
    assert "No answer is not vacant" in text


def test_each_room_lists_its_devices(as_found: AsFound, rooms: dict[str, str]) -> None:
    """A device stands under its room with address, serial, sources and destinations."""
    text = survey.text(as_found, rooms)
    assert text.index("\nstudio-south\n") < text.index("studio-south-engine at 127.44.3.31")
    assert "CE-40 serial CV-20931, firmware 4.1" in text
    row = next(line for line in text.splitlines() if "S-PGM" in line)
    assert row.split() == ["program-1", "101", "239.194.0.101:5004", "S-PGM", "on"]
    assert "239.194.0.201:5004" in next(line for line in text.splitlines() if "output-1" in line)
    assert max(map(len, text.splitlines())) <= 80


def test_a_device_without_a_room_is_not_lost(as_found: AsFound) -> None:
    """Every device that was found is in the text, whatever the plan says of rooms."""
    text = survey.text(as_found, {})
    for name in ("studio-south-engine", "news-booth-engine", "rack-node"):
        assert f"{name} at" in text


def test_unsaved_changes_are_said(as_found: AsFound, rooms: dict[str, str]) -> None:
    """A device that runs on what it would not boot with says so."""
    entry = as_found.devices["rack-node"]
    assert isinstance(entry, Found)
    unsaved = replace(entry, state=replace(entry.state, unsaved=True))
    changed = replace(as_found, devices={**as_found.devices, "rack-node": unsaved})
    assert "not saved" in survey.text(changed, rooms)
    assert "not saved" not in survey.text(as_found, rooms)


def test_the_json_has_every_device(as_found: AsFound, rooms: dict[str, str]) -> None:
    """Found and not found together are all devices, with the documented keys."""
    made = json.loads(json.dumps(survey.as_json(as_found, rooms)))
    assert made["schema"] == "cutsheet/survey/1"
    assert made["not_found"] == [
        {
            "device": "alert-inserter",
            "at": "127.44.3.61",
            "kind": "Unreachable",
            "why": "nothing answered",
            "room": None,
        }
    ]
    node = next(entry for entry in made["devices"] if entry["device"] == "rack-node")
    assert node["destinations"] == [
        {"destination": "output-1", "listens_to": "239.194.0.201:5004", "label": "OUT"}
    ]
    assert node["settings"] == {"ptp_domain": 0}
    assert node["room"] == "rack"
