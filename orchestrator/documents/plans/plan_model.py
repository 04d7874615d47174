"""The shape of ``plan.yaml``."""

from typing import Annotated, Any, Literal

from pydantic import Field, ValidatorFunctionWrapHandler, WrapValidator

from orchestrator.documents.reading import fields
from orchestrator.documents.reading.shape import Shape
from orchestrator.documents.tls_model import TlsModel


class NumberingModel(Shape):
    """How a network numbers its sources."""

    numbers: fields.Numbers = Field(
        alias="range", description="The channel numbers in use on the network, as in 1-2999."
    )
    transit: fields.Numbers | None = Field(
        None, description="Numbers set aside to break a swap; no source keeps one."
    )
    numbers_per_host: fields.Count = Field(
        10, description="How many numbers belong to one host part: with 10, host 31 has 310-319."
    )
    first_in_block: fields.Offset = Field(
        1, description="Which number of its block the first source gets: with 1, host 31 gets 311."
    )
    group_range: fields.Subnet = Field(
        description="Multicast range; number n streams to its n-th address."
    )
    port: fields.Port = Field(5004, description="UDP port of the groups.")


def _rules_or_name(value: Any, handler: ValidatorFunctionWrapHandler) -> Any:
    return fields.read_name(value) if isinstance(value, str) else handler(value)


NumberingOrName = Annotated[
    NumberingModel, WrapValidator(_rules_or_name, json_schema_input_type=NumberingModel | str)
]


class NetworkModel(Shape):
    """A network."""

    subnet: fields.Subnet = Field(description="Its subnet, as in 10.44.3.0/24.")
    gateway: fields.Address | None = Field(None, description="The gateway's address.")
    keep_clear: Annotated[list[fields.Addresses], fields.OneOrMore] = Field(
        [], description="Addresses that devices never get: DHCP pools, switches, routers."
    )
    transit: Annotated[list[fields.Addresses], fields.OneOrMore] = Field(
        [], description="Addresses set aside to break a swap; no device keeps one."
    )
    bench: fields.Flag = Field(False, description="A cable to one unit, apart from the facility.")
    numbering: NumberingOrName | None = Field(
        None, description="How it numbers its sources, or the network whose rules it shares."
    )


class RoomModel(Shape):
    """A room."""

    site: fields.Text = Field(description="The site that the room is in.")
    network: fields.Name = Field(description="The network that its devices join.")


class SourceModel(Shape):
    """A source, or with a range in its key several of them."""

    slot: fields.Slot | None = Field(None, description="The device's own name for it.")
    number: fields.PlannedNumber | None = Field(
        None, description="Channel number; a range of numbers under a key range."
    )
    label: fields.Label | None = Field(None, description="The label it shows.")
    enabled: fields.Flag | None = Field(None, description="Whether it sends.")
    groups: list[fields.Group] | None = Field(
        None, min_length=1, description="Multicast group of each leg, as in 239.194.1.55:5004."
    )
    also_heard_by: list[fields.Text] = Field(
        [], description="Listeners that can't be read, in words."
    )


class DestinationModel(Shape):
    """A destination, or with a range in its key several of them."""

    slot: fields.Slot | None = Field(None, description="The device's own name for it.")
    listens_to: fields.Listens | None = Field(
        None, description="device/source, a number, a group, or nothing."
    )


class InterfaceModel(Shape):
    """One network interface."""

    network: fields.Name | None = Field(None, description="Its network; without it, the room's.")
    address: fields.Address = Field(description="Its address.")
    slot: fields.Slot | None = Field(
        None, description="The device's own name for it, where that differs (RESTCONF: eth0)."
    )


class RestconfModel(Shape):
    """How a device's RESTCONF server is reached."""

    scheme: Literal["https", "http"] = Field(
        "https", description="http sends the sign-in in the clear; RFC 8040 asks for https."
    )
    port: fields.Port | None = Field(
        None, description="Where it answers; without it, the scheme's own port."
    )


class CommonModel(Shape):
    """What a device and a type of device can both say."""

    network: fields.Name | None = Field(
        None, description="The network of the one interface; without it, the room's."
    )
    speaks: Annotated[list[fields.Name], fields.OneOrMore] | None = Field(
        None, description="Its device description, or nmos, restconf, a plug-in; a list for more."
    )
    port: fields.Port | None = Field(
        None, description="Where its NMOS Node API answers, if not at the scheme's own port."
    )
    scheme: Literal["http", "https"] | None = Field(
        None, description="How its NMOS Node API is reached; without it, http."
    )
    restconf: RestconfModel | None = Field(
        None, description="How its RESTCONF server is reached, if not by https at port 443."
    )
    blocks: list[fields.HostPart] | None = Field(
        None,
        min_length=1,
        description="Host parts whose numbers it owns; without it, its first address's.",
    )
    numbers: list[fields.Number] | None = Field(
        None, description="Numbers it owns beside its blocks, or inside another's block."
    )
    credentials: fields.Name | None = Field(
        None, description="The name in the keyring of what signs in; never a secret."
    )
    tls: TlsModel | None = Field(None, description="What its certificate is judged by.")
    off_limits: fields.Text | None = Field(
        None, description="Why it may not be touched without a release."
    )
    sources: dict[fields.KeyRange, SourceModel] = Field({}, description="Its sources, by name.")
    destinations: dict[fields.KeyRange, DestinationModel] = Field(
        {}, description="Its destinations, by name."
    )


class TypeModel(CommonModel):
    """What devices of one type have in common; a device's own value wins."""


class DeviceModel(CommonModel):
    """A device."""

    room: fields.Name = Field(description="The room it stands in.")
    type: fields.Name | None = Field(None, description="The type whose values it takes over.")
    address: fields.Address | None = Field(None, description="The address of its one interface.")
    interfaces: dict[fields.Name, InterfaceModel] | None = Field(
        None, min_length=1, description="Its interfaces by name, in place of 'address'."
    )
    serial: fields.Text | None = Field(None, description="Its serial, as it says it itself.")


class PlanModel(Shape):
    """The facility's master record, as it is."""

    facility: fields.Text = Field(description="The facility's name.")
    time_zone: fields.Text | None = Field(
        None, description="Its IANA time zone, in which maintenance windows are told."
    )
    networks: dict[fields.Name, NetworkModel] = Field(description="The networks, by name.")
    rooms: dict[fields.Name, RoomModel] = Field(description="The rooms, by name.")
    on_air: list[fields.RefText] = Field(
        [], description="Destinations (device/destination); all that feeds them is on air."
    )
    tls: TlsModel | None = Field(
        None, description="What certificates are judged by, where nothing nearer says it."
    )
    types: dict[fields.Name, TypeModel] = Field({}, description="What devices have in common.")
    devices: dict[fields.Name, DeviceModel] = Field(description="The devices, by name.")
