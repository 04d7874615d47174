"""A simulated NMOS node: AMWA IS-04 v1.3 (Node API) and IS-05 v1.1 (Connection API), RTP only.

It keeps groups and no channel numbers, derives nothing, and keeps every activation at once. It does
not sign in, and registers nowhere: it waits to be asked. With ``second_leg`` in the world file each
stream has two legs, the second from that address; the group common to all makes is the first leg's.
With ``configuration: true`` it offers AMWA IS-14 v1.0 too.
"""

import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any, ClassVar

from mocks.device import Device, Unit
from mocks.messages import Act, Activate, Later, Request, Response, answer
from mocks.nmos import configured, params, sdp, shown
from mocks.nmos import model as model_of
from mocks.nmos import stream as stream_of
from mocks.nmos.habits import Habit
from mocks.nmos.params import Params, Wrong
from mocks.nmos.resources import Node
from mocks.nmos.shown import Refused
from mocks.nmos.stream import Stream
from mocks.state import Memory, State

SECOND_LEG = "second_leg"
CONFIGURATION = "configuration"
MODEL = "model"
HABITS = "habits"
SWITCH = "/2p1"
KINDS = ("senders", "receivers")
HTTP = 80
NANO = 1_000_000_000

_OPEN = (("access-control-allow-origin", "*"),)
_ASKED = (
    ("access-control-allow-methods", "GET, PUT, POST, PATCH, HEAD, OPTIONS, DELETE"),
    ("access-control-allow-headers", "Content-Type, Accept"),
    ("access-control-max-age", "3600"),
)


_CONFIGURED = {
    model_of.BASE[:1]: ["configuration/", "connection/", "node/"],
    model_of.BASE[:2]: ["v1.0/"],
}
"""The paths that lead to the Configuration API."""


