"""The Tamarisk TN-8 I/O node, an invented make: a key in a header, and changes kept on request.

It knows streams by number and group, each set for itself, and takes a new number even while the
stream runs: order is the controller's business. A write changes the running state only; a power
cycle goes back to what was stored. An address takes effect some time after it was accepted, and has
to be stored like anything else.
"""

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from mocks.device import Device, Route, lan_of, members, text
from mocks.messages import Later, Problem, Request, Response, answer
from mocks.state import checked_group

UNASSIGNED = "----"
DIGITS = 4


class Tamarisk(Device):
    """A simulated TN-8."""

    make = "tamarisk"
    keeps_at_once = False
    listens_by = "group"
    derives_group = False

    def signed_in(self, request: Request) -> bool:
        """The unit's key in the header X-Node-Key."""
        return self.access.tried(request.headers.get("x-node-key", ""), self.access.word)

    def refusal(self) -> Response:
        """403: the TN-8 does not ask for a sign-in, it just won't."""
        return answer(403, {"problem": "key missing or wrong"})

    def paths(self) -> Mapping[tuple[str, ...], Mapping[str, Route]]:
        """The TN-8's paths."""
        return {
            ("api", "info"): {"GET": self._info},
            ("api", "ports"): {"GET": self._ports},
            ("api", "ports", "main"): {"PUT": self._readdress},
            ("api", "key"): {"PUT": self._put_key},
            ("api", "clock"): {"GET": self.get_clock, "PUT": self.put_clock},
            ("api", "store"): {"GET": self._pending, "POST": self._store},
            ("api", "tx"): {"GET": self._all_tx},
            ("api", "rx"): {"GET": self._all_rx},
        }

    def slot_paths(self) -> Mapping[tuple[str, ...], Mapping[str, Route]]:
        """One sender, one receiver."""
        return {("api", "tx"): {"PUT": self._put_tx}, ("api", "rx"): {"PUT": self._put_rx}}

    def _info(self, _request: Request, _slot: str) -> Response:
        identity = {"sn": self.shown_serial, "type": self.unit.model}
        return answer(200, {"id": identity, "fw": self.unit.firmware})

    def _put_key(self, request: Request, _slot: str) -> Response:
        body = members(request, {"key"})
        self.access.change(self.access.word, body.get("key"), saved=False)
        return Response(204)

    def _port(self) -> dict[str, str]:
        lan = self.memory.running.lan
        return {"addr": f"{lan.address}/{lan.prefix}", "gw": lan.gateway or ""}

    def _ports(self, _request: Request, _slot: str) -> Response:
        return answer(200, {"ports": {"main": self._port()}})

    def _readdress(self, request: Request, _slot: str) -> Response:
        body = members(request, {"addr", "gw"})
        address, _, length = text(body.get("addr"), "addr").partition("/")
        prefix = int(length) if length.isascii() and length.isdigit() else None
        gateway = text(body.get("gw", ""), "gw") or None
        act = self.accept(lan_of(address, prefix, gateway))
        later = (Later(self.unit.settle_s, act),)
        return answer(200, {"addr": body["addr"], "gw": gateway or ""}, later=later)

    def _pending(self, _request: Request, _slot: str) -> Response:
        return answer(200, {"pending": self._unsaved()})

    def _unsaved(self) -> bool:
        key_too = self.access.word != self.access.saved
        return key_too or self.memory.running != self.memory.saved

    def _store(self, _request: Request, _slot: str) -> Response:
        self.memory = replace(self.memory, saved=self.memory.running)
        self.access.save()
        return answer(200, {"stored": True})

    def _all_tx(self, _request: Request, _slot: str) -> Response:
        return answer(200, {"tx": {slot: self._tx(slot) for slot in self.memory.running.sources}})

    def _tx(self, slot: str) -> dict[str, Any]:
        source = self.source(slot)
        return {
            "num": f"{source.number:0{DIGITS}}" if source.number else UNASSIGNED,
            "dest": source.group,
            "name": source.label,
            "state": "on" if source.enabled else "off",
        }

    def _put_tx(self, request: Request, slot: str) -> Response:
        now = self.source(slot)
        body = members(request, {"num", "dest", "name", "state"})
        after = replace(
            now,
            number=_number(body["num"]) if "num" in body else now.number,
            group=_group(body["dest"], "dest") if "dest" in body else now.group,
            label=text(body.get("name", now.label), "name"),
            enabled=_on(body["state"]) if "state" in body else now.enabled,
        )
        if after.enabled and not after.group:
            raise Problem(409, "nothing to send to")
        self.keep(self.memory.running.with_source(slot, after))
        return answer(200, self._tx(slot))

    def _all_rx(self, _request: Request, _slot: str) -> Response:
        slots = self.memory.running.destinations
        return answer(200, {"rx": {slot: self._rx(slot) for slot in slots}})

    def _rx(self, slot: str) -> dict[str, Any]:
        found = self.destination(slot)
        return {"from": found.group, "name": found.label}

    def _put_rx(self, request: Request, slot: str) -> Response:
        now = self.destination(slot)
        body = members(request, {"from", "name"})
        after = replace(
            now,
            group=_group(body["from"], "from") if "from" in body else now.group,
            label=text(body.get("name", now.label), "name"),
        )
        self.keep(self.memory.running.with_destination(slot, after))
        return answer(200, self._rx(slot))


def _number(value: object) -> int:
    if value == UNASSIGNED:
        return 0
    well = isinstance(value, str) and len(value) == DIGITS and value.isascii() and value.isdigit()
    if not well or not int(str(value)):
        raise Problem(422, f"num must be four digits, or {UNASSIGNED}")
    return int(str(value))


def _group(value: object, what: str) -> str:
    try:
        return checked_group(value)
    except ValueError as error:
        raise Problem(422, f"{what}: {error}") from error


def _on(value: object) -> bool:
    if value not in ("on", "off"):
        raise Problem(422, "state must be on or off")
    return value == "on"
