"""What a document says of a device's certificate."""

import re
from pathlib import PurePosixPath
from typing import Annotated, Any

from pydantic import Field, PlainValidator, WithJsonSchema

from orchestrator.documents.reading import fields
from orchestrator.documents.reading.shape import Shape
from orchestrator.documents.reading.tree import Fault, Path
from orchestrator.facility.trust import Tls

_LABEL = r"[A-Za-z0-9]([A-Za-z0-9-]{0,61}[A-Za-z0-9])?"  # RFC 1123, section 2.1
_HOST = re.compile(rf"{_LABEL}(\.{_LABEL})*")


def _read_file(value: Any) -> str:
    text = fields.read_text(value)
    if PurePosixPath(text).is_absolute() or "\\" in text:
        fields.refuse(
            f"{fields.shown(text)} is no path from the facility's folder",
            "put the file into the folder, and write authorities/plant.pem",
        )
    return text


def _read_host(value: Any) -> str:
    text = fields.read_text(value)
    if not _HOST.fullmatch(text):
        fields.refuse(
            f"{fields.shown(text)} is no name that a certificate could hold",
            "write a host name or an address, as it stands in the certificate",
        )
    return text


class TlsModel(Shape):
    """What a device's certificate is judged by; without it, by this computer's own trust."""

    authority: Annotated[str, PlainValidator(_read_file), WithJsonSchema({"type": "string"})] | (
        None
    ) = Field(None, description="File (PEM) of a private authority, from the facility's folder.")
    pinned: fields.Flag | None = Field(
        None, description="Trust the one certificate that a person has confirmed."
    )
    name: Annotated[str, PlainValidator(_read_host), WithJsonSchema({"type": "string"})] | None = (
        Field(None, description="What the certificate names, if that is not the address.")
    )


def build_tls(model: TlsModel | None) -> Tls | None:
    """Its value."""
    if model is None:
        return None
    return Tls(authority=model.authority, pinned=model.pinned, name=model.name)


def tls_faults(model: TlsModel | None, path: Path) -> list[Fault]:
    """What in it contradicts itself."""
    if model is not None and model.authority is not None and model.pinned:
        what = "a certificate is trusted by its authority or as the one confirmed, not by both"
        return [Fault((*path, "pinned"), what, "keep one of the two")]
    return []