class Nmos(Device):
    """A simulated node."""

    make = "nmos"
    keeps_at_once = True
    listens_by = "group"
    derives_group = False
    signs_in: ClassVar[bool] = False

    def __init__(self, unit: Unit, memory: Memory) -> None:
        super().__init__(unit, memory)
        for slot, source in memory.running.sources.items():
            if not source.group:  # a sender always holds one
                held = replace(source, group=self._fresh("senders", slot).group)
                self.keep(self.memory.running.with_source(slot, held))

    def handle(self, request: Request) -> Response:
        """Answer one request, perhaps changing the memory; nothing is raised."""
        try:
            response = self._answered(request)
        except Refused as refused:
            response = refused.response
        except Wrong as wrong:
            response = Refused(400, str(wrong)).response
        return opened(request, response)

    def perform(self, act: Act) -> None:
        """An address, or what was staged, takes effect."""
        if not isinstance(act, Activate):
            super().perform(act)
            return
        kind, _, slot = act.what.partition("/")
        stream = self._stream(kind, slot)
        waits = stream.staged["activation"]
        if stream.pending and waits["activation_time"] == act.due:
            self._put(slot, self._activated(stream, slot, waits))

    # Paths.

    def _answered(self, request: Request) -> Response:
        path = shown.bare(request.segments)
        node, addresses = self.shown(port_of(request)), self._addresses()
        if path[:4] == shown.BULK and Habit.NO_BULK in node.habits:
            raise Refused(404, "no such path")
        if path[:4] == shown.BULK and path[4:] in shown.KINDS_ALONE:
            return self._bulk(request, path[4])
        if request.method == "PATCH" and path[:4] == shown.SINGLE and path[6:] == ("staged",):
            slot = shown.slot_of(node, path[4], path[5])
            return self._patch(path[4], slot, _document(request), request)
        if path[:4] == (*shown.NODE, "receivers") and path[5:] == ("target",):
            return _target(request, shown.slot_of(node, "receivers", path[4]))
        if (path[:3] == model_of.BASE or path in _CONFIGURED) and self._configurable:
            return self._configured(request, path)
        if Habit.SLASHED in node.habits and request.method in shown.READING:
            bare, question, query = request.path.partition("?")
            if not bare.endswith("/"):
                there = f"{bare}/{question}{query}"
                return Response(301, (("location", there),))
        found = shown.at(path, node, addresses, request.headers.get("accept", ""))
        if request.method not in shown.READING:
            raise Refused(405, f"{request.method} is not done here")
        return found if isinstance(found, Response) else answer(200, found)

    # Its device model.

    @property
    def _configurable(self) -> bool:
        return bool(self.memory.running.kept.get(CONFIGURATION))

    def _configured(self, request: Request, path: tuple[str, ...]) -> Response:
        if path in _CONFIGURED:
            return answer(200, _CONFIGURED[path])
        running = self.memory.running
        unit = {"serial": self.shown_serial, "name": self.unit.name}
        workers: dict[str, bool | None] = {
            slot: one.enabled for slot, one in running.sources.items()
        }
        workers |= dict.fromkeys(running.destinations)
        kept = running.kept.get(MODEL, {})
        response, changes = configured.answered(request, path, model_of.model(unit, workers, kept))
        for name, value in changes.items():
            slot = name.removeprefix(f"{model_of.ROOT}.").removesuffix(SWITCH)
            if name.endswith(SWITCH):
                self._switch(slot, value, request)
            else:
                kept = {**kept, name: value}
        if changes:
            self.keep(self.memory.running.with_kept(MODEL, kept))
        return response

    def _switch(self, slot: str, runs: bool, request: Request) -> None:  # noqa: FBT001
        """A worker that is switched is its sender's master switch."""
        stream = stream_of.staged(self._stream("senders", slot), {"master_enable": runs}, [])
        now = _stamp(self._tai(request))
        done = {"mode": "activate_immediate", "requested_time": None, "activation_time": now}
        self._put(slot, self._activated(stream, slot, done))

    # Writing.

    def _patch(self, kind: str, slot: str, body: Any, request: Request) -> Response:
        stream, addresses = self._stream(kind, slot), self._addresses()
        body = params.checked_body(kind, body)
        legs = body.get("transport_params", [{} for _ in addresses])
        params.checked(kind, legs, addresses)
        mode = body.get("activation", {}).get("mode", "")
        if stream.pending and mode is not None:
            raise Refused(423, "an activation is scheduled")
        from_file = self._from_file(body, len(addresses))
        params.checked(kind, from_file, addresses)
        stream = stream_of.staged(stream, body, from_file)
        now = self._tai(request)
        if mode == "activate_immediate":
            done = {"mode": mode, "requested_time": None, "activation_time": _stamp(now)}
            stream = self._activated(stream, slot, done)
            self._put(slot, stream)
            return answer(200, {**stream.staged, "activation": done})
        if not mode:
            self._put(slot, stream)
            return answer(200, stream.staged)
        return self._schedule(stream, slot, body["activation"], now)

    def _from_file(self, body: Mapping[str, Any], legs: int) -> list[Params]:
        try:
            return _from_file(body, legs)
        except Wrong as wrong:
            if Habit.BAD_FILE_IS_500 in self._habits:
                raise Refused(500, str(wrong)) from wrong
            raise

    def _schedule(
        self, stream: Stream, slot: str, activation: Mapping[str, Any], now: int
    ) -> Response:
        asked = _nanoseconds(activation["requested_time"])
        due = now + asked if activation["mode"].endswith("relative") else asked
        stream = stream_of.scheduled(
            stream, activation["mode"], activation["requested_time"], _stamp(due)
        )
        self._put(slot, stream)
        act = Activate(f"{stream.kind}/{slot}", _stamp(due))
        later = Later(max(0, due - now) / NANO, act)
        return answer(202, stream.staged, later=(later,))

    def _activated(self, stream: Stream, slot: str, activation: Mapping[str, Any]) -> Stream:
        return stream_of.activated(stream, dict(activation), self._addresses(), self._vacant(slot))

    def _bulk(self, request: Request, kind: str) -> Response:
        if request.method == "OPTIONS":
            return answer(200, [])
        if request.method != "POST":
            raise Refused(405, f"{request.method} is not done here")
        asked = _document(request)
        if not isinstance(asked, list) or not all(isinstance(one, dict) for one in asked):
            raise Refused(400, "the body is no list of objects")
        ids = [one.get("id") for one in asked]
        if len(set(map(str, ids))) != len(ids):
            raise Refused(400, "an id stands twice")
        found = [self._one_of_bulk(request, kind, one) for one in asked]
        later = tuple(act for _, acts in found for act in acts)
        return answer(200, [entry for entry, _ in found], later=later)

    def _one_of_bulk(
        self, request: Request, kind: str, one: Mapping[str, Any]
    ) -> tuple[dict[str, Any], tuple[Later, ...]]:
        slot = self.shown(port_of(request)).slot_of(kind, str(one.get("id")))
        try:
            if slot is None:
                raise Refused(404, "no such id")  # noqa: TRY301  # answered like any other
            if slot in request.refused:
                raise Refused(request.refused[slot], "not now")  # noqa: TRY301  # likewise
            done = self._patch(kind, slot, one.get("params"), request)
        except Wrong as wrong:
            return {"id": one["id"], **Refused(400, str(wrong)).response.json}, ()
        except Refused as refused:
            return {"id": one.get("id"), **refused.response.json}, ()
        return {"id": one["id"], "code": done.status}, done.later

    # Memory.

    def _addresses(self) -> list[str]:
        """The node's own address on each leg."""
        running = self.memory.running
        second = running.kept.get(SECOND_LEG)
        return [running.lan.address, *([second] if second else [])]

    def _stream(self, kind: str, slot: str) -> Stream:
        """A stream as it was kept, or fresh; what a hand set in the world wins."""
        running, addresses = self.memory.running, self._addresses()
        held = running.kept.get(f"{kind}/{slot}")
        found = stream_of.kept(kind, held) if held else self._fresh(kind, slot)
        if kind == "senders":
            source = running.sources[slot]
            return stream_of.as_world_says(found, source.group, addresses, runs=source.enabled)
        group = running.destinations[slot].group
        return stream_of.as_world_says(found, group, addresses, runs=bool(group))

    def _shown_stream(self, kind: str, slot: str) -> Stream:
        """What is told of a stream; auto as long as it was never activated, by habit."""
        stream = self._stream(kind, slot)
        if Habit.UNRESOLVED in self._habits and stream.fresh:
            legs = [params.unset(kind) for _ in self._addresses()]
            return replace(stream, active={**stream.active, "transport_params": legs})
        return stream

    @property
    def _habits(self) -> frozenset[Habit]:
        return frozenset(map(Habit, self.memory.running.kept.get(HABITS, ())))

    def _fresh(self, kind: str, slot: str) -> Stream:
        return stream_of.fresh(kind, self._addresses(), self._vacant(slot))

    def _vacant(self, slot: str) -> str:
        """The group that a sender takes by itself: no other sender of a /24 takes it."""
        slots = list(self.memory.running.sources)
        place = slots.index(slot) + 1 if slot in slots else 0
        return f"239.255.{self.memory.running.lan.address.rpartition('.')[2]}.{place}"

    def _put(self, slot: str, stream: Stream) -> None:
        running: State = self.memory.running
        if stream.kind == "senders":
            source = stream.as_source(running.sources[slot])
            running = running.with_source(slot, source)
        else:
            destination = stream.as_destination(running.destinations[slot])
            running = running.with_destination(slot, destination)
        self.keep(running.with_kept(f"{stream.kind}/{slot}", stream.as_kept()))

    def shown(self, port: int) -> Node:
        """What it shows of itself, with the port at which it answers."""
        running = self.memory.running
        held = {"senders": running.sources, "receivers": running.destinations}
        return Node(
            name=self.unit.name,
            model=self.unit.model,
            serial=self.shown_serial,
            host=running.lan.address,
            port=port,
            legs=len(self._addresses()),
            configurable=self._configurable,
            habits=self._habits,
            scheme=self.scheme,
            streams={
                kind: {slot: self._shown_stream(kind, slot) for slot in held[kind]}
                for kind in KINDS
            },
            labels={
                "senders": {slot: one.label or slot for slot, one in running.sources.items()},
                "receivers": {
                    slot: one.label or slot for slot, one in running.destinations.items()
                },
            },
        )

    def _tai(self, request: Request) -> int:
        return int((self.tai_at_zero + request.at) * NANO)


