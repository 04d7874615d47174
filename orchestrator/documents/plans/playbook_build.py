"""A playbook's values, made of its model."""

from collections.abc import Mapping

from orchestrator.documents.plans.members import Member, Members, Ports
from orchestrator.documents.plans.plan_build import DEFAULT_PORT, ports_of
from orchestrator.documents.plans.playbook_model import (
    AskedDestinationModel,
    AskedDeviceModel,
    AskedSourceModel,
    PlaybookModel,
)
from orchestrator.documents.reading.tree import Fault, Path
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.wanted import (
    Acceptance,
    AskedDestination,
    AskedDevice,
    AskedSource,
    Auto,
    Playbook,
    Release,
    Unit,
)


def build_playbook(
    model: PlaybookModel, file: str, plan: Plan | None
) -> tuple[Playbook, tuple[Fault, ...]]:
    """The playbook in ``file``, and what is wrong inside it that its model can't see.

    ``plan`` says what a device's one interface is called and which port its groups have; None
    where the plan itself can't be read.
    """
    builder = _Builder(file, plan)
    devices = {name: builder.device(name, device) for name, device in model.devices.items()}
    playbook = Playbook(
        title=model.playbook,
        file=file,
        devices=devices,
        accepts=tuple(Acceptance(item.hazard, item.reason, item.by) for item in model.accepts),
        releases=tuple(
            Release(what=item.what, by=item.by, reference=item.reference, until=item.until)
            for item in model.releases
        ),
    )
    return playbook, tuple(builder.faults)


class _Builder:
    def __init__(self, file: str, plan: Plan | None) -> None:
        self.file = file
        self.plan = plan
        self.members = Members()
        self.faults = self.members.faults

    def device(self, name: str, model: AskedDeviceModel) -> AskedDevice:
        path: Path = ("devices", name)
        planned = self.plan.devices.get(name) if self.plan else None
        ports: Ports = (DEFAULT_PORT,)
        if self.plan and planned:
            ports = ports_of(planned.interfaces, self.plan.networks)
        sources = self.members.each(model.sources, (*path, "sources"))
        destinations = self.members.each(model.destinations, (*path, "destinations"))
        return AskedDevice(
            name=name,
            playbook=self.file,
            reach_at=model.reach_at,
            unit=Unit(model.unit or Unit.KNOWN),
            addresses=self._addresses(model, planned, path),
            blocks=None if model.blocks is None else tuple(model.blocks),
            numbers=None if model.numbers is None else tuple(model.numbers),
            sources={member.name: self._source(member, ports) for member in sources},
            destinations={member.name: self._destination(member, ports) for member in destinations},
            settings=dict(model.settings),
        )

    def _addresses(
        self, model: AskedDeviceModel, planned: Device | None, path: Path
    ) -> Mapping[str, str]:
        """The wanted addresses by interface; ``address`` is that of the only one."""
        interfaces = dict(model.interfaces or {})
        if model.address is None:
            return interfaces
        if interfaces:
            what = "both 'address' and 'interfaces' stand here"
            self.faults.append(Fault((*path, "address"), what, "keep one of the two"))
            return interfaces
        names = [interface.name for interface in planned.interfaces] if planned else []
        if len(names) > 1:
            what = f"which interface gets the address is not said; it has {', '.join(names)}"
            fix = f"write interfaces: {{{names[0]}: {model.address}}}"
            self.faults.append(Fault((*path, "address"), what, fix))
        return {names[0] if names else "main": model.address}

    def _source(self, member: Member[AskedSourceModel], ports: Ports) -> AskedSource:
        model, make = member.entry, self.members
        number = model.number
        return AskedSource(
            name=member.name,
            number=number if isinstance(number, Auto) else make.number(number, member),
            groups=make.groups(model.groups, ports, member),
            label=make.text(model.label, member, "label"),
            enabled=model.enabled,
        )

    def _destination(self, member: Member[AskedDestinationModel], ports: Ports) -> AskedDestination:
        listens_to = self.members.hearing(member.entry.listens_to, ports[0], member)
        return AskedDestination(name=member.name, listens_to=listens_to)
