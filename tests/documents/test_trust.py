import ssl
from pathlib import Path

import pytest

from orchestrator.adapters.http.certificates import by_authority
from orchestrator.documents.trust import PINS_FILE, Unfit, read_authority, read_pins, write_pins
from orchestrator.errors import DocumentError
from orchestrator.facility.trust import Pin
from tests.adapters.papers import authority, issued, pem_of, self_signed

ONE = Pin(
    sha256=self_signed().sha256, confirmed_by="an engineer", confirmed_at="2026-01-02", serial="X-1"
)
OTHER = Pin(sha256=self_signed().sha256, confirmed_by="#: {x}", confirmed_at="2026-01-03T00:00:00Z")


def test_what_was_confirmed_comes_back(tmp_path: Path) -> None:
    """Whatever stands in it; and the file says what it is for."""
    held = {"rack-node": ONE, "a-node": OTHER}
    write_pins(tmp_path, held)
    data = (tmp_path / PINS_FILE).read_bytes()
    assert read_pins(data)[0] == held
    assert data.startswith(b"# Certificates that a person has confirmed")
    write_pins(tmp_path, {})
    assert read_pins((tmp_path / PINS_FILE).read_bytes())[0] == {}


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("certificates: {a: {sha256: 12, confirmed_by: x, confirmed_at: y}}", "is not text"),
        ("certificates: {a: {sha256: '12:34', confirmed_by: x, confirmed_at: y}}", "hexadecimal"),
        ("certificates: {a: {confirmed_by: x, confirmed_at: y}}", "'sha256' is missing"),
        ("certificate: {}", "'certificate' is not a key here"),
    ],
)
def test_a_damaged_file_trusts_nothing(text: str, what: str) -> None:
    """It is told with its place."""
    with pytest.raises(DocumentError) as caught:
        read_pins(text.encode())
    problem = caught.value.problems[0]
    assert what in problem.what
    assert (problem.file, problem.line) == (PINS_FILE, 1)


def test_an_authority_is_read(tmp_path: Path) -> None:
    """One file, from the facility's folder."""
    (tmp_path / "a.pem").write_text(pem_of(authority()), encoding="ascii")
    assert "BEGIN CERTIFICATE" in read_authority(tmp_path, "a.pem")


@pytest.mark.parametrize("held", ["", "nonsense", "-----BEGIN CERTIFICATE-----\nAAAA\n"])
def test_what_is_no_authority(held: str, tmp_path: Path) -> None:
    """It is found at the desk, before any device is spoken to."""
    (tmp_path / "a.pem").write_text(held, encoding="ascii")
    with pytest.raises(Unfit, match=r"no certificate in a.pem"):
        read_authority(tmp_path, "a.pem")
    with pytest.raises(Unfit, match=r"b.pem can't be read"):
        read_authority(tmp_path, "b.pem")


def test_no_authority_is_not_this_computers_own() -> None:
    """An empty file must not come to mean that everybody is trusted whom this computer trusts."""
    with pytest.raises((ssl.SSLError, ValueError)):
        by_authority("")


def test_a_private_key_in_it_is_told(tmp_path: Path) -> None:
    """Whoever has the authority's key can be any device."""
    held = issued(authority(), "x.example")
    (tmp_path / "a.pem").write_bytes(held.key + held.pem)
    with pytest.raises(Unfit, match="holds a private key"):
        read_authority(tmp_path, "a.pem")
