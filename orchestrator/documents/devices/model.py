"""The shape of a device description."""

from typing import Annotated, Any, Literal

from pydantic import BeforeValidator, Field

from orchestrator.documents.devices.batch_model import BatchModel
from orchestrator.documents.devices.fields import (
    Body,
    ContentType,
    Digits,
    Header,
    Legs,
    Named,
    Pointer,
    RequestPath,
    Unit,
    Within,
)
from orchestrator.documents.reading import fields
from orchestrator.documents.reading.shape import Shape
from orchestrator.documents.tls_model import TlsModel
from orchestrator.facility.description import SignIn, TakesEffect
from orchestrator.facility.traits import Effect, Hears, Saves


def _pick_from_text(value: Any) -> Any:
    return {"at": value} if isinstance(value, str) else value


class UnitModel(Shape):
    """The unit in which the device counts, and that of the playbooks."""

    theirs: Unit = Field(description="What the device counts in.")
    ours: Unit = Field(description="What playbooks and reports count in.")


class PickModel(Shape):
    """Where one value stands in an answer, and how it is read and written."""

    at: Pointer = Field(description="JSON Pointer (RFC 6901) from the entry, or the document.")
    values: dict[str, Body] = Field(
        {}, description="Our values (true, false, a word) and what the device says for them."
    )
    unassigned: Body = Field(None, description="What the device says for no number, no group.")
    unit: UnitModel | None = Field(
        None, description="The device counts in another unit than the playbooks; of a setting."
    )
    digits: Digits | None = Field(
        None, description="The device keeps the number as text of so many digits, zero-padded."
    )
    part: Literal["address", "prefix", "port"] | None = Field(
        None, description="The value is this part of a.b.c.d/len or a.b.c.d:port."
    )
    within: Within | None = Field(
        None, description="The text around the value, as in CH-{value} or {value} kHz."
    )
    get: RequestPath | None = Field(
        None, description="Another path that it is read from; may hold {key}."
    )


Pick = Annotated[
    PickModel, BeforeValidator(_pick_from_text, json_schema_input_type=str | PickModel)
]


class IdentityFields(Shape):
    """Who it says it is."""

    serial: Pick = Field(description="Its serial number.")
    model: Pick | None = Field(None, description="Its model.")
    firmware: Pick | None = Field(None, description="Its firmware version.")


class InterfaceFields(Shape):
    """What an interface holds."""

    address: Pick = Field(description="Its IPv4 address.")
    prefix: Pick | None = Field(None, description="Its prefix length.")
    gateway: Pick | None = Field(None, description="Its gateway.")


class SourceFields(Shape):
    """What a source holds."""

    number: Pick | None = Field(None, description="Its channel number.")
    group: Pick | None = Field(None, description="Its group, on the one leg.")
    group_1: Pick | None = Field(None, description="Its group on the first leg.")
    group_2: Pick | None = Field(None, description="Its group on the second leg.")
    label: Pick | None = Field(None, description="Its label.")
    enabled: Pick | None = Field(None, description="Whether it sends.")


class DestinationFields(Shape):
    """What a destination holds."""

    hears: Pick = Field(description="The number or group that it hears.")
    label: Pick | None = Field(None, description="Its label.")


class UnsavedFields(Shape):
    """Whether it runs on something that it would not boot with."""

    unsaved: Pick = Field(description="True if something is not saved.")


class _ReadModel(Shape):
    get: RequestPath = Field(description="The path to GET.")
    entries: Pointer | None = Field(
        None, description="Pointer to the list or object of entries; none: the document is one."
    )
    key: Pointer | None = Field(
        None, description="Pointer inside an entry to the device's own key for it."
    )
    named: Named = Field("{key}", description="The name made of the key, as in input-{key}.")
    first: fields.Offset = Field(
        0, description="What the device calls the first entry of a list without a key."
    )


class IdentityRead(Shape):
    """Where its identity is read."""

    get: RequestPath = Field(description="The path to GET.")
    fields: IdentityFields = Field(description="Where each value stands.")


class InterfacesRead(_ReadModel):
    """Where its interfaces are read."""

    fields: InterfaceFields = Field(description="Where each value stands.")


class SourcesRead(_ReadModel):
    """Where its sources are read."""

    fields: SourceFields = Field(description="Where each value stands.")


class DestinationsRead(_ReadModel):
    """Where its destinations are read."""

    fields: DestinationFields = Field(description="Where each value stands.")


class UnsavedRead(Shape):
    """Where it says whether something is not saved."""

    get: RequestPath = Field(description="The path to GET.")
    fields: UnsavedFields = Field(description="Where the value stands.")


class ReadsModel(Shape):
    """What a device is asked, and where its answers hold what."""

    identity: IdentityRead = Field(description="Who it is.")
    interfaces: InterfacesRead | None = Field(None, description="Its interfaces.")
    sources: SourcesRead | None = Field(None, description="Its sources.")
    destinations: DestinationsRead | None = Field(None, description="Its destinations.")
    unsaved: UnsavedRead | None = Field(None, description="Whether something is not saved.")