def opened(request: Request, response: Response) -> Response:
    """A response as any page of a browser may read it (IS-04, "APIs": CORS); HEAD has no body."""
    more = _OPEN + (_ASKED if request.method == "OPTIONS" else ())
    body = b"" if request.method == "HEAD" else response.body
    return replace(response, headers=response.headers + more, body=body)


def port_of(request: Request) -> int:
    """The port that a request names (RFC 9110, 7.2)."""
    port = request.headers.get("host", "").rpartition(":")[2]
    return int(port) if port.isascii() and port.isdigit() else HTTP


def _target(request: Request, slot: str) -> Response:
    """The deprecated way to point a receiver; a node may leave it out (501)."""
    if request.method == "OPTIONS":
        return answer(200, [])
    if request.method == "PUT":
        raise Refused(501, f"point {slot} by the Connection API")
    raise Refused(405, f"{request.method} is not done here")


def _document(request: Request) -> Any:
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise Refused(400, "send application/json")
    try:
        return json.loads(request.body)
    except ValueError as error:
        raise Refused(400, "the body is no JSON") from error


def _from_file(body: Mapping[str, Any], legs: int) -> list[Params]:
    """What a receiver takes from a transport file, one object a leg."""
    text = body.get("transport_file", {}).get("data")
    if text is None:
        return [{} for _ in range(legs)]
    if body["transport_file"]["type"] != sdp.MEDIA_TYPE:
        raise Wrong("a transport file has to be a session description")
    try:
        found = sdp.read(text)
    except ValueError as error:
        raise Wrong(str(error)) from error
    given: list[Params] = [
        {
            "multicast_ip": leg.group,
            "source_ip": leg.source or None,
            "destination_port": leg.port,
            "rtp_enabled": True,
        }
        for leg in found[:legs]
    ]
    return given + [{"rtp_enabled": False} for _ in range(legs - len(given))]


def _nanoseconds(time: str) -> int:
    seconds, _, rest = time.partition(":")
    return int(seconds) * NANO + int(rest)


def _stamp(nanoseconds: int) -> str:
    return f"{nanoseconds // NANO}:{nanoseconds % NANO}"
