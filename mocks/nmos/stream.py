"""One sender or receiver of a simulated NMOS node: what is staged, and what is active.

Both are kept as the documents that IS-05 shows. What stands in the state common to all makes (the
group, and whether the stream runs) wins over them: a hand that edits the world edits that.
"""

import copy
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from mocks.nmos import params
from mocks.nmos.params import Params
from mocks.state import Destination, Source

IDLE: dict[str, Any] = {"mode": None, "requested_time": None, "activation_time": None}
_GROUP = {"senders": "destination_ip", "receivers": "multicast_ip"}
_PEER = {"senders": "receiver_id", "receivers": "sender_id"}


@dataclass(frozen=True, slots=True)
class Stream:
    """What ``/staged`` and ``/active`` show, and when something last changed (TAI)."""

    kind: str
    staged: dict[str, Any]
    active: dict[str, Any]
    version: str = "0:0"

    @property
    def pending(self) -> bool:
        """Whether an activation is scheduled."""
        return self.staged["activation"]["mode"] is not None

    @property
    def fresh(self) -> bool:
        """Whether it is off and was never activated."""
        return self.active["activation"]["mode"] is None and not self.runs

    def as_kept(self) -> dict[str, Any]:
        """To be kept in a memory, as plain values."""
        return {"staged": self.staged, "active": self.active, "version": self.version}

    @property
    def runs(self) -> bool:
        """Whether anything is sent or received."""
        return _runs(self.active)

    @property
    def group(self) -> str:
        """The group that a sender holds, or that a receiver listens to while it is on."""
        legs = self.active["transport_params"]
        if self.kind == "senders":
            return params.group(legs[0], "destination_ip")
        heard = [params.group(leg, "multicast_ip") for leg in legs if leg["rtp_enabled"]]
        return heard[0] if self.runs and heard else ""

    def as_source(self, before: Source) -> Source:
        """What it is in the state common to all makes: it has no channel number."""
        return replace(before, number=0, group=self.group, enabled=self.runs)

    def as_destination(self, before: Destination) -> Destination:
        """What it is in the state common to all makes."""
        return replace(before, number=0, group=self.group)


def fresh(kind: str, addresses: Sequence[str], vacant: str) -> Stream:
    """A stream as it leaves the factory: off, staged as ``auto``, and that resolved."""
    document: dict[str, Any] = {
        _PEER[kind]: None,
        "master_enable": False,
        "activation": IDLE,
        "transport_params": [params.unset(kind) for _ in addresses],
    }
    if kind == "receivers":
        document["transport_file"] = {"data": None, "type": None}
    legs = params.resolved(document["transport_params"], addresses, vacant)
    return Stream(kind, document, {**copy.deepcopy(document), "transport_params": legs})


def kept(kind: str, held: dict[str, Any]) -> Stream:
    """A stream out of a memory."""
    return Stream(kind, held["staged"], held["active"], held["version"])


def as_world_says(stream: Stream, group: str, addresses: Sequence[str], *, runs: bool) -> Stream:
    """The stream as the state common to all makes has it, in staged and active alike.

    A sender always holds a group: an empty one leaves it what it has.
    """
    receives = stream.kind == "receivers"
    same = stream.group == group or (not group and not receives)
    if same and (stream.runs == runs or receives):
        return stream
    if not group and receives:
        return _both(stream, {"master_enable": False})
    legs = copy.deepcopy(stream.active["transport_params"])
    address, _, port = group.partition(":")
    for leg, own in zip(legs, addresses, strict=True):
        if not same:
            leg |= {_GROUP[stream.kind]: address, "destination_port": int(port)}
        leg["rtp_enabled"] = leg["rtp_enabled"] or (runs and not stream.runs)
        leg.update(params.resolved([leg], [own], address)[0])
    return _both(stream, {"master_enable": runs, "transport_params": legs})


def _both(stream: Stream, changed: dict[str, Any]) -> Stream:
    return replace(stream, staged={**stream.staged, **changed}, active={**stream.active, **changed})


def staged(stream: Stream, body: dict[str, Any], from_file: list[Params]) -> Stream:
    """The stream with a request's members put into what is staged (``activation`` apart)."""
    legs = copy.deepcopy(stream.staged["transport_params"])
    for changes in (from_file, body.get("transport_params", [])):
        for leg, change in zip(legs, changes, strict=False):
            leg.update(change)
    others = {
        name: value
        for name, value in body.items()
        if name not in ("activation", "transport_params")
    }
    document = {**stream.staged, **others, "transport_params": legs, "activation": IDLE}
    return replace(stream, staged=document)


def scheduled(stream: Stream, mode: str, requested: str, due: str) -> Stream:
    """The stream with its activation waiting for its time."""
    waits = {"mode": mode, "requested_time": requested, "activation_time": due}
    return replace(stream, staged={**stream.staged, "activation": waits})


def activated(
    stream: Stream, activation: dict[str, Any], addresses: Sequence[str], vacant: str
) -> Stream:
    """The stream with what was staged in effect."""
    legs = params.resolved(stream.staged["transport_params"], addresses, vacant)
    active = {**copy.deepcopy(stream.staged), "transport_params": legs, "activation": activation}
    idle = {**stream.staged, "activation": IDLE}
    return replace(stream, staged=idle, active=active, version=activation["activation_time"])


def _runs(document: dict[str, Any]) -> bool:
    return bool(document["master_enable"]) and any(
        leg["rtp_enabled"] for leg in document["transport_params"]
    )
