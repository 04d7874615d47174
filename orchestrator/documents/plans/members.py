"""Entries whose keys hold a range, made into one value for each member."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Generic, TypeVar

from orchestrator.documents.reading import fields
from orchestrator.documents.reading.spread import expand, holds_range, number_range
from orchestrator.documents.reading.tree import Fault, Path
from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import ListensTo

T = TypeVar("T")
Ports = tuple[int, ...]


@dataclass(frozen=True, slots=True)
class Member(Generic[T]):
    """One member of an entry: the ``index``-th of the ``count`` that its key names."""

    name: str
    entry: T
    index: int
    count: int
    path: Path


class Members:
    """Expands key ranges, gathering what does not fit as faults."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def each(self, entries: Mapping[str, T], path: Path) -> Iterator[Member[T]]:
        """Every member of every entry, in order."""
        seen: dict[str, str] = {}
        for key, entry in entries.items():
            names = expand(key)
            for index, name in enumerate(names):
                if name in seen:
                    what = f"'{name}' is named twice: by '{seen[name]}' and by '{key}'"
                    self._fault((*path, key), what, "let one of them leave it out", at_key=True)
                    break
                seen[name] = key
                yield Member(name, entry, index, len(names), (*path, key))

    def number(self, value: object, member: Member[T]) -> int | None:
        """The number of ``member``."""
        path = (*member.path, "number")
        if isinstance(value, NumberRange):
            return self._nth(value.first, value.last, member, path)
        if not isinstance(value, int):
            return None
        if member.count == 1:
            return value
        if member.index == 0:
            what = f"one number for {member.count} sources"
            fix = f"write {value}-{value + member.count - 1}, or auto in a playbook"
            self._fault(path, what, fix)
        return None

    def text(self, value: str | None, member: Member[T], *key: str | int) -> str | None:
        """The text of ``member`` under ``key``: what it is spread into, or the same for all."""
        if value is None or not holds_range(value):
            return value
        spread = expand(value)
        if len(spread) == member.count:
            return spread[member.index]
        if member.index == 0:
            what = f"'{value}' is spread over {len(spread)}, but the key names {member.count}"
            self._fault((*member.path, *key), what, "give both the same length")
        return None

    def hearing(self, value: str | int | None, port: int, member: Member[T]) -> ListensTo | None:
        """What ``member`` listens to; ``port`` completes a group that names none."""
        path = (*member.path, "listens_to")
        if isinstance(value, str) and (ends := number_range(value)) is not None:
            number = self._nth(*ends, member, path)
            return None if number is None else ListensTo(number=number)
        text = self.text(value, member, "listens_to") if isinstance(value, str) else value
        # The model has checked every member of the text already.
        return None if text is None else fields.hearing(text, port)

    def groups(
        self, value: list[str] | None, ports: Ports, member: Member[T]
    ) -> tuple[str, ...] | None:
        """The groups of ``member``; leg n takes the n-th port where it names none."""
        if value is None:
            return None
        if member.count > 1 and member.index == 0 and not all(map(holds_range, value)):
            what = f"one group for {member.count} sources"
            fix = "spread it, as in 239.194.1.{11..14}:5004"
            self._fault((*member.path, "groups"), what, fix)
        texts = (self.text(text, member, "groups", leg) for leg, text in enumerate(value))
        return tuple(
            fields.group_of(text, ports[min(leg, len(ports) - 1)])
            for leg, text in enumerate(texts)
            if text is not None
        )

    def _nth(self, first: int, last: int, member: Member[T], path: Path) -> int | None:
        if last - first + 1 == member.count:
            return first + member.index
        if member.index == 0:
            what = f"{first}-{last} holds {last - first + 1}, but the key names {member.count}"
            self._fault(path, what, f"write {first}-{first + member.count - 1}")
        return None

    def _fault(self, path: Path, what: str, fix: str, *, at_key: bool = False) -> None:
        self.faults.append(Fault(path, what, fix, at_key))
