"""What a read says about a step: the value that it is about, and how that compares."""

from enum import Enum, StrEnum

from orchestrator.facility.found import DestinationState, DeviceState, Identity
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind, StepValue


class Absent(Enum):
    """The device has no such source, destination, setting or interface. A value, not None."""

    ABSENT = "absent"

    def __str__(self) -> str:
        return "absent"


ABSENT = Absent.ABSENT


class Sight(StrEnum):
    """How a value read compares with its step.

    ``partly``: each part of it is as found or as wanted (a number changed, its group not yet);
    for a save: the device can't say whether anything is unsaved.
    """

    WANTED = "wanted"
    AS_FOUND = "as found"
    PARTLY = "partly"
    OTHER = "other"


def is_meant(expected: Identity, found: Identity) -> bool:
    """Whether ``found`` is the unit meant: serial and model agree (firmware may have changed)."""
    return (expected.serial, expected.model) == (found.serial, found.model)


def value_of(step: Step, state: DeviceState) -> StepValue | Absent:
    """The value in ``state`` that ``step`` is about; :data:`ABSENT` if the device has none.

    For a save it is ``unsaved``; for a step by hand None.
    """
    match step.kind:
        case StepKind.DISABLE | StepKind.ENABLE | StepKind.RENUMBER:
            return _of_source(step, state)
        case StepKind.REPOINT:
            destination = state.destinations.get(step.destination or "")
            return ABSENT if destination is None else _hearing(destination)
        case StepKind.SET:
            return _of_setting(step, state)
        case StepKind.READDRESS | StepKind.CONFIRM:
            return _of_interface(step, state)
        case StepKind.SAVE:
            return state.unsaved
        case StepKind.BY_HAND:
            return None


def _of_source(step: Step, state: DeviceState) -> StepValue | Absent:
    source = state.sources.get(step.source or "")
    if source is None:
        return ABSENT
    if step.kind is StepKind.RENUMBER:
        return Assigned(source.number, source.groups)
    return source.enabled


def _hearing(destination: DestinationState) -> Hearing:
    hears = destination.hears
    return Hearing(group=hears) if isinstance(hears, str) else Hearing(number=hears)


def _of_setting(step: Step, state: DeviceState) -> StepValue | Absent:
    if step.source is not None:
        source = state.sources.get(step.source)
        return ABSENT if source is None else source.label
    if step.destination is not None:
        destination = state.destinations.get(step.destination)
        return ABSENT if destination is None else destination.label
    return state.settings.get(step.setting or "", ABSENT)


def _of_interface(step: Step, state: DeviceState) -> StepValue | Absent:
    if not isinstance(step.wanted, AddressValue):
        return ABSENT
    name = step.wanted.interface
    interface = state.interfaces.get(name)
    if interface is None:
        return ABSENT
    return AddressValue(name, interface.address, interface.prefix, interface.gateway)


def sight(step: Step, state: DeviceState) -> Sight:
    """Compare what ``state`` says with what ``step`` found and what it wants."""
    if step.kind is StepKind.SAVE:
        return {True: Sight.AS_FOUND, False: Sight.WANTED, None: Sight.PARTLY}[state.unsaved]
    value = value_of(step, state)
    if same(step.wanted, value):
        return Sight.WANTED
    if same(step.as_found, value):
        return Sight.AS_FOUND
    if _shows_no_gateway(step.wanted, value):
        return Sight.WANTED
    return Sight.PARTLY if _mixed(step, value) else Sight.OTHER


def same(meant: StepValue, value: StepValue | Absent) -> bool:
    """Whether ``value``, as read, is the one ``meant``.

    A renumber that names no groups is judged by its number alone; a hearing by what the device
    tells (a number or a group); a switch is never equal to a figure.
    """
    match meant, value:
        case Assigned(), Assigned():
            return meant.number == value.number and meant.groups in ((), value.groups)
        case Hearing(), Hearing():
            if value.number is None and value.group is None:
                return meant.number is None and meant.group is None
            if value.number is not None:
                return meant.number == value.number
            return meant.group == value.group
        case _:
            return isinstance(meant, bool) == isinstance(value, bool) and meant == value


def _shows_no_gateway(meant: StepValue, value: StepValue | Absent) -> bool:
    # Not every device tells its gateway: an address and prefix as wanted are enough then.
    if not isinstance(meant, AddressValue) or not isinstance(value, AddressValue):
        return False
    return value.gateway is None and (value.address, value.prefix) == (meant.address, meant.prefix)


def _mixed(step: Step, value: StepValue | Absent) -> bool:
    match step.as_found, step.wanted, value:
        case Assigned() as old, Assigned() as new, Assigned():
            if not len(old.groups) == len(new.groups) == len(value.groups):
                return False
            pairs = zip(value.groups, old.groups, new.groups, strict=True)
            return value.number in (old.number, new.number) and all(
                group in (before, after) for group, before, after in pairs
            )
        case AddressValue() as old, AddressValue() as new, AddressValue():
            return (
                value.address in (old.address, new.address)
                and value.prefix in (old.prefix, new.prefix)
                and value.gateway in (old.gateway, new.gateway)
            )
        case _:
            return False
