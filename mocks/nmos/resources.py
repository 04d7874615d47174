"""What a simulated NMOS node shows of itself in the Node API (AMWA IS-04 v1.3), as plain values.

Its identity stands in the tags of BCP-002-02. Ids are made from the serial, so that they last.
"""

import uuid
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from mocks.nmos.habits import Habit
from mocks.nmos.stream import Stream

MAKER = "Sallow"
NODE_API, CONNECTION_API = "/x-nmos/node/v1.3/", "/x-nmos/connection/v1.1/"
CONFIGURATION_API = "/x-nmos/configuration/v1.0/"
INTERFACES = ("eth0", "eth1")
_TAG = "urn:x-nmos:tag:asset:"
_NAMESPACE = uuid.UUID("6f1d2a0c-5f5e-5d0b-9a55-2f6b3c1e7a44")

Resource = dict[str, Any]


@dataclass(frozen=True, slots=True)
class Node:
    """What all resources need: who the node is, where it answers, and its streams by slot.

    ``labels`` are those of the streams, by kind and slot. ``version`` is the latest change (TAI).
    """

    name: str
    model: str
    serial: str
    host: str
    port: int
    legs: int
    streams: Mapping[str, Mapping[str, Stream]]
    labels: Mapping[str, Mapping[str, str]]
    configurable: bool = False
    habits: frozenset[Habit] = frozenset()
    scheme: str = "http"

    def id_of(self, kind: str, slot: str = "") -> str:
        """The id of a resource."""
        return str(uuid.uuid5(_NAMESPACE, f"{self.serial}/{kind}/{slot}"))

    def slot_of(self, kind: str, own_id: str) -> str | None:
        """The slot of a sender or receiver by its id; None if there is none."""
        found = (slot for slot in self.streams[kind] if self.id_of(kind, slot) == own_id)
        return next(found, None)

    def mac(self, leg: int) -> str:
        """The hardware address of a leg's interface: a local one, made from the serial."""
        made = uuid.uuid5(_NAMESPACE, f"{self.serial}/mac/{leg}").hex
        return "-".join(["02", *(made[at : at + 2] for at in range(0, 10, 2))])

    def url(self, path: str) -> str:
        """A URL on the node."""
        return f"{self.scheme}://{self.host}:{self.port}{path}"

    def resources(self, kind: str) -> list[Resource]:
        """All resources of a kind: ``self`` (one), devices, sources, flows, senders, receivers."""
        found = self._resources(kind)
        return found[::-1] if Habit.UNSORTED in self.habits else found

    def _resources(self, kind: str) -> list[Resource]:
        if kind == "self":
            return [self._node()]
        if kind == "devices":
            return [self._device()]
        makers = {"sources": self._source, "flows": self._flow, "senders": self._sender}
        if kind == "receivers":
            return [self._receiver(slot) for slot in self.streams[kind]]
        return [makers[kind](slot) for slot in self.streams["senders"]]

    def _core(self, kind: str, slot: str, label: str, version: str) -> Resource:
        return {
            "id": self.id_of(kind, slot),
            "version": version,
            "label": label,
            "description": "",
            "tags": {},
        }

    def _newest(self) -> str:
        every = [stream.version for kind in self.streams.values() for stream in kind.values()]
        return max(every, key=_instant, default="0:0")

    def _tags(self) -> dict[str, list[str]]:
        return {
            f"{_TAG}manufacturer/v1.0": [MAKER],
            f"{_TAG}product/v1.0": [self.model],
            f"{_TAG}instance-id/v1.0": [self.serial],
        }

    def _node(self) -> Resource:
        endpoint = {"host": self.host, "port": self.port, "protocol": self.scheme}
        return {
            **self._core("node", "", self.name, self._newest()),
            "tags": self._tags(),
            "href": self.url("/"),
            "caps": {},
            "api": {"versions": ["v1.3"], "endpoints": [endpoint]},
            "services": [],
            "clocks": [{"name": "clk0", "ref_type": "internal"}],
            "interfaces": [
                {"name": name, "chassis_id": None, "port_id": self.mac(leg)}
                for leg, name in enumerate(INTERFACES[: self.legs])
            ],
        }

    def _device(self) -> Resource:
        control = {
            "type": "urn:x-nmos:control:sr-ctrl/v1.1",
            "href": self.url(CONNECTION_API),
        }
        configuration = {
            "type": "urn:x-nmos:control:configuration/v1.0",
            "href": self.url(CONFIGURATION_API),
        }
        return {
            **self._core("device", "", self.name, self._newest()),
            "tags": {**self._tags(), f"{_TAG}function/v1.0": ["Audio I/O"]},
            "type": "urn:x-nmos:device:generic",
            "node_id": self.id_of("node"),
            "senders": [self.id_of("senders", slot) for slot in self.streams["senders"]],
            "receivers": [self.id_of("receivers", slot) for slot in self.streams["receivers"]],
            "controls": [control, *([configuration] if self.configurable else [])],
        }

    def _source(self, slot: str) -> Resource:
        return {
            **self._core("sources", slot, self.labels["senders"][slot], "0:0"),
            "caps": {},
            "device_id": self.id_of("device"),
            "parents": [],
            "clock_name": "clk0",
            "format": "urn:x-nmos:format:audio",
            "channels": [{"label": "Left", "symbol": "L"}, {"label": "Right", "symbol": "R"}],
        }

    def _flow(self, slot: str) -> Resource:
        return {
            **self._core("flows", slot, self.labels["senders"][slot], "0:0"),
            "source_id": self.id_of("sources", slot),
            "device_id": self.id_of("device"),
            "parents": [],
            "format": "urn:x-nmos:format:audio",
            "sample_rate": {"numerator": 48000},
            "media_type": "audio/L24",
            "bit_depth": 24,
        }

    def _sender(self, slot: str) -> Resource:
        stream = self.streams["senders"][slot]
        manifest = f"{CONNECTION_API}single/senders/{self.id_of('senders', slot)}/transportfile"
        return {
            **self._core("senders", slot, self.labels["senders"][slot], stream.version),
            "caps": {},
            "flow_id": self.id_of("flows", slot),
            "transport": "urn:x-nmos:transport:rtp.mcast",
            "device_id": self.id_of("device"),
            "manifest_href": self.url(manifest),
            "interface_bindings": list(INTERFACES[: self.legs]),
            "subscription": {
                "receiver_id": stream.active["receiver_id"] if stream.runs else None,
                "active": stream.active["master_enable"],
            },
        }

    def _receiver(self, slot: str) -> Resource:
        stream = self.streams["receivers"][slot]
        return {
            **self._core("receivers", slot, self.labels["receivers"][slot], stream.version),
            "format": "urn:x-nmos:format:audio",
            "caps": {"media_types": ["audio/L24"]},
            "device_id": self.id_of("device"),
            "transport": "urn:x-nmos:transport:rtp.mcast",
            "interface_bindings": list(INTERFACES[: self.legs]),
            "subscription": {
                "sender_id": stream.active["sender_id"] if stream.runs else None,
                "active": stream.active["master_enable"],
            },
        }


def _instant(version: str) -> tuple[int, int]:
    seconds, _, rest = version.partition(":")
    return int(seconds), int(rest)
