"""What a plain scalar means: the core schema of YAML 1.2.2, section 10.3.2.

So ``yes``, ``no``, ``on``, ``off``, ``12:30:45`` and ``2026-03-01`` are text, and ``010`` is ten.
"""

import re

Scalar = str | int | float | bool | None

_WORDS: dict[str, Scalar] = {
    "": None,
    "~": None,
    **dict.fromkeys(("null", "Null", "NULL")),
    **dict.fromkeys(("true", "True", "TRUE"), True),
    **dict.fromkeys(("false", "False", "FALSE"), False),
    **dict.fromkeys((".inf", ".Inf", ".INF", "+.inf", "+.Inf", "+.INF"), float("inf")),
    **dict.fromkeys(("-.inf", "-.Inf", "-.INF"), float("-inf")),
    **dict.fromkeys((".nan", ".NaN", ".NAN"), float("nan")),
}
_INTEGER = re.compile(r"[-+]?[0-9]+")
_OCTAL = re.compile(r"0o[0-7]+")
_HEXADECIMAL = re.compile(r"0x[0-9a-fA-F]+")
_FLOAT = re.compile(r"[-+]?(\.[0-9]+|[0-9]+(\.[0-9]*)?)([eE][-+]?[0-9]+)?")
_FIRST = frozenset("0123456789+-.~ntfNTF")
LONGEST_NUMBER = 40


def plain(text: str) -> Scalar:
    """The value of a scalar written without quotes.

    Raises:
        ValueError: a number of more than ``LONGEST_NUMBER`` characters, which nothing here needs.
    """
    if text and text[0] not in _FIRST:
        return text
    if text in _WORDS:
        return _WORDS[text]
    for pattern, base in ((_INTEGER, 10), (_OCTAL, 8), (_HEXADECIMAL, 16)):
        if pattern.fullmatch(text):
            return int(_short(text).removeprefix("0o").removeprefix("0x"), base)
    if _FLOAT.fullmatch(text):
        return float(_short(text))
    return text


def _short(text: str) -> str:
    if len(text) > LONGEST_NUMBER:
        raise ValueError(f"a number of {len(text)} characters")
    return text
