"""The two invented makes as device descriptions, a plan, and a talk without a network."""

import json
from collections.abc import Callable
from typing import Any, TypeVar

from orchestrator.adapters.http.messages import Exchange, Party, Request, Response
from orchestrator.facility.description import Description, Json, Pick, Read, SignIn, WriteRule
from orchestrator.facility.plan import Device, Interface, Plan, PlannedDestination, PlannedSource
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.facility.traits import Effect, Hears, Saves, Traits

PARTY = Party(device="rack-node", address="127.44.3.71")
GROUP = "239.194.1.165:5004"
K = StepKind
T = TypeVar("T")

TAMARISK = Description(
    name="tamarisk-node",
    make="Tamarisk",
    scheme="http",
    port=8080,
    sign_in=SignIn.API_KEY,
    key_header="X-Node-Key",
    timeout_s=2.0,
    reads={
        "identity": Read(
            get="/api/info",
            fields={
                "serial": Pick(at="/id/sn"),
                "model": Pick(at="/id/type"),
                "firmware": Pick(at="/fw"),
            },
        ),
        "interfaces": Read(
            get="/api/ports",
            entries="/ports",
            fields={
                "address": Pick(at="/addr", part="address"),
                "prefix": Pick(at="/addr", part="prefix"),
                "gateway": Pick(at="/gw", unassigned="", has_unassigned=True),
            },
        ),
        "sources": Read(
            get="/api/tx",
            entries="/tx",
            named="input-{key}",
            fields={
                "number": Pick(at="/num", digits=4, unassigned="----", has_unassigned=True),
                "group": Pick(at="/dest", unassigned="", has_unassigned=True),
                "label": Pick(at="/name"),
                "enabled": Pick(at="/state", values={"true": "on", "false": "off"}),
            },
        ),
        "destinations": Read(
            get="/api/rx",
            entries="/rx",
            named="output-{key}",
            fields={
                "hears": Pick(at="/from", unassigned="", has_unassigned=True),
                "label": Pick(at="/name"),
            },
        ),
        "unsaved": Read(get="/api/store", fields={"unsaved": Pick(at="/pending")}),
    },
    settings={
        "ptp_domain": Read(get="/api/clock", fields={"value": Pick(at="/domain")}),
        "ptp_priority": Read(get="/api/clock", fields={"value": Pick(at="/priority")}),
    },
    setting_writes={
        "ptp_domain": WriteRule(method="PUT", path="/api/clock", body={"domain": "{value}"}),
        "ptp_priority": WriteRule(
            method="PUT",
            path="/api/clock",
            body={"domain": "{ptp_domain}", "priority": "{value}"},
        ),
    },
    writes={
        K.DISABLE: WriteRule(method="PUT", path="/api/tx/{key}", body={"state": "{enabled}"}),
        K.ENABLE: WriteRule(method="PUT", path="/api/tx/{key}", body={"state": "{enabled}"}),
        K.RENUMBER: WriteRule(
            method="PUT", path="/api/tx/{key}", body={"num": "{number}", "dest": "{group}"}
        ),
        "set_label": WriteRule(method="PUT", path="/api/tx/{key}", body={"name": "{label}"}),
        K.REPOINT: WriteRule(method="PUT", path="/api/rx/{key}", body={"from": "{hears}"}),
        K.SAVE: WriteRule(method="POST", path="/api/store"),
        K.READDRESS: WriteRule(
            method="PUT",
            path="/api/ports/{key}",
            body={"addr": "{address}/{prefix}", "gw": "{gateway}"},
            repeatable=False,
        ),
    },
    traits=Traits(
        can=frozenset(K),
        saves=Saves.ON_SAVE,
        hears=Hears.GROUP,
        effects={"ptp_domain": Effect.PLANT_WIDE},
    ),
)

