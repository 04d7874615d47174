"""The Corvid CE-40 audio engine, an invented make: HTTP Basic, every change kept at once.

It knows streams by channel (a number) and derives each group from it; a channel can't be changed
while its stream is sending. An address takes effect some time after it was accepted.
"""

import base64
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from mocks.device import Device, Route, lan_of, members, text, whole
from mocks.messages import Later, Problem, Request, Response, answer
from mocks.state import PORT, TOP_NUMBER, Destination, derived_group


class Corvid(Device):
    """A simulated CE-40."""

    make = "corvid"
    keeps_at_once = True
    listens_by = "number"

    def signed_in(self, request: Request) -> bool:
        """HTTP Basic (RFC 7617) with the unit's user and secret."""
        pair = f"{self.unit.user}:{self.access.word}".encode()
        wanted = f"Basic {base64.b64encode(pair).decode()}"
        return self.access.tried(request.headers.get("authorization", ""), wanted)

    def refusal(self) -> Response:
        """401, with the challenge that RFC 9110, 15.5.2 asks for."""
        challenge = ("www-authenticate", 'Basic realm="CE-40", charset="UTF-8"')
        return answer(401, {"problem": "sign in"}, (challenge,))

    def paths(self) -> Mapping[tuple[str, ...], Mapping[str, Route]]:
        """The CE-40's paths."""
        return {
            ("unit",): {"GET": self._unit},
            ("lan",): {"GET": self._lan, "PUT": self._readdress},
            ("clock",): {"GET": self.get_clock, "PUT": self.put_clock},
            ("access",): {"PUT": self._put_access},
            ("streams",): {"GET": self._streams},
            ("inputs",): {"GET": self._inputs},
        }

    def slot_paths(self) -> Mapping[tuple[str, ...], Mapping[str, Route]]:
        """One stream, one input."""
        return {
            ("streams",): {"PATCH": self._patch_stream},
            ("inputs",): {"PATCH": self._patch_input},
        }

    def _unit(self, request: Request, _slot: str) -> Response:
        unit = self.unit
        return answer(
            200,
            {
                "serial": self.shown_serial,
                "product": unit.model,
                "release": unit.firmware,
                "uptime_s": self.uptime_s(request),
            },
        )

    def _lan(self, _request: Request, _slot: str) -> Response:
        lan = self.memory.running.lan
        body = {"ip": lan.address, "prefix": lan.prefix, "router": lan.gateway}
        return answer(200, {"lan": body})

    def _readdress(self, request: Request, _slot: str) -> Response:
        body = members(request, {"ip", "prefix", "router"})
        act = self.accept(lan_of(body.get("ip"), body.get("prefix"), body.get("router")))
        settle = self.unit.settle_s
        return answer(202, {"takes_effect_in_s": settle}, later=(Later(settle, act),))

    def _put_access(self, request: Request, _slot: str) -> Response:
        body = members(request, {"was", "word"})
        self.access.change(body.get("was"), body.get("word"), saved=True)
        return answer(200, {"changed": True})

    def _streams(self, _request: Request, _slot: str) -> Response:
        return answer(
            200, {"streams": [self._stream(slot) for slot in self.memory.running.sources]}
        )

    def _stream(self, slot: str) -> dict[str, Any]:
        source = self.source(slot)
        return {
            "slot": slot,
            "channel": source.number,
            "multicast": source.group.partition(":")[0],
            "udp": PORT,
            "dest": source.group,
            "title": source.label,
            "sending": source.enabled,
        }

    def _patch_stream(self, request: Request, slot: str) -> Response:
        now = self.source(slot)
        body = members(request, {"channel", "title", "sending"})
        channel = whole(body.get("channel", now.number), "channel", TOP_NUMBER)
        title = text(body.get("title", now.label), "title")
        sending = body.get("sending", now.enabled)
        if not isinstance(sending, bool):
            raise Problem(422, "sending must be true or false")
        if channel != now.number and now.enabled:
            raise Problem(409, "stream is sending")
        if sending and not channel:
            raise Problem(409, "stream has no channel")
        after = replace(
            now, number=channel, group=derived_group(channel), label=title, enabled=sending
        )
        self.keep(self.memory.running.with_source(slot, after))
        return answer(200, self._stream(slot))

    def _inputs(self, _request: Request, _slot: str) -> Response:
        return answer(
            200, {"inputs": [self._input(slot) for slot in self.memory.running.destinations]}
        )

    def _input(self, slot: str) -> dict[str, Any]:
        found = self.destination(slot)
        return {"slot": slot, "channel": found.number, "title": found.label}

    def _patch_input(self, request: Request, slot: str) -> Response:
        now = self.destination(slot)
        body = members(request, {"channel", "title"})
        channel = whole(body.get("channel", now.number), "channel", TOP_NUMBER)
        title = text(body.get("title", now.label), "title")
        after = Destination(channel, derived_group(channel), title)
        self.keep(self.memory.running.with_destination(slot, after))
        return answer(200, self._input(slot))
