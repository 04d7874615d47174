"""An audit: what is unknown and at risk before what differs."""

import json

from orchestrator.facility.found import AsFound, Found
from orchestrator.planning.result import DryRun
from orchestrator.reports import audit


def test_unknown_risk_and_difference_in_that_order(as_found: AsFound, dry_run: DryRun) -> None:
    """Devices not found come first, then findings, then changes, in 80 columns."""
    text = audit.text(as_found, dry_run.hazards, dry_run.changes)
    places = [text.index(part) for part in ("alert-inserter", "plant-wide", "as found  ")]
    assert places == sorted(places)
    assert max(map(len, text.splitlines())) <= 80


def test_a_clean_audit_claims_no_more_than_it_saw(as_found: AsFound) -> None:
    """Without findings the words are limited to what answered."""
    text = audit.text(as_found, (), ())
    assert "on what answered" in text
    assert "What answered is as wanted" in text


def test_clean_means_every_device_was_seen(as_found: AsFound, dry_run: DryRun) -> None:
    """A device that was not found, a finding, or a change: not clean."""
    all_found = AsFound(
        facility=as_found.facility,
        taken_at=as_found.taken_at,
        devices={n: e for n, e in as_found.devices.items() if isinstance(e, Found)},
    )
    assert audit.as_json(all_found, (), ())["clean"] is True
    assert audit.as_json(as_found, (), ())["clean"] is False
    assert audit.as_json(all_found, dry_run.hazards, ())["clean"] is False
    assert audit.as_json(all_found, (), dry_run.changes)["clean"] is False


def test_the_json_has_its_schema(as_found: AsFound, dry_run: DryRun) -> None:
    """The document carries its schema and the findings by name."""
    made = json.loads(json.dumps(audit.as_json(as_found, dry_run.hazards, dry_run.changes)))
    assert made["schema"] == "cutsheet/audit/1"
    assert made["findings"][0]["name"] == "plant-wide-rack-node"
    assert len(made["changes"]) == 3