class WriteModel(Shape):
    """How one kind of step is written."""

    method: Literal["PUT", "PATCH", "POST", "DELETE"] = Field(description="The HTTP method.")
    path: RequestPath = Field(description="The path; may hold {key} and fields.")
    body: Body = Field(None, description="The body; its texts may hold {key} and fields.")
    content_type: ContentType = Field(
        "application/json", description="The body's media type: JSON, a patch in JSON, or a form."
    )
    whole: fields.Flag = Field(
        False, description="What is at the path is read, the body put in, and all of it sent."
    )
    if_match: fields.Flag = Field(
        False, description="The write carries the ETag of its read in If-Match."
    )
    repeatable: fields.Flag = Field(
        True, description="Whether sending it twice does what sending it once does."
    )


class SessionModel(Shape):
    """How to sign in where a cookie then stands for the sign-in."""

    method: Literal["PUT", "POST"] = Field("POST", description="The HTTP method.")
    path: RequestPath = Field(description="The path of the sign-in.")
    body: Body = Field(description="The body; its texts hold {user} and {secret}.")
    content_type: ContentType = Field("application/json", description="The body's media type.")


class CredentialModel(Shape):
    """How the secret that signs in is changed."""

    method: Literal["PUT", "PATCH", "POST"] = Field("PUT", description="The HTTP method.")
    path: RequestPath = Field(description="The path of the change.")
    body: Body = Field(description="The body; its texts hold {new_secret}, {user} and {secret}.")
    content_type: ContentType = Field("application/json", description="The body's media type.")
    proof: RequestPath | None = Field(
        None,
        description="A path that only who is signed in may read; none: that of the identity.",
    )


class WritesModel(Shape):
    """How each kind of step is written; what is missing, the device can't do."""

    disable: WriteModel | None = Field(None, description="Switch a source off.")
    enable: WriteModel | None = Field(None, description="Switch a source on.")
    renumber: WriteModel | None = Field(None, description="Give a source its number and group.")
    set_label: WriteModel | None = Field(None, description="Give a source its label.")
    repoint: WriteModel | None = Field(None, description="Point a destination at something else.")
    save: WriteModel | None = Field(None, description="Save what runs, to boot with it.")
    readdress: WriteModel | None = Field(None, description="Give an interface its address.")
    restart: WriteModel | None = Field(
        None, description="Restart it, for settings that take effect on_restart."
    )
    credential: CredentialModel | None = Field(
        None, description="Change the secret that signs in; it may not interrupt anything."
    )


class SettingModel(Shape):
    """One setting of the device."""

    get: RequestPath = Field(description="The path to GET.")
    field: Pick = Field(description="Where its value stands.")
    effect: Effect = Field(
        Effect.NONE, strict=False, description="What changing it does beside the change."
    )
    write: WriteModel | None = Field(None, description="How it is written; {value} is the value.")
    takes_effect: TakesEffect = Field(
        TakesEffect.AT_ONCE,
        strict=False,
        description="When it shows: at_once, on_save, or on_restart; the last two are asked for.",
    )


class TraitsModel(Shape):
    """How the device behaves."""

    saves: Saves = Field(
        Saves.AT_ONCE, strict=False, description="When a change is what it boots with."
    )
    hears: Hears = Field(
        Hears.NUMBER, strict=False, description="What a destination holds: number or group."
    )
    legs: Legs = Field(1, description="How many legs a source has.")
    settle_s: fields.Seconds = Field(
        10.0, description="Seconds from a readdress until it answers at the new address."
    )
    late_s: fields.Seconds = Field(
        5.0, description="Seconds within which an accepted write shows in a read-back."
    )
    save_s: fields.Seconds = Field(0.0, description="Seconds that a save takes.")
    holds_sender_address: fields.Flag = Field(
        False, description="Its destinations hold the sender's address."
    )
    requests_at_once: fields.Count = Field(1, description="How many requests it bears at one time.")


class DescriptionModel(Shape):
    """How a make and model of device is spoken to."""

    device: fields.Name = Field(description="The description's name, as 'speaks' uses it.")
    make: fields.Text = Field(description="The make.")
    models: list[fields.Text] = Field(
        min_length=1, description="The models, as the device says them itself."
    )
    tried_with: list[fields.Text] = Field(
        [], description="Firmware versions it was tried with; 2.7 covers 2.7.3."
    )
    scheme: Literal["http", "https"] = Field("https", description="http or https.")
    port: fields.Port | None = Field(None, description="TCP port; without it, the scheme's own.")
    timeout_s: fields.Seconds = Field(5.0, description="Seconds until an answer is given up.")
    sign_in: SignIn = Field(SignIn.NONE, strict=False, description="How requests are signed.")
    key_header: Header = Field("X-Api-Key", description="The header that carries an API key.")
    session: SessionModel | None = Field(
        None, description="The request that signs in, where sign_in is session."
    )
    tls: TlsModel | None = Field(None, description="What certificates are judged by.")
    reads: ReadsModel = Field(description="Where everything is read.")
    settings: dict[fields.Name, SettingModel] = Field({}, description="Its settings, by name.")
    writes: WritesModel = Field(
        default_factory=lambda: WritesModel.model_validate({}),
        description="How each step is written.",
    )
    batches: list[BatchModel] = Field(
        [], description="Requests in which several steps go together; a kind of step is in one."
    )
    traits: TraitsModel = Field(
        default_factory=lambda: TraitsModel.model_validate({}), description="How it behaves."
    )
