"""Plain scalars by the core schema of YAML 1.2.2, section 10.3.2."""

import math
import re

import pytest
from hypothesis import given
from hypothesis import strategies as st
from ruamel.yaml import YAML

from orchestrator.documents.reading.core_schema import LONGEST_NUMBER, Scalar, plain


@pytest.mark.parametrize(
    ("text", "value"),
    [
        # Example 10.3 of the specification, and its table of tags.
        ("null", None),
        ("~", None),
        ("", None),
        ("true", True),
        ("True", True),
        ("FALSE", False),
        ("0", 0),
        ("0o7", 7),
        ("0x3A", 58),
        ("-19", -19),
        ("0.", 0.0),
        ("-0.0", -0.0),
        (".5", 0.5),
        ("+12e03", 12000.0),
        ("-2E+05", -200000.0),
        (".inf", math.inf),
        ("-.Inf", -math.inf),
        ("+.INF", math.inf),
        # What YAML 1.1 read otherwise is text, or decimal.
        ("yes", "yes"),
        ("no", "no"),
        ("on", "on"),
        ("Off", "Off"),
        ("y", "y"),
        ("12:30:45", "12:30:45"),
        ("190:20:30", "190:20:30"),
        ("2026-03-01", "2026-03-01"),
        ("010", 10),
        ("1_000", "1_000"),
        ("0b101", "0b101"),
        ("tRUE", "tRUE"),
        ("=", "="),
        ("127.44.3.31", "127.44.3.31"),
        ("311-314", "311-314"),
        ("+", "+"),
        (".", "."),
        ("1e", "1e"),
        ("٣", "٣"),
    ],
)
def test_values(text: str, value: Scalar) -> None:
    """Value and kind."""
    found = plain(text)
    assert (found, type(found)) == (value, type(value))


def test_not_a_number() -> None:
    """It equals nothing, not even itself."""
    found = plain(".nan")
    assert isinstance(found, float)
    assert math.isnan(found)


@given(text=st.from_regex(r"[-+]?[0-9.eE+-]{1,12}|true|null|~|0x[0-9a-f]{1,4}", fullmatch=True))
def test_as_another_reader_of_yaml_1_2_has_it(text: str) -> None:
    """Held against a library of its own, where that keeps to the core schema."""
    if text.startswith(("-", "+")) and text[1:2] in ("", "-", "+", "e", "E", "."):
        return  # a list's dash, or a spelling that the library reads by YAML 1.1
    if re.match(r"[.][0-9]+[eE][0-9]", text):
        return  # so is this: there an exponent has a sign
    if isinstance(plain(text), (int, float)):
        assert YAML(typ="safe", pure=True).load(text) == plain(text)


def test_a_number_too_long_to_mean_anything() -> None:
    """Refused before it costs time."""
    assert plain("9" * LONGEST_NUMBER) == int("9" * LONGEST_NUMBER)
    with pytest.raises(ValueError, match="41 characters"):
        plain("9" * (LONGEST_NUMBER + 1))
