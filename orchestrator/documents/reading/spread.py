"""Ranges in keys and what is spread over them: ``mix-minus-{1..4}``, ``number: 411-414``."""

import re

LONGEST = 4096
_RANGE = re.compile(r"\{([0-9]{1,9})\.\.([0-9]{1,9})\}")
_NUMBERS = re.compile(r"([0-9]{1,9})-([0-9]{1,9})")


class SpreadError(ValueError):
    """A range that can't be spread: ``what`` and ``fix`` say so."""

    def __init__(self, what: str, fix: str) -> None:
        super().__init__(what)
        self.what = what
        self.fix = fix


def holds_range(text: str) -> bool:
    """Whether ``text`` holds a range such as ``{1..4}``."""
    return _RANGE.search(text) is not None


def expand(text: str) -> tuple[str, ...]:
    """The texts that ``text`` stands for, in order; just itself if it holds no range.

    ``{01..12}`` keeps its leading zeros: ``01`` to ``12``.

    Raises:
        SpreadError: two ranges in one text, a range that runs backwards, or one of more than
            ``LONGEST`` members.
    """
    found = _RANGE.findall(text)
    if not found:
        return (text,)
    if len(found) > 1:
        raise SpreadError(f"'{text}' holds {len(found)} ranges", "keep one range in a text")
    low, high = found[0]
    first, last = int(low), int(high)
    if first > last:
        raise SpreadError(f"the range {{{low}..{high}}} runs backwards", f"write {{{high}..{low}}}")
    if last - first >= LONGEST:
        raise SpreadError(
            f"the range {{{low}..{high}}} has more than {LONGEST} members", "write a shorter range"
        )
    before, after = _RANGE.split(text)[0], _RANGE.split(text)[-1]
    width = len(low) if low.startswith("0") else 0
    return tuple(f"{before}{number:0{width}d}{after}" for number in range(first, last + 1))


def number_range(text: str) -> tuple[int, int] | None:
    """The first and last number of ``411-414``; None if ``text`` is no range of numbers."""
    found = _NUMBERS.fullmatch(text)
    return (int(found[1]), int(found[2])) if found else None
