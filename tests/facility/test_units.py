import pytest

from orchestrator.facility.units import TABLE, alike, converted

# What each comes to stands in the SI brochure, 9th edition, tables 7 and 8 (prefixes; minute).
KNOWN = [
    (48, "kHz", "Hz", 48_000),
    (44.1, "kHz", "Hz", 44_100),
    (1, "ms", "us", 1_000),
    (0.125, "ms", "us", 125),
    (250, "us", "ms", 0.25),
    (1.5, "min", "s", 90),
    (-35, "dB/10", "dB", -3.5),
    (0.1, "dB", "dB/100", 10),
    (12.5, "%", "1", 0.125),
    (100, "Mbit/s", "kbit/s", 100_000),
]


@pytest.mark.parametrize(("value", "unit", "into", "expected"), KNOWN)
def test_known_conversions(value: float, unit: str, into: str, expected: float) -> None:
    """Exact, and a whole number where it is one; and back again."""
    found = converted(value, unit, into)
    assert found == expected
    assert type(found) is type(expected)
    assert converted(found, into, unit) == value


def test_every_unit_has_company_of_its_kind() -> None:
    """And measures nothing else."""
    for unit in TABLE:
        friends = [other for other in TABLE if other != unit and alike(unit, other)]
        assert friends, unit
    assert not alike("ms", "kHz")
