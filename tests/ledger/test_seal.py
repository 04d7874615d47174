"""A row that is no longer what was stored is seen."""

from hashlib import sha256

import pytest

from orchestrator.ledger.seal import broken, seal


def test_it_is_the_documented_digest() -> None:
    """Anybody can work it out: SHA-256 by the standard library, over columns joined by U+001F."""
    assert seal("r1", 3, None, "{}") == sha256(b"r1\x1f3\x1f\x00\x1f{}").hexdigest()[:16]


@pytest.mark.parametrize("changed", [("r2", 3), ("r1", 4), ("r1\x1f3",), ("r1", "3", ""), ("r1",)])
def test_any_other_row_has_another(changed: tuple[object, ...]) -> None:
    """Another value, a value moved to the next column, one more or one less."""
    assert seal(*changed) != seal("r1", 3, None)
    assert broken((*changed, seal("r1", 3, None)))
    assert not broken(("r1", 3, None, seal("r1", 3, None)))
