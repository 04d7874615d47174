"""The seal of a row: whether it is still what was stored.

SQLite notices a page that is out of shape; a figure that has become another one keeps its shape. So
each row carries a seal over its other columns, and one that does not fit is damage, whoever did it.
It keeps no secret and proves no author: it finds a disk's faults and a hand's slips.
"""

from collections.abc import Sequence
from hashlib import sha256

LENGTH = 16
_BETWEEN = "\x1f"
_NULL = "\x00"


def seal(*values: object) -> str:
    """The first 16 hexadecimal digits of SHA-256 (FIPS 180-4) over the values as text.

    They are joined by U+001F; NULL is U+0000.
    """
    text = _BETWEEN.join(_NULL if value is None else str(value) for value in values)
    return sha256(text.encode(errors="surrogatepass")).hexdigest()[:LENGTH]


def broken(row: Sequence[object]) -> bool:
    """Whether a row, whose last column is its seal, is not what was stored."""
    *values, held = row
    return seal(*values) != held
