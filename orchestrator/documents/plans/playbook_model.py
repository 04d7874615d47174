"""The shape of a playbook."""

from typing import Literal

from pydantic import Field

from orchestrator.documents.reading import fields
from orchestrator.documents.reading.shape import Shape


class AskedSourceModel(Shape):
    """What is wanted of a source, or with a range in its key of several."""

    number: fields.AskedNumber | None = Field(
        None, description="Channel number, auto, unassigned; a range under a key range."
    )
    groups: list[fields.Group] | None = Field(
        None,
        min_length=1,
        description="Multicast group of each leg; without it, what the number gives.",
    )
    label: fields.Label | None = Field(None, description="The label to show.")
    enabled: fields.Flag | None = Field(None, description="Whether it is to send.")


class AskedDestinationModel(Shape):
    """What is wanted of a destination, or with a range in its key of several."""

    listens_to: fields.Listens | None = Field(
        None, description="device/source (followed when it moves), a number, a group, or nothing."
    )


class AskedDeviceModel(Shape):
    """What is wanted of a device; what is not named stays as it is."""

    reach_at: fields.Address | None = Field(
        None, description="Where it answers until it is readdressed."
    )
    unit: Literal["fresh", "reused"] | None = Field(
        None, description="fresh or reused: what is not named here is switched off and renumbered."
    )
    address: fields.Address | None = Field(None, description="The address wanted.")
    interfaces: dict[fields.Name, fields.Address] | None = Field(
        None, min_length=1, description="The addresses wanted, by interface."
    )
    blocks: list[fields.HostPart] | None = Field(
        None, min_length=1, description="Host parts whose numbers it owns once it is done."
    )
    numbers: list[fields.Number] | None = Field(
        None, description="Numbers it owns beside its blocks once it is done."
    )
    sources: dict[fields.KeyRange, AskedSourceModel] = Field({}, description="Sources, by name.")
    destinations: dict[fields.KeyRange, AskedDestinationModel] = Field(
        {}, description="Destinations, by name."
    )
    settings: dict[fields.Name, fields.Setting] = Field(
        {}, description="Settings of the device, as its description names them."
    )


class AcceptanceModel(Shape):
    """A hazard that a person accepts, or a question of safety that is answered with go."""

    hazard: fields.Text = Field(description="Its name, as the dry-run or the question prints it.")
    reason: fields.Text = Field(description="Why it is accepted.")
    by: fields.Text | None = Field(None, description="Who accepts it.")


class ReleaseModel(Shape):
    """Leave to touch something off limits."""

    what: fields.Text = Field(description="The device, or device/source.")
    by: fields.Text = Field(description="Who gave it.")
    reference: fields.Text = Field(description="Under which reference.")
    until: fields.Until = Field(description="Until when, as 2026-03-01T06:00:00+00:00.")


class PlaybookModel(Shape):
    """The wanted settings of some devices."""

    playbook: fields.Text = Field(description="Its title.")
    devices: dict[fields.Name, AskedDeviceModel] = Field(description="The devices, by name.")
    accepts: list[AcceptanceModel] = Field([], description="Hazards accepted, with the reason.")
    releases: list[ReleaseModel] = Field([], description="Releases of what is off limits.")
