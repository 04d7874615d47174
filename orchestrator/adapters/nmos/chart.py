"""What a plan knows of an NMOS node and no NMOS API says: numbers, prefix lengths, names.

A node keeps groups and no channel numbers. The number of a sender is the one that its groups stand
for by the plan's rule (the inverse of the rule by which a number has its group), so that a playbook
may ask for a number: what is written is the number's group, and what is read back is the group's
number. Groups that stand for no number are shown as groups alone.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from orchestrator.facility.numbering import Numbering
from orchestrator.facility.plan import Device, Plan, PlannedDestination, PlannedSource

ALONE = 32


def _no_number(_groups: Sequence[str | None]) -> int | None:
    return None


def _alone(_address: str) -> int:
    return ALONE


@dataclass(frozen=True, slots=True, kw_only=True)
class Chart:
    """What the plan says of one node.

    ``number_of`` gives the number that groups (one a leg) stand for; ``prefix_of`` the prefix
    length in bits of an address's network (32 where the plan has none). ``addresses`` are the
    planned ones by leg, for legs whose address the node does not tell. ``sources`` and
    ``destinations`` map the plan's names to the node's own: a label or an id.
    """

    number_of: Callable[[Sequence[str | None]], int | None] = _no_number
    prefix_of: Callable[[str], int] = _alone
    addresses: tuple[str, ...] = ()
    sources: Mapping[str, str] = field(default_factory=dict)
    destinations: Mapping[str, str] = field(default_factory=dict)


def chart_of(plan: Plan, device: Device) -> Chart:
    """What ``plan`` says of ``device``."""

    def prefix_of(address: str) -> int:
        network = plan.network_of(address)
        return network.subnet.prefixlen if network is not None else ALONE

    numbering = _numbering(plan, device)
    return Chart(
        number_of=_no_number if numbering is None else numbering.number_of_legs,
        prefix_of=prefix_of,
        addresses=tuple(interface.address for interface in device.interfaces),
        sources=_own_names(device.sources),
        destinations=_own_names(device.destinations),
    )


def _numbering(plan: Plan, device: Device) -> Numbering | None:
    """That of the network on which the plan has the device, as planning takes it too."""
    first = device.interfaces[0]
    network = plan.network_of(first.address)
    if network is None or network.numbering is None:
        network = plan.networks.get(first.network)
    return network.numbering if network is not None else None


def _own_names(
    planned: Mapping[str, PlannedSource] | Mapping[str, PlannedDestination],
) -> dict[str, str]:
    return {name: held.slot or name for name, held in planned.items()}
