"""The Marram MR-6 desk frame, an invented make and an awkward one: each thing in its own way.

Signing in is a form, answered with a cookie that lasts for twenty requests; a wrong word is
answered with 200 and no cookie. Outputs stand in a list with holes, numbered from 1; a number is a
text (``CH-0421``), the switch is a mute, and an output is taken whole or not at all, with the
entity tag of what was read (RFC 9110, 13.1.1). Eight outputs can be muted and numbered in one
request, each with a fate of its own. The text alone may be patched (RFC 6902). Inputs are
set by a form, the clock by a merge patch (RFC 7396). The gateway is told in another place than the
address. The group of an output is derived from its number and told nowhere. What is set runs at
once, and is lost in a power cycle unless it was kept; but for the hold of the meters, which shows
once it was kept, and the sample rate, which shows after a restart, if it was kept before that.
"""

import hashlib
import hmac
import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any
from urllib.parse import parse_qs

from mocks.device import Device, Route, Unit, lan_of, text, whole
from mocks.makes.patches import merged, patched
from mocks.messages import Later, Problem, Request, Response, Restart, answer
from mocks.state import Memory, Source, derived_group

FORM = "application/x-www-form-urlencoded"
MERGE_PATCH = "application/merge-patch+json"
JSON_PATCH = "application/json-patch+json"
REQUESTS_A_SESSION = 20
MOST_AT_ONCE = 8
LOCKED = 423
NONE = "none"
TRIM = -3
"""What the trim of an output is until somebody sets it; in dB."""

RATES = (48000, 96000)
"""Sample rates, in Hz; the first is there until another one is kept and the frame is restarted."""

RATE, NEXT_RATE, HOLD, NEXT_HOLD = "rate", "next rate", "hold", "next hold"
RESTARTS_AFTER_S = 0.05

_TOP = 9999


