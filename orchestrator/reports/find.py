"""The NMOS nodes that were heard of: what is not as planned first.

The JSON document, ``cutsheet/find/1``::

    nodes[]     serial, model, label, id, hosts[], told_by, place, device
    unheard[]   devices of the plan that speak NMOS and of which nobody spoke
    services[]  kind, name, addresses[], port, text
    no_help[]   who announced itself and could not be asked, and why
"""

from collections.abc import Sequence

from orchestrator.facility.discovered import Service
from orchestrator.planning.whereabouts import Place, Whereabout, Whereabouts
from orchestrator.reports.layout import heading, item, table, wrap
from orchestrator.reports.values import Json


def text(found: Whereabouts, services: Sequence[Service] = (), no_help: Sequence[str] = ()) -> str:
    """What was found, for people."""
    lines = wrap(f"{len(found.nodes)} node(s) were heard of. Nothing was written to any device.")
    odd = [*_odd(found), *(line for said in no_help for line in item("no help", said, 2))]
    if odd:
        lines += heading("Not as planned")
        lines += odd
    if found.nodes:
        lines += heading("Nodes")
        rows = [
            (
                one.node.identity.serial,
                one.node.identity.model,
                " ".join(one.node.hosts) or "says nothing",
                one.device or "not there",
            )
            for one in found.nodes
        ]
        lines += table(("serial", "model", "answers at", "in the plan"), rows)
    if services:
        lines += heading("Announced")
        announced = [
            (one.kind, one.name, " ".join(one.addresses), str(one.port), one.text.get("pri", ""))
            for one in services
        ]
        lines += table(("service", "name", "address", "port", "priority"), announced)
    return "\n".join(lines) + "\n"


def _odd(found: Whereabouts) -> list[str]:
    lines = [
        line
        for one in found.nodes
        if one.place is not Place.AS_PLANNED
        for line in item(one.device or one.node.label or one.node.id, _words(one), 2)
    ]
    for name in found.unheard:
        lines += item(name, "in the plan, and nobody spoke of it. No answer is not vacant.", 2)
    return lines


def _words(one: Whereabout) -> str:
    at, who = " and ".join(one.node.hosts) or "no address that it tells", one.node.identity
    match one.place:
        case Place.ELSEWHERE:
            return f"its serial is at {at}, where neither the plan nor a playbook has it."
        case Place.NO_SERIAL:
            return f"{who} stands at its address {at}; write the serial into the plan."
        case Place.ANOTHER_UNIT:
            return f"{who} stands at its address {at}: another unit than the plan's."
        case _:
            return f"{who} at {at} is not in the plan."


def as_json(found: Whereabouts, services: Sequence[Service], no_help: Sequence[str]) -> Json:
    """What was found, as the document that the module describes."""
    return {
        "schema": "cutsheet/find/1",
        "nodes": [
            {
                "serial": one.node.identity.serial,
                "model": one.node.identity.model,
                "label": one.node.label,
                "id": one.node.id,
                "hosts": list(one.node.hosts),
                "told_by": one.node.told_by,
                "place": str(one.place),
                "device": one.device,
            }
            for one in found.nodes
        ],
        "unheard": list(found.unheard),
        "services": [
            {
                "kind": one.kind,
                "name": one.name,
                "addresses": list(one.addresses),
                "port": one.port,
                "text": dict(one.text),
            }
            for one in services
        ],
        "no_help": list(no_help),
    }
