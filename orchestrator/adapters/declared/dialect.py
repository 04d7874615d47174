"""The dialect of a device description: a REST device spoken to without code."""

from collections.abc import Callable, Iterator, Mapping, Sequence
from contextlib import contextmanager
from dataclasses import replace

from orchestrator.adapters.declared import as_found, batches, bodies, states, values, whole
from orchestrator.adapters.declared.entries import Entry, entries
from orchestrator.adapters.declared.template import fill_path, names_in
from orchestrator.adapters.declared.values import Unwritable
from orchestrator.adapters.declared.wishes import Wish, doing, wish
from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Exchange, Party, Request
from orchestrator.adapters.http.parts import doing_all, tell
from orchestrator.errors import Broken, DeviceError, OtherHand, Rejected
from orchestrator.facility.description import BatchRule, Description, Json, Read, WriteRule
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Step
from orchestrator.facility.traits import Traits
from orchestrator.facility.wanted import SettingValue
from orchestrator.running.protocols import EVERYTHING, Part

IDENTITY = "identity"
JSON = "application/json"
_Documents = dict[str, Json]


class Declared:
    """Talks with one device as its description says.

    ``sources`` and ``destinations`` map the plan's names to the device's own; what they don't
    name keeps the device's own name. The keys that a write needs are remembered from the last
    read of that part. ``number_of`` gives the number of a group, for a device that knows its
    sources by their groups alone.
    """

    def __init__(
        self,
        description: Description,
        party: Party,
        *,
        sources: Mapping[str, str] | None = None,
        destinations: Mapping[str, str] | None = None,
        number_of: Callable[[str], int | None] | None = None,
    ) -> None:
        self._description = description
        self._party = party
        self._number_of = number_of or (lambda _: None)
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
            OtherHand: it is no longer as the step found it; nothing was written.
        """
        what = doing(step)
        with self._writing(what):
            asked = wish(self._description, step)
        if asked.rule.whole:
            yield (yield from self._whole(asked, what))
            yield from self._follow(asked.rule, what)
            return
        given = {**asked.given, **(yield from self._filled(asked, asked.missing, what, {}))}
        with self._writing(what):
            request = self._request(asked, given, bodies.fill(asked.rule, given), what)
        yield request
        yield from self._follow(asked.rule, what)

    def _follow(self, rule: WriteRule, what: str) -> Exchange[None]:
        """What has to be asked for, too, before what was written takes effect."""
        for after in rule.then:
            with self._writing(what):
                body = bodies.fill(after, {})
            yield Request(
                method=after.method,
                path=after.path,
                doing=f"{what}, and having it take effect",
                body=body,
                content_type=after.content_type,
                follows=True,
            )

    def write_together(self, steps: Sequence[Step]) -> Exchange[None]:
        """Write several steps in the one request of a batch; what can't be said is left out of it.

        Raises:
            Rejected: the description has no batch for them; nothing was sent.
            PartlyRefused: some can't be said, or were refused; the others were done.
            OutcomeUnknown: the answer says nothing of them.
        """
        what, batch = doing_all(steps), batches.batch_for(self._description, steps)
        if batch is None:
            raise self._rejected(what, "the device description has no batch for these steps")
        alone = batches.one_by_one(self._description, batch)
        parts: list[batches.Part] = []
        refused: dict[str, DeviceError] = {}
        seen: _Documents = {}
        for step in steps:
            try:
                parts.append((yield from self._part(alone, batch, step, seen)))
            except DeviceError as error:
                refused[step.id] = error  # found here, so nothing was sent for it
        if parts:
            with self._writing(what):
                request = batches.request(batch, parts, what)
            response = yield request
            if batch.fates is not None:
                refused |= batches.refused(batch.fates, response, parts, self._party)
        tell(self._party, what, refused)

    def _part(
        self, alone: Description, batch: BatchRule, step: Step, seen: _Documents
    ) -> Exchange[batches.Part]:
        what = doing(step)
        with self._writing(what):
            asked = wish(alone, step)
        missing = asked.missing | {"key"}
        given = {**asked.given, **(yield from self._filled(asked, missing, what, seen))}
        with self._writing(what):
            return batches.Part(step.id, what, given["key"], batches.wants(batch, step, given))

    def _request(self, asked: Wish, given: Mapping[str, Json], body: Json, what: str) -> Request:
        rule = asked.rule
        return Request(
            method=rule.method,
            path=fill_path(rule.path, given),
            doing=what,
            body=body,
            content_type=rule.content_type,
            overtaken=frozenset({409}) if bodies.tests_first(rule) else frozenset(),
        )

    def _whole(self, asked: Wish, what: str) -> Exchange[Request]:
        """The write of a whole object: as it stands now, with the changed members put in."""
        rule = asked.rule
        inner = asked.missing & names_in(rule.path)
        given = {**asked.given, **(yield from self._filled(asked, inner, what, {}))}
        with self._writing(what):
            path = fill_path(rule.path, given)
        response = yield Request(method="GET", path=path, doing=what)
        read = self._read_of(asked)
        with self._reading(what, replace(read, get=path)):
            held = document(response.body)
            tag = (("If-Match", whole.entity_tag(response.headers)),) if rule.if_match else ()
            entry = self._entry_in(asked, read, held, path)
            now = as_found.now(entry, read.fields, frozenset(asked.found), self.traits.hears)
            rest = {n: states.written(entry, read.fields, n) for n in asked.missing - inner}
        if changed := whole.differing(now, asked.found, asked.wanted):
            said = f"its {changed[0]} is no longer as found"
            raise OtherHand(self._party.device, self._party.address, what, said)
        with self._writing(what):
            members = bodies.fill(replace(rule, content_type=JSON), {**given, **rest})
            body = bodies.shaped(whole.put_in(held, entry.pointer, members), rule.content_type)
            return replace(self._request(asked, given, body, what), headers=tag)

    def _read_of(self, asked: Wish) -> Read:
        if asked.part is Part.SETTINGS:
            return self._description.settings[asked.name or ""]
        return self._description.reads[asked.part]

    def _entry_in(self, asked: Wish, read: Read, held: Json, path: str) -> Entry:
        """The entry in what was read: one of all, where that is what is written back."""
        name = asked.name or ""
        if path != read.get or asked.part is Part.SETTINGS:
            return Entry(name=name, key=name, value=held, pointer="")
        found = entries(read, held, self._names.get(asked.part, {}))
        if name not in found:
            raise Unusable(f"there is no '{name}' among its {asked.part}")
        return found[name]

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
        for name, entry in found.items():
            found[name] = yield from self._with_elsewhere(entry, read, what, seen)
        self._keys[part] = {name: entry.key for name, entry in found.items()}
        return found

    def _with_elsewhere(
        self, entry: Entry, read: Read, what: str, seen: _Documents
    ) -> Exchange[Entry]:
        """``entry`` with the documents in which some of its values stand instead."""
        others: dict[str, Json] = {}
        for place in sorted({at.get for at in read.fields.values() if at.get is not None}):
            with self._reading(what, replace(read, get=place)):
                path = fill_path(place, {"key": entry.key})
            others[place] = yield from self._fetch(replace(read, get=path), what, seen)
        return replace(entry, elsewhere=others) if others else entry

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
                fields = reads[Part.SOURCES].fields
                source = states.source(entry, fields, traits.legs)
                if "number" not in fields and source.groups and source.groups[0] is not None:
                    source = replace(source, number=self._number_of(source.groups[0]))
                sources[name] = source
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

    def _filled(
        self, asked: Wish, missing: frozenset[str], what: str, seen: _Documents
    ) -> Exchange[dict[str, Json]]:
        """What the rule asks for beyond the step: the key, or values as they stand now."""
        if not missing:
            return {}
        if asked.part is Part.SETTINGS:
            return (yield from self._other_settings(missing, what))
        keys = self._keys.get(asked.part, {})
        if missing == {"key"} and asked.name in keys:
            return {"key": keys[asked.name]}
        found = yield from self._entries(asked.part, seen)
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
        except (Unusable, Unwritable) as why:
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
