"""Playbooks: what is off limits, who asks twice, where a unit is reached, numbers left to auto."""

from collections.abc import Sequence

from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.wanted import AskedDevice, Auto, Playbook, Unit
from orchestrator.planning.checks.common import (
    Path,
    Report,
    asked_paths,
    legs,
    numbering_of,
    own_blocks,
    whole,
)
from orchestrator.planning.checks.networks import edge_words


def check_playbooks(
    plan: Plan, wanted: Plan, playbooks: Sequence[Playbook], report: Report
) -> None:
    """Check the playbooks against the plan and against one another."""
    asked_by: dict[tuple[str, Path], str] = {}
    holders = _holders(plan)
    listed = _listed(wanted)
    for playbook in playbooks:
        for name, asked in playbook.devices.items():
            device = plan.devices.get(name)
            if device is None:
                continue
            _twice(playbook, asked, asked_by, report)
            _off_limits(playbook, device, asked, report)
            _reach_at(plan, playbook, asked, holders, report)
            _auto(wanted, playbook, asked, listed, report)


def _holders(plan: Plan) -> dict[int, set[str]]:
    """Who has which address in the facility, as it is."""
    holders: dict[int, set[str]] = {}
    for device in plan.devices.values():
        for interface in device.interfaces:
            network = plan.networks.get(interface.network)
            if network is not None and not network.bench:
                holders.setdefault(whole(interface.address), set()).add(device.name)
    return holders


def _twice(
    playbook: Playbook, asked: AskedDevice, asked_by: dict[tuple[str, Path], str], report: Report
) -> None:
    """No two playbooks speak of the same thing of a device."""
    things = dict.fromkeys(path[:2] for path in asked_paths(asked))
    if asked.unit is not Unit.KNOWN:
        things[("unit",)] = None
    for thing in things:
        other = asked_by.setdefault((asked.name, thing), playbook.file)
        if other != playbook.file:
            what = f"{asked.name}: {' '.join(map(str, thing))} is asked for by {other} too"
            where = (playbook.file, ("devices", asked.name, *thing))
            report.add(where, what, "let one playbook speak of it")


def _off_limits(playbook: Playbook, device: Device, asked: AskedDevice, report: Report) -> None:
    """What is off limits has a release that names it: the device, or each thing that is asked."""
    if device.off_limits is None:
        return
    released = {release.what for release in playbook.releases}
    if device.name in released:
        return
    unreleased = [
        path
        for path in asked_paths(asked)
        if path[0] not in ("sources", "destinations") or f"{device.name}/{path[1]}" not in released
    ]
    if not unreleased and asked.unit is Unit.KNOWN and (asked.sources or asked.destinations):
        return
    what = f"{device.name} is off limits ({device.off_limits}), and no release names it"
    fix = "take it out of the playbook, or add a release: what, by, reference, until"
    report.add((playbook.file, ("devices", device.name)), what, fix)


def _reach_at(
    plan: Plan,
    playbook: Playbook,
    asked: AskedDevice,
    holders: dict[int, set[str]],
    report: Report,
) -> None:
    """Where a unit is reached is on a known network, and nobody else of the facility is there."""
    if asked.reach_at is None:
        return
    where = (playbook.file, ("devices", asked.name, "reach_at"))
    network = plan.network_of(asked.reach_at)
    others = sorted(holders.get(whole(asked.reach_at), set()) - {asked.name})
    if network is None:
        what = f"{asked.name} is to be reached at {asked.reach_at}, which is on no known network"
        report.add(where, what, "declare the bench's network, with bench: true")
    elif others:
        what = f"{asked.name} is to be reached at {asked.reach_at}, where {others[0]} stands"
        report.add(where, what, "give the unit another address at its own panel first")
    elif edge := edge_words(network, whole(asked.reach_at)):
        what = f"{asked.name} is to be reached at {asked.reach_at}, which is {edge}"
        report.add(where, what, "write the address at which the unit answers")


def _listed(wanted: Plan) -> dict[tuple[str, int], str]:
    """Who lists which number on which network as owned."""
    return {
        (leg, number): device.name
        for device in wanted.devices.values()
        if device.numbers
        for leg in legs(wanted, device)
        for number in device.numbers
    }


def _auto(
    wanted: Plan,
    playbook: Playbook,
    asked: AskedDevice,
    listed: dict[tuple[str, int], str],
    report: Report,
) -> None:
    """The numbers left to auto fit into the device's own blocks."""
    autos = [source.name for source in asked.sources.values() if source.number is Auto.AUTO]
    if not autos:
        return
    device = wanted.devices[asked.name]
    where = (playbook.file, ("devices", asked.name, "sources", autos[0], "number"))
    on = legs(wanted, device)
    if not on:
        what = f"{asked.name} is on no network that has numbering, so auto has no number to give"
        report.add(where, what, "write a number, or give the network 'numbering'")
        return
    vacant = _vacant(wanted, device, on[0], listed)
    if len(autos) > vacant:
        blocks = own_blocks(wanted, device)
        shown = ", ".join(map(str, blocks)) or "none"
        what = f"{asked.name} leaves {len(autos)} numbers to auto; its blocks ({shown}) have "
        more = [*blocks, blocks[-1] + 1] if blocks else []
        fix = f"own more, as in blocks: {more}" if more else "give it 'blocks'"
        report.add(where, f"{what}{vacant} vacant", fix)


def _vacant(wanted: Plan, device: Device, network: str, listed: dict[tuple[str, int], str]) -> int:
    """How many numbers of a device's own blocks none of its sources has, and nobody else owns."""
    rules = numbering_of(wanted, network)
    if rules is None:
        return 0
    taken = {source.number for source in device.sources.values()}
    own = (
        number
        for index, host in enumerate(own_blocks(wanted, device))
        for number in (rules.usable(host) if index == 0 else rules.block(host))
    )
    return sum(
        number not in taken
        and listed.get((network, number), device.name) == device.name
        and number in rules.numbers
        and (rules.transit is None or number not in rules.transit)
        for number in own
    )
