"""The dialect of RESTCONF servers (RFC 8040): a device's addresses, and who it is.

It reads interfaces and addresses (RFC 8343, RFC 8344), the gateway where a static default route is
modelled (RFC 8349), and the chassis' serial and model (RFC 8348). It writes one thing: another
address. The standard modules know no streams, labels or settings of audio.

An edit is kept at once, in the store that the device boots with too, if it has one (RFC 8040, 1.4):
a power cycle does not bring the old address back. And an edit confirms whatever another client has
committed and not yet confirmed (ibid.), so nobody should be at work on the device by NETCONF.
"""

from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import replace
from typing import TypeVar

from orchestrator.adapters.declared.whole import entity_tag
from orchestrator.adapters.declared.wishes import doing
from orchestrator.adapters.http.json_pointer import Unusable, document
from orchestrator.adapters.http.messages import Exchange, Party, Request, Response
from orchestrator.adapters.restconf import data as data_of
from orchestrator.adapters.restconf import edit as edit_of
from orchestrator.adapters.restconf import errors as errors_of
from orchestrator.adapters.restconf.data import Held, Route
from orchestrator.adapters.restconf.edit import YANG_DATA, YANG_PATCH
from orchestrator.adapters.restconf.root import ACCEPT, HOST_META, USUAL, root_in
from orchestrator.errors import Broken, Busy, OtherHand, Rejected
from orchestrator.facility.description import Json
from orchestrator.facility.found import DeviceState, Identity, InterfaceState
from orchestrator.facility.plan import Interface
from orchestrator.facility.step import AddressValue, Step, StepKind
from orchestrator.facility.traits import Saves, Traits
from orchestrator.running.protocols import EVERYTHING, Part

_NO_STREAMS = "the standard RESTCONF modules know its addresses, and none of its streams"
TRAITS = Traits(
    can=frozenset({StepKind.READDRESS, StepKind.CONFIRM, StepKind.BY_HAND}),
    saves=Saves.AT_ONCE,
    cannot={
        **dict.fromkeys(
            (StepKind.DISABLE, StepKind.ENABLE, StepKind.RENUMBER, StepKind.REPOINT), _NO_STREAMS
        ),
        StepKind.SET: "the standard RESTCONF modules know no label and no setting of it",
        StepKind.SAVE: "a RESTCONF server keeps each edit at once, and has no save",
    },
    instead=dict.fromkeys(
        (StepKind.DISABLE, StepKind.ENABLE, StepKind.RENUMBER, StepKind.REPOINT, StepKind.SET),
        "name the way in which its streams are spoken to beside it in plan.yaml, as in "
        "'speaks: [nmos, restconf]'",
    ),
    sets_labels=False,
    makes_gateway=False,
)
"""What any server can do by the standards; the times are those of address conflict detection (RFC
5227: 4 to 7 s until an address is announced) with some to spare."""

_CONFIG, _ROUTING = "?content=config", f"/{data_of.ROUTING}:routing/control-plane-protocols"
_HARDWARE = f"/{data_of.HARDWARE}:hardware"
_INTERFACES = f"/{data_of.INTERFACES}:interfaces"
_NOT_MODELLED = frozenset({400, 404})
_CONFLICT = 409
_MISSING = frozenset({404})
_FIRST_ERROR = 400
_ASKING = "asking who it is"
T = TypeVar("T")