CORVID = Description(
    name="corvid-engine",
    make="Corvid",
    scheme="http",
    port=8080,
    sign_in=SignIn.BASIC,
    timeout_s=2.0,
    reads={
        "identity": Read(
            get="/unit",
            fields={
                "serial": Pick(at="/serial"),
                "model": Pick(at="/product"),
                "firmware": Pick(at="/release"),
            },
        ),
        "interfaces": Read(
            get="/lan",
            fields={
                "address": Pick(at="/lan/ip"),
                "prefix": Pick(at="/lan/prefix"),
                "gateway": Pick(at="/lan/router", unassigned=None, has_unassigned=True),
            },
        ),
        "sources": Read(
            get="/streams",
            entries="/streams",
            key="/slot",
            fields={
                "number": Pick(at="/channel", unassigned=0, has_unassigned=True),
                "group": Pick(at="/dest", unassigned="", has_unassigned=True),
                "label": Pick(at="/title"),
                "enabled": Pick(at="/sending"),
            },
        ),
        "destinations": Read(
            get="/inputs",
            entries="/inputs",
            key="/slot",
            fields={
                "hears": Pick(at="/channel", unassigned=0, has_unassigned=True),
                "label": Pick(at="/title"),
            },
        ),
    },
    settings={"ptp_domain": Read(get="/clock", fields={"value": Pick(at="/domain")})},
    writes={
        K.DISABLE: WriteRule(method="PATCH", path="/streams/{key}", body={"sending": "{enabled}"}),
        K.ENABLE: WriteRule(method="PATCH", path="/streams/{key}", body={"sending": "{enabled}"}),
        K.RENUMBER: WriteRule(method="PATCH", path="/streams/{key}", body={"channel": "{number}"}),
        K.REPOINT: WriteRule(method="PATCH", path="/inputs/{key}", body={"channel": "{hears}"}),
        K.READDRESS: WriteRule(
            method="PUT",
            path="/lan",
            body={"ip": "{address}", "prefix": "{prefix}", "router": "{gateway}"},
        ),
    },
    traits=Traits(can=frozenset(K), hears=Hears.NUMBER),
)

DEVICE = {
    "/api/info": {"id": {"sn": "TM-118", "type": "TN-8"}, "fw": "2.7"},
    "/api/ports": {"ports": {"main": {"addr": "127.44.3.71/24", "gw": ""}}},
    "/api/tx": {
        "tx": {
            "1": {"num": "0421", "dest": GROUP, "name": "MIC-1", "state": "on"},
            "2": {"num": "----", "dest": "", "name": "", "state": "off"},
        }
    },
    "/api/rx": {"rx": {"1": {"from": GROUP, "name": "MON"}, "2": {"from": "", "name": ""}}},
    "/api/store": {"pending": True},
    "/api/clock": {"domain": 0, "priority": 128},
}
"""What a Tamarisk node answers, by path."""


def answered(value: Json, status: int = 200) -> Response:
    """A whole answer in JSON."""
    return Response(status=status, body=json.dumps(value).encode())


def played(talk: Exchange[T], answer: Callable[[Request], Response]) -> tuple[T, list[Request]]:
    """Play a talk to its end with ``next`` and ``send``; gives its result and its requests."""
    asked: list[Request] = []
    try:
        request = next(talk)
        while True:
            asked.append(request)
            request = talk.send(answer(request))
    except StopIteration as end:
        return end.value, asked


def by_path(request: Request) -> Response:
    """Answer as :data:`DEVICE` says; a write is answered with nothing."""
    return answered(DEVICE[request.path]) if request.reads else Response(status=204)


def a_step(kind: StepKind, wanted: Any = None, **more: Any) -> Step:
    """A step on the node."""
    return Step(
        id="s1",
        kind=kind,
        device="rack-node",
        at=PARTY.address,
        as_found=None,
        wanted=wanted,
        **more,
    )


def renumber(number: int | None, group: str | None, source: str = "input-1") -> Step:
    """A step that renumbers a source."""
    return a_step(K.RENUMBER, Assigned(number, (group,)), source=source)


def repoint(number: int | None = None, group: str | None = None) -> Step:
    """A step that points the first destination."""
    return a_step(K.REPOINT, Hearing(number, group), destination="output-1")


def readdress(gateway: str | None) -> Step:
    """A step that readdresses the one interface."""
    return a_step(K.READDRESS, AddressValue("main", "127.44.3.72", 25, gateway))


def a_plan(speaks: tuple[str, ...] = ("tamarisk-node",), credentials: str | None = "nodes") -> Plan:
    """A plan with the node, whose first input it calls ``mic``."""
    device = Device(
        name="rack-node",
        room="rack",
        interfaces=(Interface("main", "media", PARTY.address),),
        speaks=speaks,
        credentials=credentials,
        sources={"mic": PlannedSource(name="mic", slot="input-1")},
        destinations={"output-1": PlannedDestination(name="output-1")},
    )
    return Plan(facility="Tern Point Radio", networks={}, rooms={}, devices={"rack-node": device})
