"""The table of ways: everything that ``speaks:`` in a plan can name, and how each is opened.

A device description of a name goes before a plug-in of that name, and both before what is built in,
so that a facility's own folder has the last word.
"""

from collections.abc import Callable, Mapping
from functools import partial

from orchestrator.adapters.declared.dialect import Declared
from orchestrator.adapters.declared.door import DescribedDoor
from orchestrator.adapters.http.sign_in import sign_in
from orchestrator.adapters.nmos.chart import chart_of
from orchestrator.adapters.nmos.device import NmosDevice
from orchestrator.adapters.nmos.dialect import TRAITS as NMOS_TRAITS
from orchestrator.adapters.nmos.dialect import Nmos
from orchestrator.adapters.nmos.node import HTTPS, PORTS
from orchestrator.adapters.restconf.dialect import TRAITS as RESTCONF_TRAITS
from orchestrator.adapters.restconf.dialect import Restconf
from orchestrator.adapters.way import OpenDoor, Opening, Way
from orchestrator.errors import CallError
from orchestrator.facility.description import Description, SignIn
from orchestrator.facility.plan import Device, Plan, PlannedDestination, PlannedSource
from orchestrator.facility.secret import Secret
from orchestrator.running.protocols import DeviceAdapter, Part

NMOS, RESTCONF = "nmos", "restconf"
RESTCONF_TIMEOUT_S = 5.0
NOBODY = Secret("", "")

Plugged = Mapping[str, Way]


def table(
    descriptions: Mapping[str, Description], plugged: Plugged | None = None
) -> dict[str, Way]:
    """All ways by name. ``plugged`` are those that plug-ins bring."""
    described = {name: described_way(name, each) for name, each in descriptions.items()}
    return {**BUILT_IN, **(plugged or {}), **described}


def ways_of(device: Device, ways: Mapping[str, Way]) -> tuple[Way, ...]:
    """The ways in which ``device`` is spoken to, in the plan's order; unknown names are left out.

    Raises:
        CallError: there is none.
    """
    found = tuple(ways[name] for name in dict.fromkeys(device.speaks) if name in ways)
    if found:
        return found
    if not device.speaks:
        raise CallError(
            f"{device.name} is not spoken to: the plan does not say how",
            f"give {device.name} a 'speaks:' in plan.yaml",
        )
    raise CallError(
        f"{device.name} speaks {' or '.join(device.speaks)}, which nothing describes",
        f"put a device description named {device.speaks[0]} into the folder devices",
    )


def described_way(name: str, description: Description) -> Way:
    """The way that a device description is."""
    return Way(
        name=name,
        traits=description.traits,
        port=lambda _: description.port,
        open=partial(_open_described, description),
        reads=frozenset(_told(description)),
        scheme=lambda _: description.scheme,
        signs_in=lambda _: description.sign_in is not SignIn.NONE,
        tls=description.tls,
        door=_door_of(description),
    )


def _door_of(description: Description) -> OpenDoor | None:
    change = description.change_secret
    if change is None:
        return None
    opened = partial(_open_described, description)
    return lambda to, hide: DescribedDoor(description, change, opened, to, hide)


def _told(description: Description) -> list[Part]:
    held = {*description.reads, *([Part.SETTINGS] if description.settings else [])}
    return [part for part in Part if part in held]


def _open_described(description: Description, to: Opening) -> DeviceAdapter:
    signed = description.sign_in is not SignIn.NONE
    secret = to.secret(description.sign_in) if signed else NOBODY
    name = to.device.credentials or ""
    transport = to.transport(
        description.scheme,
        description.port,
        timeout_s=description.timeout_s,
        auth=sign_in(
            description.sign_in, secret, name, description.key_header, description.session
        ),
        secret=secret,
        tls=description.tls,
    )
    dialect = Declared(
        description,
        to.party,
        sources=_slots(to.device.sources),
        destinations=_slots(to.device.destinations),
        number_of=_number_of(to.plan, to.device, to.party.address),
    )
    return to.join(dialect, transport)


def _number_of(plan: Plan, device: Device, address: str) -> Callable[[str], int | None] | None:
    """The plan's rule from group to number, where the device stands; on a bench, where it will."""
    for place in (address, device.address):
        network = plan.network_of(place)
        if network is not None and network.numbering is not None:
            return network.numbering.number_of
    return None


def _slots(
    planned: Mapping[str, PlannedSource] | Mapping[str, PlannedDestination],
) -> dict[str, str]:
    return {name: held.slot for name, held in planned.items() if held.slot is not None}


def _nmos_port(device: Device) -> int:
    return device.port or PORTS[device.scheme]


def _open_nmos(to: Opening) -> DeviceAdapter:
    device = to.device
    name = to.judging(None)["tls_name"] if device.scheme == HTTPS else None
    dialect = Nmos(to.party, chart_of(to.plan, device), scheme=device.scheme, name=name)
    return NmosDevice(to, dialect, _nmos_port(to.device))


def _restconf_port(device: Device) -> int:
    usual = {"http": 80, "https": 443}[device.restconf.scheme]
    return device.restconf.port or usual


def _open_restconf(to: Opening) -> DeviceAdapter:
    """Basic where the credential has a user, else bearer (RFC 8040, 2.5); none without one."""
    kind, secret, name = SignIn.NONE, NOBODY, to.device.credentials or ""
    if to.device.credentials is not None:
        secret = to.secret(SignIn.BASIC)
        kind = SignIn.BASIC if secret.user else SignIn.BEARER
    transport = to.transport(
        to.device.restconf.scheme,
        _restconf_port(to.device),
        timeout_s=RESTCONF_TIMEOUT_S,
        auth=sign_in(kind, secret, name, ""),
        secret=secret,
    )
    return to.join(Restconf(to.party, to.device.interfaces, alone=not to.beside), transport)


BUILT_IN: Mapping[str, Way] = {
    NMOS: Way(
        name=NMOS,
        traits=NMOS_TRAITS,
        port=_nmos_port,
        open=_open_nmos,
        reads=frozenset({Part.INTERFACES, Part.SOURCES, Part.DESTINATIONS}),
        scheme=lambda device: device.scheme,
    ),
    RESTCONF: Way(
        name=RESTCONF,
        traits=RESTCONF_TRAITS,
        port=_restconf_port,
        open=_open_restconf,
        reads=frozenset({Part.INTERFACES}),
        scheme=lambda device: device.restconf.scheme,
        signs_in=lambda device: device.credentials is not None,
    ),
}
"""The ways that need neither a device description nor a plug-in."""
