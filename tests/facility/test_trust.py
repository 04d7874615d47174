import hashlib

import pytest

from orchestrator.facility.trust import Tls, fingerprint, joined


def test_the_nearest_word_counts_for_each_thing() -> None:
    """Whom to trust comes from one block as a whole, the name from wherever it is said first."""
    device, kind, plan = Tls(name="unit"), Tls(pinned=True), Tls(authority="a.pem", name="plant")
    assert joined(device, kind, plan) == Tls(pinned=True, name="unit")
    assert joined(None, None, plan) == plan
    assert joined(Tls(pinned=False), plan) == Tls(pinned=False, name="plant")
    assert joined() == Tls()


def test_a_fingerprint_is_written_one_way() -> None:
    """However it was copied: in capitals or not, with colons, spaces or nothing between."""
    digest = hashlib.sha256(b"a certificate").digest()
    written = fingerprint(digest)
    assert len(written) == 95
    for copied in (digest.hex(), written.lower(), written[:47] + " " + written[48:]):
        assert fingerprint(copied) == written


@pytest.mark.parametrize("text", ["", "12:34", "g" * 64, "a" * 63, "\u0663" * 64])
def test_what_is_no_fingerprint(text: str) -> None:
    """Half of one would confirm too much."""
    with pytest.raises(ValueError, match="64 hexadecimal figures"):
        fingerprint(text)