class Restconf:
    """Talks with one server. ``planned`` are the interfaces that the plan has of the device.

    ``alone``: nothing else can tell who the device is, so a server that can't tell is of no use.
    Where the API stands, and which interface is which, is remembered from the last read.
    """

    def __init__(
        self, party: Party, planned: Sequence[Interface] = (), *, alone: bool = True
    ) -> None:
        self._party = party
        self._planned = tuple(planned)
        self._alone = alone
        self._root: str | None = None
        self._held: dict[str, Held] = {}

    @property
    def traits(self) -> Traits:
        """What any server can do."""
        return TRAITS

    def identify(self) -> Exchange[Identity]:
        """Ask who it is; the serial is empty where it can't tell and need not.

        Raises:
            Broken: it tells no serial, and nothing else does.
        """
        asked = yield from self._get(_HARDWARE, _ASKING, _NOT_MODELLED)
        found = None if asked is None else self._made(_ASKING, lambda: data_of.identity(asked))
        if found is not None:
            return found
        if self._alone:
            said = (
                "it tells no serial (RFC 8348), so nothing proves that it is the device meant; "
                "let it speak another way beside RESTCONF that tells one"
            )
            raise Broken(self._party.device, self._party.address, _ASKING, said)
        return Identity(serial="", model="")

    def read(self, parts: frozenset[Part] = EVERYTHING) -> Exchange[DeviceState]:
        """Read its identity and, if asked for, its interfaces; it has nothing else to tell."""
        identity = yield from self.identify()
        interfaces = (yield from self._interfaces()) if Part.INTERFACES in parts else {}
        return DeviceState(identity=identity, interfaces=interfaces)

    def write(self, step: Step) -> Exchange[None]:
        """Write a readdress: read the interface's settings, then send them whole, changed.

        Raises:
            Rejected: it is another kind of step, or the server has no way to do it in one request.
            OtherHand: the address is no longer as the step found it; nothing was sent.
            Busy: another client has a lock on it.
        """
        what, wanted = doing(step), step.wanted
        if step.kind is not StepKind.READDRESS or not isinstance(wanted, AddressValue):
            raise self._rejected(what, TRAITS.cannot.get(step.kind, "that is nothing to write"))
        if wanted.interface not in self._held:
            yield from self._interfaces()
        if wanted.interface not in self._held:
            raise self._rejected(what, f"it has no interface '{wanted.interface}'")
        held = self._held[wanted.interface]
        was = step.as_found
        old = was.address if isinstance(was, AddressValue) else held.address
        gateway = was.gateway if isinstance(was, AddressValue) else None
        if gateway is None or gateway == wanted.gateway:
            yield from self._put(held.interface, old, wanted, what)
        else:
            yield from self._patch(held.interface, AddressValue("", old, 0, gateway), wanted, what)

    # Reading.

    def _interfaces(self) -> Exchange[dict[str, InterfaceState]]:
        what = "reading its interfaces"
        asked = yield from self._get(_INTERFACES, what)
        found = self._made(what, lambda: data_of.addresses(asked))
        self._held = self._made(
            what, lambda: data_of.named(self._planned, found, self._party.address)
        )
        routes = yield from self._routes("reading its gateway")
        return {
            name: InterfaceState(
                address=held.address, prefix=held.prefix, gateway=data_of.gateway_of(held, routes)
            )
            for name, held in self._held.items()
        }

    def _routes(self, what: str) -> Exchange[list[Route]]:
        asked = yield from self._get(_ROUTING, what, _NOT_MODELLED)
        return [] if asked is None else self._made(what, lambda: data_of.routes(asked))

    # Writing.

    def _put(self, interface: str, old: str, wanted: AddressValue, what: str) -> Exchange[None]:
        """One PUT of the whole ``ipv4`` container, under the tag of its read."""
        path = edit_of.ipv4_path(interface)
        response = yield from self._asked("GET", path + _CONFIG, what)
        body = self._changed(response, old, wanted, what)
        yield from self._send(self._writing("PUT", path, body, self._tag(response), what))

    def _patch(
        self, interface: str, old: AddressValue, wanted: AddressValue, what: str
    ) -> Exchange[None]:
        """Address and gateway in one YANG Patch, under the datastore's tag."""
        if wanted.gateway is None:
            raise self._rejected(what, "its gateway would be left behind; take it off by hand")
        options = yield from self._asked("OPTIONS", "", what)
        if YANG_PATCH not in options.headers.get("accept-patch", ""):
            raise self._rejected(
                what,
                f"its gateway has to change to {wanted.gateway} in the same request, and it takes "
                "no YANG Patch (RFC 8072)",
            )
        before = yield from self._asked("HEAD", "", what)
        response = yield from self._asked("GET", edit_of.ipv4_path(interface) + _CONFIG, what)
        ipv4 = self._changed(response, old.address, wanted, what)
        routes = yield from self._routes(what)
        left = [route for route in routes if route.gateway == old.gateway]
        if len(left) != 1:
            said = f"it has {len(left)} static default routes to {old.gateway}, and not one"
            raise OtherHand(self._party.device, self._party.address, what, said)
        body = edit_of.patch_of(interface, ipv4, left[0], wanted.gateway)
        yield from self._send(self._writing("PATCH", "", body, self._tag(before), what))

    def _changed(self, response: Response, old: str, wanted: AddressValue, what: str) -> Json:
        try:
            return edit_of.with_address(document(response.body), old, wanted)
        except Unusable as why:
            raise OtherHand(self._party.device, self._party.address, what, str(why)) from None

    def _send(self, request: Request) -> Exchange[None]:
        """Send a write; a conflict is told by what the server says of it, not by its status."""
        response = yield replace(request, also_fine=frozenset({_CONFLICT}))
        errors, what = self._errors(response), request.doing
        said = errors_of.said(errors) or str(response.status)
        if response.status == _CONFLICT and errors_of.passes(errors):
            raise Busy(self._party.device, self._party.address, what, said)
        if response.status == _CONFLICT or errors is not None:
            raise self._rejected(what, said, response.status)

    def _writing(self, method: str, path: str, body: Json, tag: str, what: str) -> Request:
        headers = (("Accept", YANG_DATA), *((("If-Match", tag),) if tag else ()))
        return Request(
            method=method,
            path=self._base() + path,
            doing=what,
            body=body,
            content_type=YANG_PATCH if method == "PATCH" else YANG_DATA,
            headers=headers,
        )

    # Asking, and saying what is wrong.

    def _get(self, path: str, what: str, also_fine: frozenset[int] = frozenset()) -> Exchange[Json]:
        """What stands at a path below the datastore; None for a status among ``also_fine``."""
        response = yield from self._asked("GET", path, what, also_fine)
        if response.status >= _FIRST_ERROR or not response.body:
            return None
        return self._made(what, lambda: document(response.body))

    def _asked(
        self, method: str, path: str, what: str, also_fine: frozenset[int] = frozenset()
    ) -> Exchange[Response]:
        if self._root is None:
            self._root = yield from self._discovered()
        return (
            yield Request(
                method=method,
                path=self._base() + path,
                doing=what,
                headers=(("Accept", YANG_DATA),),
                also_fine=also_fine,
            )
        )

    def _discovered(self) -> Exchange[str]:
        """Where the API is, by the host's metadata; where there is none, at the usual place."""
        what = "looking for its RESTCONF root"
        for path in (HOST_META, HOST_META + ".json"):
            response = yield Request(
                method="GET",
                path=path,
                doing=what,
                headers=(("Accept", ACCEPT),),
                also_fine=_MISSING,
            )
            if response.status < _FIRST_ERROR:
                with self._reading(what):
                    return root_in(response, self._party.address)
        return USUAL

    def _base(self) -> str:
        return f"{self._root}/data"

    def _tag(self, response: Response) -> str:
        """The tag for If-Match; none where the server gives none, or a weak one."""
        try:
            return entity_tag(response.headers)
        except Unusable:
            return ""

    def _errors(self, response: Response) -> Json:
        try:
            found = document(response.body) if response.body else None
        except Unusable:
            found = None
        return found if errors_of.errors_in(found) else None

    def _made(self, what: str, make: Callable[[], T]) -> T:
        with self._reading(what):
            return make()

    def _rejected(self, what: str, why: str, status: int = 0) -> Rejected:
        return Rejected(self._party.device, self._party.address, what, why, status)

    @contextmanager
    def _reading(self, what: str) -> Iterator[None]:
        try:
            yield
        except Unusable as why:
            raise Broken(self._party.device, self._party.address, what, str(why)) from None
