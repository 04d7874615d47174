"""A simulated device, common to all makes: sign-in, routes, bad requests, memory and power cycle.

A device is a memory and ``handle(request) -> response``. It has no socket, no clock and no chance;
the same requests always give the same answers. A make adds its routes and how it keeps a change.
"""

import json
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, replace
from typing import Any, ClassVar

from mocks.access import Access
from mocks.messages import Act, Problem, Request, Response, Settle, answer
from mocks.state import Destination, Lan, Memory, Source, State, checked_lan

Route = Callable[[Request, str], Response]
LONGEST_TEXT = 64


@dataclass(frozen=True, slots=True)
class Unit:
    """What is printed on a device and how it signs in. ``secret`` is left out of its repr."""

    name: str
    model: str
    serial: str
    firmware: str
    user: str
    secret: str
    settle_s: float

    def __repr__(self) -> str:
        return f"Unit({self.name!r}, {self.model!r}, {self.serial!r})"


class Device:
    """One simulated device. ``memory`` may be read by anyone; only the device changes it.

    ``neighbours`` gives the devices of its world whose cable is in, for one that knows them.
    """

    make: ClassVar[str] = ""
    keeps_at_once: ClassVar[bool] = True
    listens_by: ClassVar[str] = "number"
    derives_group: ClassVar[bool] = True
    signs_in: ClassVar[bool] = True
    more_ports: ClassVar[tuple[int, ...]] = ()
    """Ports at which it answers beside the world's."""

    scheme: str = "http"
    """What it is served by: it names itself by it where it names itself."""

    tai_at_zero: float = 0.0
    """International atomic time, in seconds, at which the mount's clock shows zero."""

    def __init__(self, unit: Unit, memory: Memory) -> None:
        self.unit = unit
        self.memory = memory
        self.access = Access(unit.secret)
        self.shown_serial = unit.serial
        self.neighbours: Callable[[], Iterable[Device]] = tuple
        self._booted_at = 0.0

    # What a make says of itself.

    def signed_in(self, request: Request) -> bool:
        """Whether the request carries the right sign-in."""
        raise NotImplementedError

    def refusal(self) -> Response:
        """The answer to a request that does not carry it."""
        raise NotImplementedError

    def paths(self) -> Mapping[tuple[str, ...], Mapping[str, Route]]:
        """For each path, as segments, the methods that it takes."""
        raise NotImplementedError

    def slot_paths(self) -> Mapping[tuple[str, ...], Mapping[str, Route]]:
        """The same for paths that end in a slot's name, which is left out here."""
        raise NotImplementedError

    # What all makes have in common.

    def handle(self, request: Request) -> Response:
        """Answer one request, perhaps changing the memory; nothing is raised."""
        if not self.signed_in(request):
            return self.refusal()
        try:
            return self._routed(request)
        except Problem as problem:
            return problem.response

    def reboot(self, at: float = 0.0) -> None:
        """Lose what is not saved; ``at`` is the time of the power cycle, in seconds."""
        self.memory = Memory(self.memory.saved, self.memory.saved)
        self.access.reboot()
        self._booted_at = at

    def perform(self, act: Act) -> None:
        """Do what a response said was to be done later: an address takes effect."""
        if isinstance(act, Settle) and self.memory.pending == act.lan:
            self.memory = replace(self.memory, pending=None)
            self.keep(replace(self.memory.running, lan=act.lan))

    def keep(self, running: State) -> None:
        """Take ``running`` as the running state, and as the saved one where the make does."""
        saved = running if self.keeps_at_once else self.memory.saved
        self.memory = replace(self.memory, running=running, saved=saved)

    def accept(self, lan: Lan) -> Settle:
        """Accept an address that takes effect later.

        A make that keeps changes at once would boot with it from now on.

        Raises:
            Problem: another one is still on its way.
        """
        if self.memory.pending is not None:
            raise Problem(409, "an address change is under way")
        saved = self.memory.saved
        if self.keeps_at_once:
            saved = replace(saved, lan=lan)
        self.memory = replace(self.memory, saved=saved, pending=lan)
        return Settle(lan)

    def uptime_s(self, request: Request) -> int:
        """Whole seconds since the last power cycle."""
        return int(request.at - self._booted_at)

    def source(self, slot: str) -> Source:
        """The running source in a slot.

        Raises:
            Problem: no such slot.
        """
        found = self.memory.running.sources.get(slot)
        if found is None:
            raise Problem(404, f"no slot {slot}")
        return found

    def destination(self, slot: str) -> Destination:
        """The running destination in a slot.

        Raises:
            Problem: no such slot.
        """
        found = self.memory.running.destinations.get(slot)
        if found is None:
            raise Problem(404, f"no slot {slot}")
        return found

    def _routed(self, request: Request) -> Response:
        segments, slot = request.segments, ""
        methods = self.paths().get(segments)
        if methods is None:
            methods, slot = self.slot_paths().get(segments[:-1]), segments[-1]
        if methods is None:
            raise Problem(404, "no such path")
        route = methods.get(request.method)
        if route is None:
            allow = ", ".join(sorted(methods))
            raise Problem(405, f"{request.method} is not done here", (("allow", allow),))
        return route(request, slot)

    # The clock's two settings are the same on every make; only the path differs.

    def get_clock(self, _request: Request, _slot: str) -> Response:
        """Answer what the clock is set to."""
        settings = self.memory.running.settings
        return answer(200, {"domain": settings["ptp_domain"], "priority": settings["ptp_priority"]})

    def put_clock(self, request: Request, slot: str) -> Response:
        """Set the clock; both members must be given."""
        body = members(request, {"domain", "priority"})
        if len(body) != len(("domain", "priority")):
            raise Problem(422, "both domain and priority must be given")
        domain = whole(body["domain"], "domain", 127)
        priority = whole(body["priority"], "priority", 255)
        self.keep(self.memory.running.with_settings(ptp_domain=domain, ptp_priority=priority))
        return self.get_clock(request, slot)


def members(request: Request, known: set[str]) -> dict[str, Any]:
    """The members of a request's JSON body.

    Raises:
        Problem: not JSON (415), not readable (400), no object or an unknown member (422).
    """
    kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
    if kind != "application/json":
        raise Problem(415, "send application/json")
    try:
        body = json.loads(request.body)
    except ValueError as error:
        raise Problem(400, "the body is no JSON") from error
    if not isinstance(body, dict) or not body:
        raise Problem(422, "send an object with at least one member")
    strange = sorted(set(body) - known)
    if strange:
        raise Problem(422, f"unknown member {strange[0]}")
    return body


def whole(value: object, what: str, top: int) -> int:
    """A whole number from 0 to ``top``.

    Raises:
        Problem: 422, anything else.
    """
    if type(value) is not int or not 0 <= value <= top:
        raise Problem(422, f"{what} must be a whole number from 0 to {top}")
    return value


def text(value: object, what: str) -> str:
    """A text of at most 64 printable characters.

    Raises:
        Problem: 422, anything else.
    """
    if not isinstance(value, str) or len(value) > LONGEST_TEXT or not value.isprintable():
        raise Problem(422, f"{what} must be a text of at most {LONGEST_TEXT} characters")
    return value


def lan_of(address: object, prefix: object, gateway: object) -> Lan:
    """An address as a request gives it.

    Raises:
        Problem: 422, it makes no sense.
    """
    try:
        return checked_lan(address, prefix, gateway)
    except ValueError as error:
        raise Problem(422, str(error)) from error
