"""The shape of a batch in a device description: several steps in one request."""

from typing import Annotated, Literal

from pydantic import Field, PlainValidator, WithJsonSchema

from orchestrator.documents.devices.fields import Body, ContentType, Pointer, RequestPath
from orchestrator.documents.reading import fields
from orchestrator.documents.reading.shape import Shape

_FEWEST, _MOST = 2, 1000

Most = Annotated[
    int,
    PlainValidator(fields.whole(_FEWEST, _MOST)),
    WithJsonSchema({"type": "integer", "minimum": _FEWEST, "maximum": _MOST}),
]


class EachModel(Shape):
    """What one step of each kind wants; what is missing does not go into this request."""

    disable: Body = Field(None, description="Switch a source off.")
    enable: Body = Field(None, description="Switch a source on.")
    renumber: Body = Field(None, description="Give a source its number and group.")
    repoint: Body = Field(None, description="Point a destination at something else.")


class AnswerModel(Shape):
    """Where the answer says what became of each step."""

    entries: Pointer = Field(description="Pointer to the list or object with an entry for each.")
    key: Pointer | None = Field(
        None,
        description="Pointer inside an entry to the device's own key; none: the object's key, or "
        "in a list the order in which they were sent.",
    )
    at: Pointer = Field(description="Pointer inside an entry to the value that tells.")
    done: list[Body] = Field(min_length=1, description="The values that say that it was done.")
    busy: list[Body] = Field([], description="The values that say that it has to wait.")
    why: Pointer | None = Field(
        None, description="Pointer inside an entry to the device's words for a refusal."
    )


class BatchModel(Shape):
    """Several steps in one request."""

    most: Most = Field(description="How many steps it takes at the most.")
    method: Literal["PUT", "PATCH", "POST"] = Field(description="The HTTP method.")
    path: RequestPath = Field(description="The path, written out.")
    body: Body = Field(description="The body; {each} stands for what all the steps want.")
    content_type: ContentType = Field(
        "application/json", description="The body's media type: JSON, or a patch in JSON."
    )
    by_key: fields.Flag = Field(
        False,
        description="{each} is an object, each step under the device's own key; else a list.",
    )
    each: EachModel = Field(description="What one step of each kind wants.")
    answer: AnswerModel | None = Field(
        None,
        description="Where the answer tells of each; none: all of it is done, or none of it.",
    )
