"""The dialect of a device description: a REST device spoken to without code."""

from collections.abc import Iterator, Mapping
from contextlib import contextmanager

from orchestrator.adapters import states, values
from orchestrator.adapters.entries import Entry, entries
from orchestrator.adapters.json_pointer import Unusable, document
from orchestrator.adapters.messages import Exchange, Party, Request
from orchestrator.adapters.template import fill_body, fill_path
from orchestrator.adapters.values import Unwritable
from orchestrator.adapters.wishes import Wish, doing, wish
from orchestrator.errors import Broken, Rejected
from orchestrator.facility.description import Description, Json, Read
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Step
from orchestrator.facility.traits import Traits
from orchestrator.facility.wanted import SettingValue
from orchestrator.running.protocols import EVERYTHING, Part

IDENTITY = "identity"
_Documents = dict[str, Json]


class Declared:
    """Talks with one device as its description says.

    ``sources`` and ``destinations`` map the plan's names to the device's own; what they don't
    name keeps the device's own name. The keys that a write needs are remembered from the last
    read of that part.
    """

    def __init__(
        self,
        description: Description,
        party: Party,
        *,
        sources: Mapping[str, str] | None = None,
        destinations: Mapping[str, str] | None = None,
    ) -> None:
        self._description = description
        self._party = party
        self._names = {Part.SOURCES: _turned(sources), Part.DESTINATIONS: _turned(destinations)}
        self._keys: dict[Part, dict[str, Json]] = {}

    @property
    def traits(self) -> Traits:
        """The traits that the description gives."""
        return self._description.traits

    def identify(self) -> Exchange[Identity]:
        """Ask who it is."""
        return self._identity({})

    def read(self, parts: frozenset[Part] = EVERYTHING) -> Exchange[DeviceState]:
        """Read identity, then ``parts``; each path is asked for at most once."""
        seen: _Documents = {}
        identity = yield from self._identity(seen)
        found: dict[Part, dict[str, Entry]] = {}
        for part in (Part.INTERFACES, Part.SOURCES, Part.DESTINATIONS):
            found[part] = (yield from self._entries(part, seen)) if part in parts else {}
        settings = (yield from self._settings(seen)) if Part.SETTINGS in parts else {}
        unsaved = (yield from self._unsaved(seen)) if Part.UNSAVED in parts else None
        return self._state(identity, found, settings, unsaved)

    def write(self, step: Step) -> Exchange[None]:
        """Write ``step``: read what only the device knows, then send one request.

        Raises:
            Rejected: the description has no rule for it; nothing was sent.
            Broken: the device's own entry could not be read; nothing was written.
        """
        with self._writing(doing(step)):
            asked = wish(self._description, step)
        given = {**asked.given, **(yield from self._filled(asked, doing(step)))}
        with self._writing(doing(step)):
            request = Request(
                method=asked.rule.method,
                path=fill_path(asked.rule.path, given),
                doing=doing(step),
                body=fill_body(asked.rule.body, given),
                content_type=asked.rule.content_type,
            )
        yield request

    def _identity(self, seen: _Documents) -> Exchange[Identity]:
        read = self._description.reads[IDENTITY]
        held = yield from self._fetch(read, "asking who it is", seen)
        with self._reading("asking who it is", read):
            entry = Entry(name=IDENTITY, key=IDENTITY, value=held, pointer="")
            return states.identity(entry, read.fields)

    def _entries(self, part: Part, seen: _Documents) -> Exchange[dict[str, Entry]]:
        """The entries of a part; none where the description does not read it."""
        read = self._description.reads.get(part)
        if read is None:
            return {}
        what = f"reading its {part}"
        held = yield from self._fetch(read, what, seen)
        with self._reading(what, read):
            found = entries(read, held, self._names.get(part, {}))
        self._keys[part] = {name: entry.key for name, entry in found.items()}
        return found

    def _settings(self, seen: _Documents) -> Exchange[dict[str, SettingValue]]:
        found: dict[str, SettingValue] = {}
        for name, read in self._description.settings.items():
            entry = yield from self._setting(name, seen)
            with self._reading(f"reading its setting {name}", read):
                found[name] = entry.field(read.fields["value"], values.scalar)
        return found

    def _setting(self, name: str, seen: _Documents) -> Exchange[Entry]:
        read = self._description.settings[name]
        held = yield from self._fetch(read, f"reading its setting {name}", seen)
        return Entry(name=name, key=name, value=held, pointer="")

    def _unsaved(self, seen: _Documents) -> Exchange[bool | None]:
        read = self._description.reads.get(Part.UNSAVED)
        if read is None:
            return None
        what = "asking whether it has unsaved changes"
        held = yield from self._fetch(read, what, seen)
        with self._reading(what, read):
            entry = Entry(name=Part.UNSAVED, key="", value=held, pointer="")
            return entry.field(read.fields[Part.UNSAVED], values.switch)

    def _state(
        self,
        identity: Identity,
        found: Mapping[Part, Mapping[str, Entry]],
        settings: Mapping[str, SettingValue],
        unsaved: bool | None,  # noqa: FBT001 - a value as found, no flag
    ) -> DeviceState:
        reads, traits = self._description.reads, self._description.traits
        interfaces, sources, destinations = {}, {}, {}
        for name, entry in found[Part.INTERFACES].items():
            with self._reading("reading its interfaces", reads[Part.INTERFACES]):
                interfaces[name] = states.interface(entry, reads[Part.INTERFACES].fields)
        for name, entry in found[Part.SOURCES].items():
            with self._reading("reading its sources", reads[Part.SOURCES]):
                sources[name] = states.source(entry, reads[Part.SOURCES].fields, traits.legs)
        for name, entry in found[Part.DESTINATIONS].items():
            with self._reading("reading its destinations", reads[Part.DESTINATIONS]):
                fields = reads[Part.DESTINATIONS].fields
                destinations[name] = states.destination(entry, fields, traits)
        return DeviceState(
            identity=identity,
            interfaces=interfaces,
            sources=sources,
            destinations=destinations,
            settings=settings,
            unsaved=unsaved,
        )

    def _filled(self, asked: Wish, what: str) -> Exchange[dict[str, Json]]:
        """What the rule asks for beyond the step: the key, or values as they stand now."""
        missing = asked.missing
        if not missing:
            return {}
        if asked.part is Part.SETTINGS:
            return (yield from self._other_settings(missing, what))
        keys = self._keys.get(asked.part, {})
        if missing == {"key"} and asked.name in keys:
            return {"key": keys[asked.name]}
        found = yield from self._entries(asked.part, {})
        if asked.name is None or asked.name not in found:
            raise self._rejected(what, f"the device has no '{asked.name}' among its {asked.part}")
        entry, read = found[asked.name], self._description.reads[asked.part]
        with self._reading(what, read):
            rest = sorted(missing - {"key"})
            return {"key": entry.key} | {
                name: states.written(entry, read.fields, name) for name in rest
            }

    def _other_settings(self, names: frozenset[str], what: str) -> Exchange[dict[str, Json]]:
        """Other settings that are written in one request with the one that changes."""
        seen: _Documents = {}
        found: dict[str, Json] = {}
        for name in sorted(names):
            if name not in self._description.settings:
                raise self._rejected(what, f"the device description has no setting '{name}'")
            entry = yield from self._setting(name, seen)
            read = self._description.settings[name]
            with self._reading(what, read):
                found[name] = states.written(entry, read.fields, "value")
        return found

    def _fetch(self, read: Read, what: str, seen: _Documents) -> Exchange[Json]:
        if read.get not in seen:
            response = yield Request(method="GET", path=read.get, doing=what)
            with self._reading(what, read):
                seen[read.get] = document(response.body)
        return seen[read.get]

    def _rejected(self, what: str, why: str) -> Rejected:
        return Rejected(self._party.device, self._party.address, what, why)

    @contextmanager
    def _reading(self, what: str, read: Read) -> Iterator[None]:
        try:
            yield
        except Unusable as why:
            said = f"GET {read.get}: {why}"
            raise Broken(self._party.device, self._party.address, what, said) from None

    @contextmanager
    def _writing(self, what: str) -> Iterator[None]:
        try:
            yield
        except (Unwritable, Unusable) as why:
            raise self._rejected(what, str(why)) from None


def _turned(names: Mapping[str, str] | None) -> dict[str, str]:
    return {own: planned for planned, own in (names or {}).items()}
