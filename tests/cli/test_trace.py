"""One device's requests and answers, shown to whoever describes it."""

from tests.cli.stage import SECRETS, Stage


def test_a_survey_of_one_device_shows_what_was_said(small: Stage) -> None:
    """Each request and answer once, then what was made of it; nobody else is asked."""
    found = small.run("survey", "--device", "studio-south-engine", "--trace")
    assert found.status == 0
    for path in ("/unit", "/lan", "/streams", "/inputs", "/clock"):
        assert f": GET {path}\n" in found.out
    assert '"serial": "CV-' in found.out
    assert found.out.index("GET /clock") < found.out.index("Tern Point Radio")
    assert {asked.device for asked in small.world.log} == {"studio-south-engine"}
    assert small.writes() == 0


def test_no_secret_is_shown(small: Stage) -> None:
    """Neither as it is nor as it was sent; the header that carried it is named."""
    for device, key in (("studio-south-engine", "CORVID"), ("transmitter-feed", "TAMARISK")):
        text = small.run("survey", "--device", device, "--trace").out
        user, _, word = SECRETS[f"CUTSHEET_CREDENTIAL_{key}_UNITS"].rpartition(":")
        assert "(secret)" in text
        assert word not in text
        assert user in ("", "engineer")


def test_with_json_the_document_stands_alone(small: Stage) -> None:
    """What was said goes to standard error."""
    found = small.run("survey", "--device", "studio-south-engine", "--trace", "--json")
    assert [one["device"] for one in found.json["devices"]] == ["studio-south-engine"]
    assert "GET /unit" in found.err


def test_one_device_can_be_surveyed_without_a_trace(small: Stage) -> None:
    """The same survey, of one device."""
    found = small.run("survey", "--device", "transmitter-feed")
    assert found.status == 0
    assert "request 1" not in found.out
    assert "transmitter-feed" in found.out
    assert "studio-south-engine" not in found.out


def test_calls_that_make_no_sense(small: Stage) -> None:
    """A trace of everybody, of nobody, and of a device that is not spoken to."""
    for arguments, words in (
        (("--trace",), "--device NAME"),
        (("--device", "nobody", "--trace"), "no device nobody"),
        (("--device", "alert-inserter", "--trace"), "not spoken to"),
    ):
        found = small.run("survey", *arguments)
        assert found.status == 2
        assert words in found.said
    assert small.world.log == ()


def test_a_device_that_refuses_the_sign_in_is_shown(small: Stage) -> None:
    """The answer that says why is what helps."""
    wrong = {"CUTSHEET_CREDENTIAL_CORVID_UNITS": "engineer:wrong-word"}
    found = small.run("survey", "--device", "studio-south-engine", "--trace", **wrong)
    assert found.status == 4
    assert "401" in found.out
    assert "www-authenticate: Basic" in found.out
    assert "wrong-word" not in found.out + found.err
