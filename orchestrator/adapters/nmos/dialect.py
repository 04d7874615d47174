"""The dialect of NMOS nodes: AMWA IS-04 v1.3 (Node API) and IS-05 v1.1 (Connection API).

Senders are sources, receivers are destinations. A node keeps groups and no channel numbers: see
:mod:`orchestrator.adapters.nmos.chart` for where the numbers come from.

A receiver is pointed with what the sender's own node says of the stream, where that can be had
(see :mod:`orchestrator.adapters.nmos.device`), else by group and port alone; a group of RFC 4607
can't be joined without it. Connection APIs on another host, or by another scheme than the node's
own (http, or https as BCP-003-01 has it), are not spoken to. IPv6 groups are not seen.
"""

from collections.abc import Mapping, Sequence
from contextlib import suppress

from orchestrator.adapters.declared.wishes import doing
from orchestrator.adapters.http.messages import Exchange, Party, Request
from orchestrator.adapters.http.parts import doing_all, tell
from orchestrator.adapters.nmos import active as active_of
from orchestrator.adapters.nmos import bulk as bulk_of
from orchestrator.adapters.nmos import node as node_of
from orchestrator.adapters.nmos import sdp
from orchestrator.adapters.nmos.asking import MOVED, Asking
from orchestrator.adapters.nmos.chart import Chart
from orchestrator.adapters.nmos.config import CONFIGURATION_CONTROL, ConfigurationApi
from orchestrator.adapters.nmos.constraints import breach
from orchestrator.adapters.nmos.home import rehomed
from orchestrator.adapters.nmos.legs import Legs
from orchestrator.adapters.nmos.node import CONNECTION_CONTROL, HTTP, NODE_API, Place, Stream
from orchestrator.adapters.nmos.stage import Body, Standing, Told, body_for
from orchestrator.errors import DeviceError, Rejected
from orchestrator.facility.configuration import PutBack
from orchestrator.facility.description import Json
from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import Assigned, Step, StepKind
from orchestrator.facility.traits import Batch, Hears, Saves, Traits
from orchestrator.running.protocols import EVERYTHING, Part

TRAITS = Traits(
    can=frozenset(
        {StepKind.DISABLE, StepKind.ENABLE, StepKind.RENUMBER, StepKind.REPOINT}
        | {StepKind.CONFIRM, StepKind.BY_HAND}
    ),
    saves=Saves.AT_ONCE,
    hears=Hears.GROUP,
    holds_sender_address=True,
    asks_source=True,
    gives_configuration=True,
    numbers_by_rule=True,
    cannot={
        StepKind.READDRESS: "the standards offer no way to change a node's own address",
        StepKind.SET: "the standards offer no way to write a label or a setting of a node",
        StepKind.SAVE: "the standards offer no way to ask a node to save",
    },
    instead={
        StepKind.READDRESS: "if it has a RESTCONF server too, write 'speaks: [nmos, restconf]' "
        "for it in plan.yaml",
    },
    sets_labels=False,
    batches=(
        Batch(frozenset({StepKind.DISABLE, StepKind.RENUMBER, StepKind.ENABLE}), bulk_of.MOST),
        Batch(frozenset({StepKind.REPOINT}), bulk_of.MOST),
    ),
)
"""What any node can do by the standards. What an activation does is taken to be kept."""

SENDERS, RECEIVERS = "senders", "receivers"
_PARTS = {Part.SOURCES: SENDERS, Part.DESTINATIONS: RECEIVERS}
_NO_SUCH = 404
_Actives = dict[str, dict[str, tuple[Stream, Json]]]


def _kind_of(step: Step) -> str:
    return RECEIVERS if step.destination is not None else SENDERS


