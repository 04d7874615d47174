from dataclasses import replace

from orchestrator.adapters.http import scrub
from orchestrator.adapters.http.redact import SURE, Redactor
from orchestrator.facility.found import Identity
from orchestrator.facility.secret import Secret
from tests.adapters.ways_made import WHOLE

WORD = "canary-421"
TOLD = replace(
    WHOLE,
    identity=Identity(serial=WORD, model=WORD, firmware=f"2.7 {WORD}"),
    settings={"motd": f"key {WORD}", "ptp_domain": 0, "ptp_lock": True},
)


def test_what_a_device_holds_is_kept_without_its_secret() -> None:
    """In labels, versions and texts; figures and what it is known by stay."""
    source = replace(TOLD.sources["mic"], label=f"MIC {WORD}")
    held = replace(TOLD, sources={"mic": source})
    found = scrub.state(held, Redactor(Secret("", WORD)).of_what_is_held)
    assert found.sources["mic"].label == "MIC (secret)"
    assert found.sources["mic"].number == 421
    assert found.identity == Identity(serial=WORD, model=WORD, firmware="2.7 (secret)")
    assert found.settings == {"motd": "key (secret)", "ptp_domain": 0, "ptp_lock": True}
    assert found.interfaces == held.interfaces


def test_a_very_short_secret_could_be_part_of_anything() -> None:
    """A label is not spoilt for it."""
    redact = Redactor(Secret("", "MIC"))
    assert len("MIC") < SURE
    assert redact.of_what_is_held("MIC 1") == "MIC 1"
    assert redact("MIC 1") == "(secret) 1"
