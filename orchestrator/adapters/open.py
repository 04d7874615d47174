"""Opens the way to a device of the plan, by the device description that the plan names."""

from collections.abc import Callable, Mapping
from functools import cache, partial

import httpx

from orchestrator.adapters.declared import Declared
from orchestrator.adapters.dial import check, target_of
from orchestrator.adapters.gates import Gates
from orchestrator.adapters.messages import Party
from orchestrator.adapters.nmos import TRAITS, Nmos
from orchestrator.adapters.nmos_chart import chart_of
from orchestrator.adapters.nmos_node import PLAIN_PORT
from orchestrator.adapters.rest_device import RestDevice
from orchestrator.adapters.retries import Patience
from orchestrator.adapters.sign_in import sign_in
from orchestrator.adapters.trace import Tell
from orchestrator.adapters.transport import Transport
from orchestrator.errors import CallError, NoSecret
from orchestrator.facility.description import Description, SignIn
from orchestrator.facility.plan import Device, Plan, PlannedDestination, PlannedSource
from orchestrator.facility.secret import Secret
from orchestrator.facility.traits import Traits
from orchestrator.running.protocols import OpenAdapter

NOBODY = Secret("", "")
NMOS = "nmos"
NMOS_TIMEOUT_S = 5.0


def make_opener(
    plan: Plan,
    descriptions: Mapping[str, Description],
    secrets: Callable[[str], Secret],
    connect: Mapping[str, str],
    *,
    network: httpx.AsyncBaseTransport | None = None,
    patience: Patience | None = None,
    trace: Tell | None = None,
) -> OpenAdapter:
    """Make what opens adapters.

    ``secrets`` gives the secret of a credential's name and is asked once for each name.
    ``connect`` maps addresses to ``host:port``, where connections go instead. ``network`` takes
    the place of the real network. ``trace`` is told each request and answer as text, without
    secrets.

    Raises:
        CallError: ``connect`` is not written right.
    """
    check(connect)
    gates = Gates()
    secret_of = cache(secrets)

    def opener(device: str, address: str) -> RestDevice:
        planned = planned_device(plan, device)
        party = Party(device=device, address=address)
        dial = target_of(connect, address)
        way = partial(Transport, party, dial=dial, network=network, trace=trace)
        if _speaks_nmos(planned, descriptions):
            gate = gates.of(device, TRAITS.requests_at_once)
            to_api = way(f"http://{address}:{planned.port or PLAIN_PORT}", timeout_s=NMOS_TIMEOUT_S)
            nmos = Nmos(party, chart_of(plan, planned))
            return RestDevice(nmos, to_api, patience=patience, gate=gate)
        description = description_of(planned, descriptions)
        secret = _secret(planned, description, secret_of)
        name = planned.credentials or ""
        transport = way(
            f"{description.scheme}://{address}:{description.port}",
            timeout_s=description.timeout_s,
            auth=sign_in(
                description.sign_in, secret, name, description.key_header, description.session
            ),
            secret=secret,
        )
        dialect = Declared(
            description,
            party,
            sources=_slots(planned.sources),
            destinations=_slots(planned.destinations),
            number_of=_number_of(plan, planned, address),
        )
        gate = gates.of(device, description.traits.requests_at_once)
        return RestDevice(dialect, transport, patience=patience, gate=gate)

    return opener


def traits_of(device: Device, descriptions: Mapping[str, Description]) -> Traits:
    """What ``device`` can do, as far as it is known before the device is spoken to.

    Raises:
        CallError: nothing says how it is spoken to.
    """
    if _speaks_nmos(device, descriptions):
        return TRAITS
    return description_of(device, descriptions).traits


def _speaks_nmos(device: Device, descriptions: Mapping[str, Description]) -> bool:
    """Whether NMOS is the first way of ``device`` that there is; a description of the name wins."""
    ways = (name for name in device.speaks if name == NMOS or name in descriptions)
    return next(ways, None) == NMOS and NMOS not in descriptions


def _number_of(plan: Plan, device: Device, address: str) -> Callable[[str], int | None] | None:
    """The plan's rule from group to number, where the device stands; on a bench, where it will."""
    for place in (address, device.address):
        network = plan.network_of(place)
        if network is not None and network.numbering is not None:
            return network.numbering.number_of
    return None


def planned_device(plan: Plan, device: str) -> Device:
    """The device of the plan.

    Raises:
        CallError: the plan has none of that name.
    """
    if device not in plan.devices:
        raise CallError(f"the plan has no device {device}", "name a device of the plan")
    return plan.devices[device]


def description_of(device: Device, descriptions: Mapping[str, Description]) -> Description:
    """The first of the device descriptions that ``device`` speaks by.

    Raises:
        CallError: there is none.
    """
    for name in device.speaks:
        if name in descriptions:
            return descriptions[name]
    if not device.speaks:
        raise CallError(
            f"{device.name} is not spoken to: the plan does not say how",
            f"give {device.name} a 'speaks:' in plan.yaml",
        )
    raise CallError(
        f"{device.name} speaks {' or '.join(device.speaks)}, which nothing describes",
        f"put a device description named {device.speaks[0]} into the folder devices",
    )


def _secret(device: Device, description: Description, secrets: Callable[[str], Secret]) -> Secret:
    if description.sign_in is SignIn.NONE:
        return NOBODY
    if device.credentials is None:
        raise NoSecret(
            f"{device.name} wants a sign-in ({description.sign_in}), and the plan names no "
            "credentials for it",
            f"give {device.name} a 'credentials:' in plan.yaml, and set the secret with "
            "'cutsheet credential add'",
        )
    return secrets(device.credentials)


def _slots(
    planned: Mapping[str, PlannedSource] | Mapping[str, PlannedDestination],
) -> dict[str, str]:
    return {name: held.slot for name, held in planned.items() if held.slot is not None}
