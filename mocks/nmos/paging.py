"""How a simulated registry gives its lists in pages (AMWA IS-04 v1.3, "APIs: Query Parameters").

Each resource has an instant (seconds and nanoseconds), no two of a kind the same. A page is bounded
by two instants, ``since`` not included and ``until`` included, and comes newest first.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any
from urllib.parse import urlencode

Instant = tuple[int, int]
START: Instant = (0, 0)


@dataclass(frozen=True, slots=True)
class Entry:
    """A resource and its instant."""

    instant: Instant
    resource: dict[str, Any]


@dataclass(frozen=True, slots=True)
class Page:
    """One page: its resources, newest first, and the instants that bound it."""

    resources: list[dict[str, Any]]
    since: Instant
    until: Instant
    limit: int

    def headers(self, url: str, others: Mapping[str, str]) -> tuple[tuple[str, str], ...]:
        """``Link`` (RFC 8288) and the ``X-Paging-`` ones; ``others`` are the other parameters."""

        def link(name: str, instant: Instant, rel: str) -> str:
            query = {**others, f"paging.{name}": written(instant), "paging.limit": self.limit}
            return f'<{url}?{urlencode(query, safe=":")}>; rel="{rel}"'

        return (
            ("link", f"{link('since', self.until, 'next')}, {link('until', self.since, 'prev')}"),
            ("x-paging-limit", str(self.limit)),
            ("x-paging-since", written(self.since)),
            ("x-paging-until", written(self.until)),
        )


def page(
    fitting: Sequence[Entry],
    newest: Instant,
    limit: int,
    since: Instant | None = None,
    until: Instant | None = None,
) -> Page:
    """The page that was asked for.

    ``fitting`` are those that a filter lets through, ``newest`` the newest instant of all. Where
    both bounds are given and the limit cuts, the page begins at ``since``.
    """
    end = until if until is not None else max(newest, since or START)
    between = sorted(
        (one for one in fitting if (since or START) < one.instant <= end),
        key=lambda one: one.instant,
    )
    cut = len(between) > limit
    if since is not None:
        taken, start = between[:limit], since
        end = taken[-1].instant if cut and taken else end
    else:
        taken = between[-limit:] if limit else []
        start = between[-limit - 1].instant if cut else START
    return Page([one.resource for one in reversed(taken)], start, end, limit)


def written(instant: Instant) -> str:
    """An instant as ``seconds:nanoseconds``."""
    return f"{instant[0]}:{instant[1]}"


def instant_of(text: str) -> Instant:
    """An instant out of ``seconds:nanoseconds``.

    Raises:
        ValueError: it is none.
    """
    seconds, colon, rest = text.partition(":")
    if not colon or not all(part.isascii() and part.isdecimal() for part in (seconds, rest)):
        raise ValueError(f"{text!r} is no seconds:nanoseconds")
    return int(seconds), int(rest)
