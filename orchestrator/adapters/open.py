"""Opens the way to a device of the plan: the one way that it speaks, or several side by side."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from functools import cache, partial

import httpx

from orchestrator.adapters.doors import SharedDoor, WholeDoor
from orchestrator.adapters.http.dial import check, target_of
from orchestrator.adapters.http.gates import Gates
from orchestrator.adapters.http.messages import Party
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.http.trace import Tell
from orchestrator.adapters.http.transport import Transport
from orchestrator.adapters.mixed import Mixed, Opened
from orchestrator.adapters.rotating import Door
from orchestrator.adapters.shares import traits_of_several
from orchestrator.adapters.trust import Trust
from orchestrator.adapters.way import Opening, Way
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
    opening = _openings(
        plan,
        descriptions,
        secrets,
        connect,
        network=network,
        patience=patience,
        trace=trace,
        plugged=plugged,
        trust=trust,
        open_other=lambda device, address: opener(device, address),  # noqa: PLW0108 - made below
    )

    def opener(device: str, address: str) -> DeviceAdapter:
        spoken, to = opening(device, address)
        return _joined(spoken, to)

    return opener


OpenDoorOf = Callable[[str, str, tuple[Secret, ...]], Door | None]
"""Opens the door of a device at an address; None: its secret can't be changed. Given, too, are the
secrets that no text may show."""


def make_doors(
    plan: Plan,
    descriptions: Mapping[str, Description],
    connect: Mapping[str, str],
    *,
    network: httpx.AsyncBaseTransport | None = None,
    patience: Patience | None = None,
    plugged: Plugged | None = None,
    trust: Trust | None = None,
) -> OpenDoorOf:
    """Make what opens the doors of devices whose secret is to be changed; see ``make_opener``.

    A device has a door if it is signed in to. It is that of the first way that can change the
    secret; where none can, a person does it at the device.

    Raises:
        CallError: ``connect`` is not written right.
    """
    opening = _openings(
        plan,
        descriptions,
        _no_secret,
        connect,
        network=network,
        patience=patience,
        trace=None,
        plugged=plugged,
        trust=trust,
        open_other=_nobody_else,
    )

    def door(device: str, address: str, hide: tuple[Secret, ...]) -> Door | None:
        spoken, to = opening(device, address)
        signing = [way for way in spoken if way.signs_in(to.device)]
        if not signing:
            return None
        hidden = replace(to, hide=hide)
        change = next((way.door for way in signing if way.door is not None), None)
        if change is None:
            return WholeDoor(to.party, partial(_opened_with, spoken, hidden))
        if len(spoken) == 1:
            return change(to, hide)
        return SharedDoor(change(to, hide), partial(_opened_with, spoken, hidden))

    return door


def _opened_with(spoken: Sequence[Way], to: Opening, secret: Secret | None) -> DeviceAdapter:
    """A device signed in to with ``secret``; None: by somebody who has none."""
    if secret is None:
        stranger = replace(to.device, credentials=None)
        without = any(way.signs_in(stranger) for way in spoken)
        to = replace(to, device=to.device if without else stranger)
    held = secret or Secret("", "")
    return _joined(spoken, replace(to, secrets=lambda _: held))


def _joined(spoken: Sequence[Way], to: Opening) -> DeviceAdapter:
    if len(spoken) == 1:
        return spoken[0].open(to)
    return Mixed(to.party, [Opened(way, way.open(to)) for way in spoken])


def _no_secret(name: str) -> Secret:
    raise CallError(f"the secret of {name} is being changed", "wait until that is done")


def _nobody_else(device: str, address: str) -> DeviceAdapter:
    raise CallError(f"{device} at {address} is no party to this", "speak to it by itself")


def _openings(
    plan: Plan,
    descriptions: Mapping[str, Description],
    secrets: Callable[[str], Secret],
    connect: Mapping[str, str],
    *,
    network: httpx.AsyncBaseTransport | None,
    patience: Patience | None,
    trace: Tell | None,
    plugged: Plugged | None,
    trust: Trust | None,
    open_other: OpenAdapter,
) -> Callable[[str, str], tuple[tuple[Way, ...], Opening]]:
    check(connect)
    gates = Gates()
    trusted = trust or Trust()
    secret_of = cache(secrets)
    ways = table(descriptions, plugged)

    def opening(device: str, address: str) -> tuple[tuple[Way, ...], Opening]:
        planned = planned_device(plan, device)
        spoken = ways_of(planned, ways)
        party, dial = Party(device=device, address=address), target_of(connect, address)
        return spoken, Opening(
            plan=plan,
            device=planned,
            party=party,
            make_transport=partial(Transport, party, dial=dial, network=network, trace=trace),
            dial=dial,
            secrets=secret_of,
            judging=partial(trusted.judging, plan, planned),
            open_other=open_other,
            gate=gates.of(device, traits_of_several(spoken).requests_at_once),
            patience=patience,
            beside=len(spoken) > 1,
        )

    return opening


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
