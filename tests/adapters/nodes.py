"""An NMOS node as data, answered without a network; and the simulated one, asked in memory."""

import copy
import json
from collections.abc import Mapping
from typing import Any

from mocks.messages import Request as MockRequest
from mocks.nmos.node import Nmos as MockNode
from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.adapters.nmos.chart import Chart
from orchestrator.facility.numbering import Numbering
from orchestrator.facility.step import Assigned, Hearing, Step, StepKind, StepValue
from tests.planning.scenes import NUMBERING

ADDRESS = "127.44.3.41"
PARTY = Party(device="rack-node", address=ADDRESS)
GROUP, OTHER = "239.194.1.155:5004", "239.194.1.200:5004"
RULE: Numbering = NUMBERING
CHART = Chart(number_of=RULE.number_of_legs, prefix_of=lambda _: 24, addresses=(ADDRESS,))
NODE_API = "/x-nmos/node/v1.3"
CONTROL = "urn:x-nmos:control:sr-ctrl/v1.1"
DEVICE = "58f6b536-ca4c-43fd-880a-9df2af5d5d94"
SENDERS = ("d7aa5a30-681d-4e72-92fb-f0ba0f6f4c3e", "11111111-681d-4e72-92fb-f0ba0f6f4c3e")
RECEIVER = "1eb53d65-ac83-441c-86f6-9b27df30ef0c"
BASE = "/x-nmos/connection/v1.1"
IDLE: dict[str, Any] = {"mode": None, "requested_time": None, "activation_time": None}


def leg(address: str = "239.194.1.155", port: Any = 5004, **more: Any) -> dict[str, Any]:
    """One leg of a sender."""
    return {
        "source_ip": ADDRESS,
        "destination_ip": address,
        "source_port": 5004,
        "destination_port": port,
        "rtp_enabled": True,
        **more,
    }


def ear(address: str | None = "239.194.1.155", port: Any = 5004, **more: Any) -> dict[str, Any]:
    """One leg of a receiver."""
    return {
        "source_ip": None,
        "multicast_ip": address,
        "interface_ip": ADDRESS,
        "destination_port": port,
        "rtp_enabled": True,
        **more,
    }


def sending(*legs: dict[str, Any], on: bool = True) -> dict[str, Any]:
    """What a sender's ``/active`` or ``/staged`` says."""
    return {
        "receiver_id": None,
        "master_enable": on,
        "activation": IDLE,
        "transport_params": list(legs or (leg(),)),
    }


def hearing(*legs: dict[str, Any], on: bool = True) -> dict[str, Any]:
    """What a receiver's ``/active`` or ``/staged`` says."""
    return {
        "sender_id": None,
        "master_enable": on,
        "activation": IDLE,
        "transport_file": {"data": None, "type": None},
        "transport_params": list(legs or (ear(),)),
    }


def stream(own: str, label: str, **more: Any) -> dict[str, Any]:
    """A sender or receiver in its list."""
    return {
        "id": own,
        "label": label,
        "transport": "urn:x-nmos:transport:rtp.mcast",
        "device_id": DEVICE,
        "interface_bindings": ["eth0"],
        **more,
    }


def answers() -> dict[str, Any]:
    """What a node answers, by path: two senders, one receiver, one leg."""
    senders, receivers = f"{BASE}/single/senders", f"{BASE}/single/receivers"
    control = {"type": CONTROL, "href": f"http://{ADDRESS}:8088{BASE}/"}
    found: dict[str, Any] = {
        f"{NODE_API}/self": {
            "id": "3b8be755-08ff-452b-b217-c9151eb21193",
            "label": "Rack node",
            "tags": {
                "urn:x-nmos:tag:asset:product/v1.0": ["SN-2"],
                "urn:x-nmos:tag:asset:instance-id/v1.0": ["SW-7"],
            },
            "api": {"versions": ["v1.3"], "endpoints": [{"host": ADDRESS, "port": 80}]},
            "interfaces": [{"name": "eth0"}],
        },
        f"{NODE_API}/devices": [{"id": DEVICE, "controls": [control]}],
        f"{NODE_API}/senders": [stream(SENDERS[0], "PGM"), stream(SENDERS[1], "Spare")],
        f"{NODE_API}/receivers": [stream(RECEIVER, "MON")],
    }
    for own, state in ((SENDERS[0], sending()), (SENDERS[1], sending(leg("auto"), on=False))):
        for what in ("active", "staged"):
            found[f"{senders}/{own}/{what}"] = copy.deepcopy(state)
        found[f"{senders}/{own}/constraints"] = [{}]
    for what in ("active", "staged"):
        found[f"{receivers}/{RECEIVER}/{what}"] = hearing()
    found[f"{receivers}/{RECEIVER}/constraints"] = [{}]
    return found


def answer_by(held: Mapping[str, Any]) -> Any:
    """Answer as ``held`` says; a write is answered with nothing."""

    def answer(request: Request) -> Response:
        if not request.reads:
            return Response(status=200, body=b"{}")
        return Response(status=200, body=json.dumps(held[request.path]).encode())

    return answer


def answer_of(node: MockNode) -> Any:
    """Answer as the simulated node does."""

    def answer(request: Request) -> Response:
        body = b"" if request.body is None else json.dumps(request.body).encode()
        headers = {"host": f"{ADDRESS}:{request.port or 80}", "content-type": request.content_type}
        found = node.handle(MockRequest(request.method, request.path, headers, body))
        assert found.status < 300 or found.status in request.also_fine, found.body
        return Response(status=found.status, headers=dict(found.headers), body=found.body)

    return answer


def step(kind: StepKind, wanted: StepValue = None, **more: Any) -> Step:
    """A step on the node."""
    return Step(
        id="s1", kind=kind, device=PARTY.device, at=ADDRESS, as_found=None, wanted=wanted, **more
    )


def disable(source: str = "PGM") -> Step:
    """A step that switches a sender off."""
    return step(StepKind.DISABLE, False, source=source)


def enable(source: str = "PGM") -> Step:
    """A step that switches a sender on."""
    return step(StepKind.ENABLE, True, source=source)


def renumber(number: int | None, *groups: str | None, source: str = "PGM") -> Step:
    """A step that moves a sender."""
    return step(StepKind.RENUMBER, Assigned(number, groups), source=source)


def repoint(group: str | None, destination: str = "MON") -> Step:
    """A step that points a receiver."""
    return step(StepKind.REPOINT, Hearing(group=group), destination=destination)
