"""What was found, made from entries by the fields of a device description."""

from collections.abc import Mapping

from orchestrator.adapters.declared import values
from orchestrator.adapters.declared.entries import Entry
from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.facility.description import Json, Pick
from orchestrator.facility.found import DestinationState, Identity, InterfaceState, SourceState
from orchestrator.facility.traits import Hears, Traits

Fields = Mapping[str, Pick]


def identity(entry: Entry, fields: Fields) -> Identity:
    """Who the device says it is.

    Raises:
        Unusable: no serial or model could be read. (All the functions here raise it so.)
    """
    serial, model = _needed(entry, fields, "serial"), _needed(entry, fields, "model")
    firmware = entry.field(fields["firmware"], values.text) if "firmware" in fields else ""
    return Identity(serial=serial, model=model, firmware=firmware or "")


def interface(entry: Entry, fields: Fields) -> InterfaceState:
    """One interface; its address has to be readable."""
    found = entry.field(_field(fields, "address"), values.address)
    if found is None:
        raise Unusable(f"the interface {entry.name} has no address")
    return InterfaceState(
        address=found,
        prefix=entry.field(_field(fields, "prefix"), values.prefix),
        gateway=entry.field(fields["gateway"], values.address) if "gateway" in fields else None,
    )


def source(entry: Entry, fields: Fields, legs: int) -> SourceState:
    """One source. What the device description has no field for is unassigned, empty, enabled.

    A device that tells no group at all has no legs here: it is judged by its number alone.
    """
    if group_field(fields, 1) is None:
        legs = 0
    return SourceState(
        number=entry.field(fields["number"], values.number) if "number" in fields else None,
        groups=tuple(_group(entry, fields, leg) for leg in range(1, legs + 1)),
        label=_label(entry, fields),
        enabled=entry.field(fields["enabled"], values.switch) if "enabled" in fields else True,
    )


def destination(entry: Entry, fields: Fields, traits: Traits) -> DestinationState:
    """One destination; what it hears is a number or a group, as the traits say."""
    hears: int | str | None = None
    if "hears" in fields and traits.hears is Hears.NUMBER:
        hears = entry.field(fields["hears"], values.number)
    elif "hears" in fields:
        hears = entry.field(fields["hears"], values.text)
    return DestinationState(hears=hears, label=_label(entry, fields))


def written(entry: Entry, fields: Fields, name: str) -> Json:
    """The device's own writing of a field as found, fit to be sent back unchanged."""

    def again(pick: Pick, raw: Json) -> Json:
        return raw if pick.part is None else values.encode(pick, values.text(pick, raw))

    return entry.field(_field(fields, name), again)


def group_field(fields: Fields, leg: int) -> Pick | None:
    """The field of the group on ``leg`` (from 1): ``group_1`` ..., or one ``group`` for all."""
    return fields.get(f"group_{leg}", fields.get("group"))


def _group(entry: Entry, fields: Fields, leg: int) -> str | None:
    at = group_field(fields, leg)
    return None if at is None else entry.field(at, values.text)


def _label(entry: Entry, fields: Fields) -> str:
    return (entry.field(fields["label"], values.text) if "label" in fields else "") or ""


def _needed(entry: Entry, fields: Fields, name: str) -> str:
    found = entry.field(_field(fields, name), values.text)
    if not found:
        raise Unusable(f"the device gives no {name}")
    return found


def _field(fields: Fields, name: str) -> Pick:
    if name not in fields:
        raise Unusable(f"the device description does not say where '{name}' is read")
    return fields[name]
