"""Which numbers a device owns, and the next vacant ones for ``auto``."""

from collections.abc import Iterator

from orchestrator.facility.numbering import Numbering
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.wanted import AskedDevice, Auto


def blocks_of(plan: Plan, device: Device, asked: AskedDevice | None) -> tuple[int, ...]:
    """The host parts whose numbers ``device`` owns once the playbook is done.

    A playbook's own ``blocks`` win, then the plan's; else the host part of the first wanted
    address. Numbers begin with the host part of the address: common practice, no source.
    """
    if asked is not None and asked.blocks is not None:
        return asked.blocks
    if device.blocks:
        return device.blocks
    interface = device.interfaces[0]
    address = interface.address
    if asked is not None:
        address = asked.addresses.get(interface.name, address)
    network = plan.network_of(address)
    return (network.host_part(address),) if network is not None else ()


def numbering_of(plan: Plan, device: Device, asked: AskedDevice | None) -> Numbering | None:
    """The numbering of the network on which ``device`` is wanted to stand."""
    interface = device.interfaces[0]
    address = interface.address
    if asked is not None:
        address = asked.addresses.get(interface.name, address)
    network = plan.network_of(address)
    if network is None or network.numbering is None:
        network = plan.networks.get(interface.network)
    return network.numbering if network is not None else None


def own_numbers(numbering: Numbering, blocks: tuple[int, ...]) -> Iterator[int]:
    """The numbers of ``blocks`` that sources get, in order.

    The first block starts at its first number for sources; the blocks after it are used whole.
    """
    for index, host in enumerate(blocks):
        yield from numbering.usable(host) if index == 0 else numbering.block(host)


def auto_numbers(plan: Plan, device: Device, asked: AskedDevice) -> dict[str, int]:
    """Give each source whose number is ``auto`` the next vacant one of the device's own blocks.

    A source that the plan already numbers inside its own blocks keeps that number, so that the
    answer stays the same after a run is adopted. None is given one that is to be
    avoided, or whose group is. Sources for which no number is left are missing from the answer.
    """
    wanting = [name for name, source in asked.sources.items() if source.number is Auto.AUTO]
    numbering = numbering_of(plan, device, asked) if wanting else None
    if numbering is None:
        return {}
    own = list(own_numbers(numbering, blocks_of(plan, device, asked)))
    taken = {s.number for s in asked.sources.values() if isinstance(s.number, int)}
    taken.update(one for one in own if {one, _group(numbering, one)} & asked.avoids)
    kept: dict[str, int] = {}
    owned = set(own)
    for name in wanting:
        planned = device.sources.get(name)
        number = planned.number if planned else None
        if number is not None and number in owned and number not in taken:
            kept[name] = number
            taken.add(number)
    taken.update(
        source.number
        for name, source in device.sources.items()
        if name not in asked.sources and source.number is not None
    )
    vacant = (number for number in own if number not in taken)
    for name in wanting:
        if name not in kept and (number := next(vacant, None)) is not None:
            kept[name] = number
    return kept


def _group(numbering: Numbering, number: int) -> str | None:
    return numbering.group(number) if numbering.has_group(number) else None