class Marram(Device):
    """A simulated MR-6."""

    make = "marram"
    keeps_at_once = False
    listens_by = "number"

    def __init__(self, unit: Unit, memory: Memory) -> None:
        super().__init__(unit, memory)
        self._sessions = 0
        self._cookie = ""
        self._left = 0

    def handle(self, request: Request) -> Response:
        """Answer one request; the sign-in alone needs no cookie."""
        if request.segments == ("session",) and request.method == "POST":
            try:
                return self._sit(request)
            except Problem as problem:
                return problem.response
        return super().handle(request)

    def reboot(self, at: float = 0.0) -> None:
        """Nobody is signed in after a power cycle; a rate that was kept for it is taken."""
        self._left = 0
        super().reboot(at)
        booted = self.memory.saved
        if NEXT_RATE in booted.kept:
            booted = booted.with_kept(RATE, booted.kept[NEXT_RATE])
            self.memory = replace(self.memory, running=booted, saved=booted)

    def signed_in(self, request: Request) -> bool:
        """The cookie of the last sign-in, twenty times."""
        held = dict(part.strip().partition("=")[::2] for part in _cookies(request))
        good = hmac.compare_digest(held.get("seat", "").encode(), self._cookie.encode())
        if not good or not self._left:
            return False
        self._left -= 1
        return True

    def refusal(self) -> Response:
        """401: sit down again."""
        return answer(401, {"title": "not signed in"})

    def paths(self) -> Mapping[tuple[str, ...], Mapping[str, Route]]:
        """The MR-6's paths."""
        return {
            ("about",): {"GET": self._about},
            ("net",): {"GET": self._net, "PUT": self._readdress},
            ("route",): {"GET": self._route},
            ("clock",): {"GET": self._clock, "PATCH": self._patch_clock},
            ("rate",): {"GET": self._rate, "PUT": self._put_rate},
            ("meter",): {"GET": self._meter, "PUT": self._put_meter},
            ("restart",): {"POST": self._restart},
            ("word",): {"POST": self._post_word},
            ("out",): {"GET": self._all_out},
            ("outs",): {"POST": self._post_outs},
            ("in",): {"GET": self._all_in},
            ("keep",): {"GET": self._kept, "POST": self._keep},
        }

    def slot_paths(self) -> Mapping[tuple[str, ...], Mapping[str, Route]]:
        """One output, one input."""
        return {
            ("out",): {"GET": self._get_out, "PUT": self._put_out, "PATCH": self._patch_out},
            ("in",): {"POST": self._post_in},
        }

    def _sit(self, request: Request) -> Response:
        form = _form(request)
        user, word = form.get("login", ""), form.get("word", "")
        if not self.access.tried(f"{user}:{word}", f"{self.unit.user}:{self.access.word}"):
            return answer(200, {"welcome": False})
        self._sessions += 1
        made = f"{self.access.word}:{self._sessions}".encode()
        self._cookie = hashlib.sha256(made).hexdigest()[:24]
        self._left = REQUESTS_A_SESSION
        cookie = ("set-cookie", f"seat={self._cookie}; Path=/; HttpOnly")
        return answer(200, {"welcome": True}, (cookie,))

    def _about(self, _request: Request, _slot: str) -> Response:
        unit = self.unit
        body = {"unit": {"kind": unit.model, "no": self.shown_serial}, "soft": f"v{unit.firmware}"}
        return answer(200, body)

    def _net(self, _request: Request, _slot: str) -> Response:
        lan = self.memory.running.lan
        return answer(200, {"net": {"host": f"{lan.address}/{lan.prefix}", "speed": "1 Gb/s"}})

    def _route(self, _request: Request, _slot: str) -> Response:
        return answer(200, {"default": self.memory.running.lan.gateway or NONE})

    def _readdress(self, request: Request, _slot: str) -> Response:
        body = _members(_json(request, "application/json"), {"host", "via"})
        address, _, length = text(body["host"], "host").partition("/")
        prefix = int(length) if length.isascii() and length.isdigit() else None
        gateway = None if body["via"] == NONE else text(body["via"], "via")
        act = self.accept(lan_of(address, prefix, gateway))
        return answer(202, {"moving": True}, later=(Later(self.unit.settle_s, act),))

    def _clock_now(self) -> dict[str, int]:
        held = self.memory.running.settings
        return {"domain": held["ptp_domain"], "priority": held["ptp_priority"]}

    def _clock(self, _request: Request, _slot: str) -> Response:
        return answer(200, {"clock": self._clock_now()})

    def _patch_clock(self, request: Request, slot: str) -> Response:
        after = merged({"clock": self._clock_now()}, _json(request, MERGE_PATCH))
        clock = _members(_members(after, {"clock"})["clock"], {"domain", "priority"})
        self.keep(
            self.memory.running.with_settings(
                ptp_domain=whole(clock["domain"], "domain", 127),
                ptp_priority=whole(clock["priority"], "priority", 255),
            )
        )
        return self._clock(request, slot)

    def _rate(self, _request: Request, _slot: str) -> Response:
        now = self.memory.running.kept.get(RATE, RATES[0])
        return answer(200, {"now": now, "next": self.memory.running.kept.get(NEXT_RATE, now)})

    def _put_rate(self, request: Request, slot: str) -> Response:
        rate = _members(_json(request, "application/json"), {"next"})["next"]
        if rate not in RATES or isinstance(rate, bool):
            raise Problem(422, f"a rate is one of {RATES}")
        self.keep(self.memory.running.with_kept(NEXT_RATE, rate))
        return self._rate(request, slot)

    def _meter(self, _request: Request, _slot: str) -> Response:
        return answer(200, {"hold": self.memory.running.kept.get(HOLD, 0)})

    def _put_meter(self, request: Request, slot: str) -> Response:
        hold = whole(_members(_json(request, "application/json"), {"hold"})["hold"], "hold", 9)
        self.keep(self.memory.running.with_kept(NEXT_HOLD, hold))
        return self._meter(request, slot)

    def _restart(self, request: Request, _slot: str) -> Response:
        if _form(request) != {"now": "yes"}:
            raise Problem(422, "send now=yes")
        if any(source.enabled for source in self.memory.running.sources.values()):
            raise Problem(409, "mute all outputs first")
        act = Restart(self.unit.settle_s)
        return answer(202, {"restarting": True}, later=(Later(RESTARTS_AFTER_S, act),))

    def _post_word(self, request: Request, _slot: str) -> Response:
        form = _form(request)
        if set(form) != {"was", "will"}:
            raise Problem(422, "send was and will")
        self.access.change(form["was"], form["will"], saved=False)
        return Response(204)

    def _all_out(self, _request: Request, _slot: str) -> Response:
        slots = self.memory.running.sources
        return answer(
            200, {"out": [self._out(slot) if slot in slots else None for slot in _upto(slots)]}
        )

    def _out(self, slot: str) -> dict[str, Any]:
        source = self.source(slot)
        return {
            "ch": _channel(source.number),
            "text": source.label,
            "mute": 0 if source.enabled else 1,
            "trim": self.memory.running.kept.get(slot, TRIM),
        }

    def _get_out(self, _request: Request, slot: str) -> Response:
        return answer(200, self._out(slot), (("etag", self._tag(slot)),))

    def _tag(self, slot: str) -> str:
        held = json.dumps(self._out(slot), sort_keys=True).encode()
        return f'"{hashlib.sha256(held).hexdigest()[:12]}"'

    def _put_out(self, request: Request, slot: str) -> Response:
        tag = request.headers.get("if-match")
        if tag is None:
            raise Problem(428, "say what you have read: If-Match")
        if tag != self._tag(slot):
            raise Problem(412, "somebody else was here")
        return self._take_out(slot, _json(request, "application/json"))

    def _patch_out(self, request: Request, slot: str) -> Response:
        before = self._out(slot)
        after = patched(before, _json(request, JSON_PATCH))
        if not isinstance(after, dict) or after != {**before, "text": after.get("text")}:
            raise Problem(422, "only the text can be patched")
        return self._take_out(slot, after)

    def _take_out(self, slot: str, value: Any) -> Response:
        now = self.source(slot)
        body = _members(value, {"ch", "text", "mute", "trim"})
        number = _number(body["ch"])
        on = whole(body["mute"], "mute", 1) == 0
        if number != now.number and now.enabled:
            raise Problem(409, "mute it first")
        if on and not number:
            raise Problem(409, "it has no number")
        label = text(body["text"], "text")
        after = Source(number, derived_group(number), label, enabled=on)
        running = self.memory.running.with_source(slot, after)
        if body["trim"] != running.kept.get(slot, TRIM):
            running = running.with_kept(slot, body["trim"])
        self.keep(running)
        return answer(200, self._out(slot), (("etag", self._tag(slot)),))

    def _post_outs(self, request: Request, _slot: str) -> Response:
        """Several outputs at once: what is not named of one stays, and each has its own fate."""
        wanted = _members(_json(request, "application/json"), {"do"})["do"]
        if not isinstance(wanted, dict) or not 0 < len(wanted) <= MOST_AT_ONCE:
            raise Problem(422, f"send from 1 to {MOST_AT_ONCE} outputs")
        return answer(
            200, {"did": {slot: self._one(request, slot, wanted[slot]) for slot in wanted}}
        )

    def _one(self, request: Request, slot: str, value: Any) -> dict[str, str]:
        try:
            if slot in request.refused:
                busy = request.refused[slot] == LOCKED
                return {"well": "wait" if busy else "no", "why": "somebody is at the desk"}
            if not isinstance(value, dict) or not value.keys() <= {"ch", "mute"}:
                raise Problem(422, "send ch, mute, or both")  # noqa: TRY301  # told like any other
            self._take_out(slot, {**self._out(slot), **value})
        except Problem as problem:
            return {"well": "no", "why": str(problem)}
        return {"well": "yes"}

    def _all_in(self, _request: Request, _slot: str) -> Response:
        slots = self.memory.running.destinations
        return answer(
            200, {"in": [self._in(slot) if slot in slots else None for slot in _upto(slots)]}
        )

    def _in(self, slot: str) -> dict[str, Any]:
        found = self.destination(slot)
        return {"from": _channel(found.number), "text": found.label}

    def _post_in(self, request: Request, slot: str) -> Response:
        now, form = self.destination(slot), _form(request)
        if set(form) != {"from"}:
            raise Problem(422, "send from, and nothing else")
        number = _number(form["from"])
        after = replace(now, number=number, group=derived_group(number))
        self.keep(self.memory.running.with_destination(slot, after))
        return answer(200, self._in(slot))

    def _kept(self, _request: Request, _slot: str) -> Response:
        word_too = self.access.word == self.access.saved
        same = word_too and self.memory.running == self.memory.saved
        return answer(200, {"kept": "yes" if same else "no"})

    def _keep(self, request: Request, _slot: str) -> Response:
        if _form(request) != {"all": "yes"}:
            raise Problem(422, "send all=yes")
        running = self.memory.running
        if NEXT_HOLD in running.kept:  # what it waits with until it is kept
            running = running.with_kept(HOLD, running.kept[NEXT_HOLD])
        self.memory = replace(self.memory, running=running, saved=running)
        self.access.save()
        return Response(204)


