"""What the YAML parser stumbled over, in words that say what to do."""

import re

import yaml

_BARE_RANGE = re.compile(r"""[{,][^'"]*[\w-]\{[0-9]+\.\.[0-9]+\}""")
_BRACKETS = (
    "a bracket or brace is not closed, or a comma is missing",
    "close it, or add the comma",
)
_INDENT = (
    "this line does not line up with those above it",
    "give it the same indentation as its neighbours",
)
# A part of the parser's own words -> what, fix. The first that fits is taken.
_WORDS: tuple[tuple[str, tuple[str, str]], ...] = (
    (
        "mapping values are not allowed",
        (
            "a ':' stands where no value can begin",
            "check the indentation and the line above, or put quotes round a text that holds ': '",
        ),
    ),
    (
        "could not find expected ':'",
        ("this line has no ':' after its key", "write 'key: value', or mend the line above it"),
    ),
    ("expected ',' or '}'", _BRACKETS),
    ("expected ',' or ']'", _BRACKETS),
    ("did not find expected key", _INDENT),
    ("did not find expected '-' indicator", _INDENT),
    ("expected <block end>", _INDENT),
    (
        "sequence entries are not allowed",
        ("a '- ' can't stand here", "put it on its own line"),
    ),
    (
        "unexpected end of stream",
        ("a quote that opens here is not closed", "close it with the same quote"),
    ),
    (
        "maximum nesting depth",
        ("more than 32 levels inside one another", "nest less deeply"),
    ),
    ("unknown escape", ("this backslash means nothing here", "double it, or use single quotes")),
    (
        "document start",
        ("something stands after the end of the document", "keep one document in a file"),
    ),
    ("directive", ("this line begins with '%', as directives do", "remove the line, or quote it")),
)


def in_words(error: yaml.YAMLError, text: str) -> tuple[int, int, str, str]:
    """Line, column (from 1; 0 if unknown), what is wrong, and the fix."""
    said = str(getattr(error, "problem", None) or "it makes no sense here")
    mark = getattr(error, "problem_mark", None)
    opened = getattr(error, "context_mark", None)
    if opened is not None and (mark is None or _opened_before(said, mark, opened, text)):
        mark = opened
    if mark is None:
        return 0, 0, f"this can't be read as YAML: {said}", "check quotes, brackets, indentation"
    what, fix = _said(said, _character(mark, text))
    if "expected ','" in said and _BARE_RANGE.search(_line(mark, text)):
        fix = "put quotes round a range inside braces, as in {'in-{1..4}': {label: x}}"
    return mark.line + 1, mark.column + 1, what, fix


def _opened_before(said: str, mark: yaml.Mark, opened: yaml.Mark, text: str) -> bool:
    """Whether the fault is where something was opened, not where the parser noticed."""
    if "end of stream" in said or not text[mark.index :].strip():
        return True
    return "expected ','" in said and opened.line < mark.line


def _said(said: str, character: str) -> tuple[str, str]:
    if "cannot start any token" in said or character == "\t":
        if character == "\t":
            return "a tab stands where only spaces may", "indent with spaces"
        return f"a text can't begin with {character!r}", "put quotes round it"
    for part, words in _WORDS:
        if part in said:
            return words
    return f"this can't be read as YAML: {said}", "check quotes, brackets and indentation near here"


def _line(mark: yaml.Mark, text: str) -> str:
    return text[text.rfind("\n", 0, mark.index) + 1 :].partition("\n")[0]


def _character(mark: yaml.Mark, text: str) -> str:
    return text[mark.index] if 0 <= mark.index < len(text) else ""
