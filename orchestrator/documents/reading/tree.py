"""One document as a tree whose every value knows its line and column."""

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from typing import Any, NamedTuple

from orchestrator.documents.reading.core_schema import Scalar
from orchestrator.documents.reading.spread import SpreadError, expand, holds_range
from orchestrator.errors import Problem

Path = tuple[str | int, ...]

# YAML's own line breaks plus those that its parser counts as such (YAML 1.1, section 4.1.4).
_LINE_BREAK = re.compile("\r\n|[\n\r\x85\u2028\u2029]")
# A secret that someone wrote into a document by mistake is not printed again in an error.
_SECRET = re.compile(r"(?i)\b(pass\w*|secret\w*|token|api[_-]?key|pin)[\"']?\s*:")
_LONGEST_EXCERPT = 1000


@dataclass(slots=True)
class Node:
    """A value and where it begins; ``text`` is a scalar as it is written in the file."""

    value: "Scalar | dict[str, Entry] | list[Node]"
    line: int
    column: int
    text: str = ""


class Entry(NamedTuple):
    """A key's place, and its value."""

    line: int
    column: int
    node: Node


@dataclass(frozen=True, slots=True)
class Fault:
    """Something wrong at ``path``; ``at_key``: point at the key, not at its value."""

    path: Path
    what: str
    fix: str
    at_key: bool = False


class Place(NamedTuple):
    """A line and column, both from 1."""

    line: int
    column: int


@dataclass
class Tree:
    """A document: ``file`` as people are told of it, its text, and its root (a mapping)."""

    file: str
    text: str
    root: Node
    _lines: list[str] | None = field(default=None, repr=False)
    _members: dict[int, dict[str, Entry]] = field(default_factory=dict, repr=False)

    def plain(self) -> dict[str, Any]:
        """The values alone."""
        plain: dict[str, Any] = _plain(self.root)
        return plain

    def node(self, path: Path) -> Node | None:
        """The value at ``path``, a member of a key range included; None if there is none."""
        entries = self._walk(path)
        return entries[-1].node if len(entries) == len(path) + 1 else None

    def place(self, path: Path, *, at_key: bool = False) -> Place:
        """Where ``path`` stands, or the nearest thing around it that does stand somewhere.

        A scalar or list is pointed at itself, a mapping (or, with ``at_key``, anything) by its key.
        """
        entries = self._walk(path)
        entry = entries[-1]
        whole = len(entries) == len(path) + 1
        if (at_key and whole) or isinstance(entry.node.value, dict):
            return Place(entry.line, entry.column)
        return Place(entry.node.line, entry.node.column)

    def problem(self, fault: Fault) -> Problem:
        """``fault`` with its place and the line that it stands in."""
        place = self.place(fault.path, at_key=fault.at_key)
        return self.problem_at(place, fault.what, fault.fix)

    def problem_at(self, place: Place, what: str, fix: str) -> Problem:
        """A problem at a place that is known already."""
        return Problem(self.file, place.line, place.column, what, fix, self.excerpt(place.line))

    def excerpt(self, line: int) -> str:
        """Line ``line`` (from 1) as it stands in the file; empty if it could show a secret."""
        if self._lines is None:
            self._lines = _LINE_BREAK.split(self.text)
        if not 1 <= line <= len(self._lines):
            return ""
        found = self._lines[line - 1]
        return "" if len(found) > _LONGEST_EXCERPT or _SECRET.search(found) else found

    def _walk(self, path: Path) -> list[Entry]:
        """The entries met on the way along ``path``, the root first, as far as it goes."""
        entry = Entry(self.root.line, self.root.column, self.root)
        entries = [entry]
        for part in path:
            found = self._step(entry.node, part)
            if found is None:
                break
            entry = found
            entries.append(entry)
        return entries

    def _step(self, node: Node, part: str | int) -> Entry | None:
        if isinstance(node.value, dict):
            return node.value.get(str(part)) or self._spread_members(node).get(str(part))
        if isinstance(node.value, list) and isinstance(part, int) and part < len(node.value):
            inner = node.value[part]
            return Entry(inner.line, inner.column, inner)
        return None

    def _spread_members(self, node: Node) -> dict[str, Entry]:
        """The names that the key ranges of a mapping stand for, each with the range's entry."""
        if id(node) not in self._members and isinstance(node.value, dict):
            self._members[id(node)] = {
                name: entry
                for key, entry in node.value.items()
                if holds_range(key)
                for name in _names(key)
            }
        return self._members[id(node)]


def _names(key: str) -> Iterable[str]:
    try:
        return expand(key)
    except SpreadError:
        return ()


def _plain(node: Node) -> Any:
    if isinstance(node.value, dict):
        return {key: _plain(entry.node) for key, entry in node.value.items()}
    if isinstance(node.value, list):
        return [_plain(item) for item in node.value]
    return node.value