def _cookies(request: Request) -> list[str]:
    return request.headers.get("cookie", "").split(";")


def _upto(slots: Mapping[str, object]) -> list[str]:
    """Every place from the first to the last slot, holes included."""
    return [str(place) for place in range(1, max(map(int, slots), default=0) + 1)]


def _channel(number: int) -> str:
    return f"CH-{number:04}" if number else NONE


def _number(value: object) -> int:
    if value == NONE:
        return 0
    digits = text(value, "ch").removeprefix("CH-")
    well = digits.isascii() and digits.isdigit() and 0 < int(digits) <= _TOP
    if not well or value != _channel(int(digits)):
        raise Problem(422, "a channel is CH- and four digits, or none")
    return int(digits)


def _type_of(request: Request) -> str:
    return request.headers.get("content-type", "").partition(";")[0].strip().lower()


def _json(request: Request, kind: str) -> Any:
    if _type_of(request) != kind:
        raise Problem(415, f"send {kind}")
    try:
        return json.loads(request.body)
    except ValueError as error:
        raise Problem(400, "the body is no JSON") from error


def _members(value: Any, wanted: set[str]) -> dict[str, Any]:
    if not isinstance(value, dict) or set(value) != wanted:
        raise Problem(422, f"send {', '.join(sorted(wanted))}, all of them and nothing else")
    return value


def _form(request: Request) -> dict[str, str]:
    if _type_of(request) != FORM:
        raise Problem(415, f"send {FORM}")
    try:
        pairs = parse_qs(request.body.decode("ascii"), strict_parsing=True)
    except ValueError as error:
        raise Problem(400, "the body is no form") from error
    return {name: values[-1] for name, values in pairs.items()}
