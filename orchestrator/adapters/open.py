"""Opens the way to a device of the plan: the one way that it speaks, or several side by side."""

from collections.abc import Callable, Mapping
from functools import cache, partial

import httpx

from orchestrator.adapters.dial import check, target_of
from orchestrator.adapters.gates import Gates
from orchestrator.adapters.messages import Party
from orchestrator.adapters.mixed import Mixed, Opened
from orchestrator.adapters.retries import Patience
from orchestrator.adapters.shares import traits_of_several
from orchestrator.adapters.trace import Tell
from orchestrator.adapters.transport import Transport
from orchestrator.adapters.trust import Trust
from orchestrator.adapters.way import Opening
from orchestrator.adapters.ways import Plugged, table, ways_of
from orchestrator.errors import CallError
from orchestrator.facility.description import Description
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import DeviceAdapter, OpenAdapter


def make_opener(
    plan: Plan,
    descriptions: Mapping[str, Description],
    secrets: Callable[[str], Secret],
    connect: Mapping[str, str],
    *,
    network: httpx.AsyncBaseTransport | None = None,
    patience: Patience | None = None,
    trace: Tell | None = None,
    plugged: Plugged | None = None,
    trust: Trust | None = None,
) -> OpenAdapter:
    """Make what opens adapters.

    ``secrets`` gives the secret of a credential's name and is asked once for each name.
    ``connect`` maps addresses to ``host:port``, where connections go instead. ``network`` takes
    the place of the real network. ``trace`` is told each request and answer as text, without
    secrets. ``plugged`` are the ways that plug-ins bring, by name. ``trust`` is what certificates
    are judged by; without it, this computer's own trust.

    Raises:
        CallError: ``connect`` is not written right.
    """
    check(connect)
    gates = Gates()
    trusted = trust or Trust()
    secret_of = cache(secrets)
    ways = table(descriptions, plugged)

    def opener(device: str, address: str) -> DeviceAdapter:
        planned = planned_device(plan, device)
        spoken = ways_of(planned, ways)
        party = Party(device=device, address=address)
        to = Opening(
            plan=plan,
            device=planned,
            party=party,
            make_transport=partial(
                Transport, party, dial=target_of(connect, address), network=network, trace=trace
            ),
            secrets=secret_of,
            judging=partial(trusted.judging, plan, planned),
            open_other=opener,
            gate=gates.of(device, traits_of_several(spoken).requests_at_once),
            patience=patience,
            beside=len(spoken) > 1,
        )
        if len(spoken) == 1:
            return spoken[0].open(to)
        return Mixed(party, [Opened(way, way.open(to)) for way in spoken])

    return opener


def traits_of(
    device: Device, descriptions: Mapping[str, Description], plugged: Plugged | None = None
) -> Traits:
    """What ``device`` can do, as far as it is known before the device is spoken to.

    Raises:
        CallError: nothing says how it is spoken to.
    """
    return traits_of_several(ways_of(device, table(descriptions, plugged)))


def in_the_clear(
    plan: Plan, descriptions: Mapping[str, Description], plugged: Plugged | None = None
) -> tuple[str, ...]:
    """The devices whose sign-in goes over plain HTTP, where it can be read on the way."""
    ways = table(descriptions, plugged)
    spoken = {
        name: [ways[each] for each in device.speaks if each in ways]
        for name, device in plan.devices.items()
    }
    return tuple(
        device.name
        for device in plan.devices.values()
        if any(way.signs_in(device) and way.scheme(device) == "http" for way in spoken[device.name])
    )


def planned_device(plan: Plan, device: str) -> Device:
    """The device of the plan.

    Raises:
        CallError: the plan has none of that name.
    """
    if device not in plan.devices:
        raise CallError(f"the plan has no device {device}", "name a device of the plan")
    return plan.devices[device]