class Nmos(Asking):
    """Talks with one node. ``chart`` is what the plan knows of it.

    ``scheme`` is http or https, ``name`` what its certificate names, if not its address.
    Where the streams are managed is remembered from the last read of that kind.
    """

    def __init__(
        self,
        party: Party,
        chart: Chart | None = None,
        *,
        scheme: str = HTTP,
        name: str | None = None,
    ) -> None:
        super().__init__(party, scheme)
        self._name = name
        self._chart = chart or Chart()
        self._streams: dict[str, dict[str, Stream]] = {}
        self._bulk: dict[Place, bool] = {}

    @property
    def traits(self) -> Traits:
        """What any node can do."""
        return TRAITS

    def identify(self) -> Exchange[Identity]:
        """Ask who it is."""
        what = "asking who it is"
        node = yield from self._get(Place(f"{NODE_API}/self"), what)
        return self._made(what, lambda: node_of.identity(node))

    def read(self, parts: frozenset[Part] = EVERYTHING) -> Exchange[DeviceState]:
        """Read its identity and the given parts. It has no settings, and can't tell of unsaved."""
        what = "asking who it is"
        node = yield from self._get(Place(f"{NODE_API}/self"), what)
        identity = self._made(what, lambda: node_of.identity(node))
        kinds = [kind for part, kind in _PARTS.items() if {part, Part.INTERFACES} & parts]
        actives: _Actives = {SENDERS: {}, RECEIVERS: {}}
        if kinds:
            apis = yield from self._apis(node)
            for kind in kinds:
                actives[kind] = yield from self._actives(kind, apis)
        interfaces = self._interfaces(node, actives) if Part.INTERFACES in parts else {}
        return DeviceState(
            identity=identity,
            interfaces=interfaces,
            sources=self._sources(actives) if Part.SOURCES in parts else {},
            destinations=self._destinations(actives) if Part.DESTINATIONS in parts else {},
        )

    def told(self, source: str) -> Exchange[Told | None]:
        """What it says of a sender: its id, and its session description as it wrote it.

        None where it has none now, as a node may while the sender is off.
        """
        what = f"asking how {source} is described"
        stream = yield from self._stream_of(SENDERS, source, what)
        place = stream.place.at("transportfile")
        response = yield from self._fetch(place, what, frozenset({_NO_SUCH}), sdp.MEDIA_TYPE)
        if response.status >= MOVED:
            return None
        text = response.body.decode(errors="replace")
        return self._made(what, lambda: Told(stream.id, text, sdp.described(text)), place)

    def configuration(self) -> Exchange[dict[str, Json]]:
        """Its whole configuration, by the devices that give it (AMWA IS-14); empty: none does."""
        apis = yield from self._configuration_apis()
        found: dict[str, Json] = {}
        for device, place in apis.items():
            found[device] = yield from ConfigurationApi(self._party, place).backup()
        return found

    def put_back(
        self, device: str, data_set: Json, *, only_try: bool
    ) -> Exchange[tuple[PutBack, ...]]:
        """Put back what one of its devices gave, or ask what would become of it.

        Raises:
            Rejected: it takes no such configuration, or refuses it.
        """
        apis = yield from self._configuration_apis()
        if device not in apis:
            what = "putting its configuration back"
            raise self._rejected(what, f"its device {device} takes no configuration")
        api = ConfigurationApi(self._party, apis[device])
        found = yield from api.put_back(data_set, only_try=only_try)
        return found

    def _configuration_apis(self) -> Exchange[dict[str, Place]]:
        """The place of each Configuration API, by the first device that names it."""
        what = "asking who it is"
        node = yield from self._get(Place(f"{NODE_API}/self"), what)
        apis = yield from self._apis(node, CONFIGURATION_CONTROL)
        found: dict[Place, str] = {}
        for device, place in apis.items():
            if place is not None:
                found.setdefault(place, device)
        return {device: place for place, device in found.items()}

    def write(self, step: Step, told: Told | None = None) -> Exchange[None]:
        """Write ``step``: read how the stream stands, then send one PATCH, if any is needed.

        ``told`` is what the sender's own node says of the source that a repoint is for.

        Raises:
            Rejected: the standard has no way to say it, or the constraints forbid it; nothing was
                sent.
            Broken: what the node says of the stream makes no sense; nothing was sent.
        """
        what = doing(step)
        staged = yield from self._staged(step, told, what)
        if staged is not None:
            stream, body = staged
            place = stream.place.at("staged")
            yield Request(method="PATCH", path=place.path, port=place.port, doing=what, body=body)

    def bulk(self, steps: Sequence[Step]) -> Exchange[Place | None]:
        """Where several steps can go in one request; None: nowhere, by what the node offers."""
        kind, what = _kind_of(steps[0]), doing_all(steps)
        apis: set[Place] = set()
        for step in steps:
            with suppress(Rejected):  # what it has not is told when it is written
                apis.add((yield from self._stream(step, what)).api)
        if len(apis) != 1:
            return None
        place = apis.pop().at("bulk")
        if place not in self._bulk:
            held = yield from self._get(place, what, bulk_of.NOT_OFFERED)
            self._bulk[place] = bulk_of.offered(held, kind)
        return place.at(kind) if self._bulk[place] else None

    def forget_bulk(self) -> None:
        """Whatever it lists, it takes no bulk requests."""
        self._bulk = dict.fromkeys(self._bulk, False)

    def write_all(
        self, place: Place, steps: Sequence[Step], told: Sequence[Told | None]
    ) -> Exchange[None]:
        """Write ``steps`` in one bulk request at ``place``, as far as any is needed.

        Raises:
            PartlyRefused: some could not be said, or were refused; the others were taken.
            OutcomeUnknown: the answer says nothing of them.
        """
        parts: list[bulk_of.Part] = []
        refused: dict[str, DeviceError] = {}
        for step, one in zip(steps, told, strict=True):
            what = doing(step)
            try:
                staged = yield from self._staged(step, one, what)
            except DeviceError as error:
                refused[step.id] = error  # found here, so nothing was sent for it
                continue
            if staged is not None:
                stream, body = staged
                parts.append(bulk_of.Part(step.id, what, stream.id, body))
        if parts:
            response = yield bulk_of.request(place, parts, doing_all(steps))
            refused |= bulk_of.refused(response, parts, self._party)
        tell(self._party, doing_all(steps), refused)

    def _staged(
        self, step: Step, told: Told | None, what: str
    ) -> Exchange[tuple[Stream, Body] | None]:
        """The stream of ``step``, and what has to be staged for it; None: it is so already."""
        self._writable(step, what)
        stream = yield from self._stream(step, what)
        active = yield from self._get(stream.place.at("active"), what)
        staged = yield from self._get(stream.place.at("staged"), what)
        with self._reading(what, stream.place), self._writing(what):
            body = body_for(step, Standing(active, staged), told)
        if body is None:
            return None
        return stream, (yield from self._allowed(_kind_of(step), stream, body, what))

    # Reading.

    def _apis(
        self, node: Json, wanted: str = CONNECTION_CONTROL
    ) -> Exchange[dict[str, Place | None]]:
        what = "asking for its devices"
        place = Place(f"{NODE_API}/devices")
        devices = yield from self._get(place, what)
        hosts = self._hosts(node)
        return self._made(
            what, lambda: node_of.apis_of(devices, hosts, wanted, self._scheme), place
        )

    def _hosts(self, node: Json) -> frozenset[str]:
        own = self._made("asking who it is", lambda: node_of.own_hosts(node))
        named = frozenset({self._name.lower()} if self._name else ())
        return own | named | {self._party.address}

    def _actives(
        self, kind: str, apis: Mapping[str, Place | None]
    ) -> Exchange[dict[str, tuple[Stream, Json]]]:
        what = f"reading its {kind}"
        streams = yield from self._listed(kind, apis)
        found = {}
        for name, stream in streams.items():
            found[name] = stream, (yield from self._get(stream.place.at("active"), what))
        return found

    def _listed(self, kind: str, apis: Mapping[str, Place | None]) -> Exchange[dict[str, Stream]]:
        what, place = f"reading its {kind}", Place(f"{NODE_API}/{kind}")
        listed = yield from self._get(place, what)
        chart = self._chart
        names = chart.sources if kind == SENDERS else chart.destinations
        found = self._made(what, lambda: node_of.streams(listed, kind, apis, names), place)
        self._streams[kind] = found
        return found

    def _sources(self, actives: _Actives) -> dict[str, SourceState]:
        found = {}
        for name, (stream, active) in actives[SENDERS].items():
            with self._reading(f"reading its {SENDERS}", stream.place.at("active")):
                groups = active_of.sent_to(active)
                found[name] = SourceState(
                    number=self._chart.number_of(groups),
                    groups=groups,
                    label=stream.label,
                    enabled=active_of.enabled(active),
                )
        return found

    def _destinations(self, actives: _Actives) -> dict[str, DestinationState]:
        found = {}
        for name, (stream, active) in actives[RECEIVERS].items():
            with self._reading(f"reading its {RECEIVERS}", stream.place.at("active")):
                found[name] = DestinationState(hears=active_of.heard(active), label=stream.label)
        return found

    def _interfaces(self, node: Json, actives: _Actives) -> dict[str, InterfaceState]:
        what = "reading its interfaces"
        with self._reading(what, Place(f"{NODE_API}/self")):
            legs = Legs(self._party.address, self._chart.addresses, node_of.interface_names(node))
            for kind, member in ((SENDERS, "source_ip"), (RECEIVERS, "interface_ip")):
                for stream, active in actives[kind].values():
                    legs.note(stream, active, member)
            return {
                name: InterfaceState(address=address, prefix=self._chart.prefix_of(address))
                for name, address in legs.interfaces()
            }

    # Writing.

    def _writable(self, step: Step, what: str) -> None:
        """Refuse what could never be read back as it was asked for."""
        wanted = step.wanted
        if step.kind in TRAITS.cannot:
            raise self._rejected(what, TRAITS.cannot[step.kind])
        if not isinstance(wanted, Assigned) or wanted.number is None:
            return
        if self._chart.number_of(wanted.groups) != wanted.number:
            raise self._rejected(
                what,
                f"it keeps groups and no numbers, and {', '.join(map(str, wanted.groups))} is not "
                f"the group of number {wanted.number} by the plan's rule",
            )

    def _stream(self, step: Step, what: str) -> Exchange[Stream]:
        name = step.source or step.destination or ""
        return (yield from self._stream_of(_kind_of(step), name, what))

    def _stream_of(self, kind: str, name: str, what: str) -> Exchange[Stream]:
        if name not in self._streams.get(kind, {}):
            node = yield from self._get(Place(f"{NODE_API}/self"), what)
            apis = yield from self._apis(node)
            yield from self._listed(kind, apis)
        if name not in self._streams[kind]:
            raise self._rejected(what, f"the node has no '{name}' among its {kind}")
        return self._streams[kind][name]

    def _allowed(self, kind: str, stream: Stream, body: Body, what: str) -> Exchange[Body]:
        """Look at the constraints, which may change at any time; a node need not answer them.

        Gives the body as the node takes it, where its host was readdressed.
        """
        params = body.get("transport_params")
        if params is None:
            return body
        fine = frozenset({_NO_SUCH})
        held = yield from self._get(stream.place.at("constraints"), what, fine)
        params = rehomed(kind, held, params, self._party.address)
        words = breach(held, params)
        if words is not None:
            raise self._rejected(what, words)
        return {**body, "transport_params": params}
