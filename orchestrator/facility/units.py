"""Units that devices count in, by table: a figure in one is the same figure in another.

The ratios are those of the SI (its brochure, 9th edition: prefixes, and minute and percent among
what is used with it). Conversion is exact; what comes out whole is a whole number.
"""

from collections.abc import Mapping
from fractions import Fraction

TABLE: Mapping[str, tuple[str, Fraction]] = {
    "s": ("time", Fraction(1)),
    "ms": ("time", Fraction(1, 1_000)),
    "us": ("time", Fraction(1, 1_000_000)),
    "ns": ("time", Fraction(1, 1_000_000_000)),
    "min": ("time", Fraction(60)),
    "Hz": ("frequency", Fraction(1)),
    "kHz": ("frequency", Fraction(1_000)),
    "MHz": ("frequency", Fraction(1_000_000)),
    "bit/s": ("rate", Fraction(1)),
    "kbit/s": ("rate", Fraction(1_000)),
    "Mbit/s": ("rate", Fraction(1_000_000)),
    "dB": ("level", Fraction(1)),
    "dB/10": ("level", Fraction(1, 10)),
    "dB/100": ("level", Fraction(1, 100)),
    "1": ("ratio", Fraction(1)),
    "%": ("ratio", Fraction(1, 100)),
}
"""Unit to what it measures, and how much of that thing's first unit it is."""


def alike(one: str, other: str) -> bool:
    """Whether two units measure the same thing."""
    return TABLE[one][0] == TABLE[other][0]


def converted(value: float, unit: str, into: str) -> int | float:
    """``value`` of ``unit`` as a figure of ``into``; both are in :data:`TABLE`, and alike.

    A decimal figure is taken as it is written, not as the nearest binary one.
    """
    exact = Fraction(str(value)) * TABLE[unit][1] / TABLE[into][1]
    return exact.numerator if exact.denominator == 1 else float(exact)
