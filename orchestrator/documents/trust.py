"""What certificates are judged by, as files: private authorities, and what a person confirmed.

Authorities are PEM files, named in the plan or in a device description. Confirmed certificates
stand in ``certificates.yaml`` in the facility's folder, a line or two for each device, which
belongs into version control like the plan: the tool writes it, by the word of a person.
"""

import contextlib
import re
import ssl
from collections.abc import Mapping
from io import StringIO
from pathlib import Path
from typing import Annotated, Any

from pydantic import Field, PlainValidator, WithJsonSchema
from ruamel.yaml import YAML

from orchestrator.documents.files import replace_text
from orchestrator.documents.reading import fields, yaml_reader
from orchestrator.documents.reading.shape import Shape, fit
from orchestrator.documents.reading.tree import Tree
from orchestrator.errors import DocumentError
from orchestrator.facility.trust import Pin, fingerprint

PINS_FILE = "certificates.yaml"
_HEAD = """\
# Certificates that a person has confirmed by their SHA-256 fingerprints, by device.
# Kept by 'cutsheet certificate confirm'. Put this file into version control.
"""
_LARGEST = 1 << 20
_KEY = re.compile(r"-----BEGIN [A-Z ]*PRIVATE KEY-----")


class Unfit(ValueError):
    """A file can't be what it should; ``fix`` says what to do."""

    def __init__(self, what: str, fix: str) -> None:
        super().__init__(what)
        self.fix = fix


def read_authority(folder: Path, file: str) -> str:
    """The certificates in ``file`` (PEM), a path from ``folder``.

    Raises:
        Unfit: it can't be read, holds none, or holds a private key too.
    """
    try:
        data = (folder / file).read_bytes()[:_LARGEST]
    except OSError as error:
        what = f"the file {file} can't be read: {error.strerror}"
        raise Unfit(what, "name a file in the facility's folder") from None
    text = data.decode("ascii", errors="replace")
    if _KEY.search(text):
        what = f"{file} holds a private key, which no other computer should have"
        raise Unfit(what, "name a file with the authority's certificate alone")
    # A context of its own: the usual one takes an empty text for "trust as this computer does".
    context = ssl.SSLContext(ssl.PROTOCOL_TLS_CLIENT)
    with contextlib.suppress(ssl.SSLError, ValueError):
        context.load_verify_locations(cadata=text)
    if not context.cert_store_stats()["x509"]:
        what = f"there is no certificate in {file} that can be read"
        fix = "name a file in PEM form (-----BEGIN CERTIFICATE-----)"
        raise Unfit(what, fix)
    return text


def _read_fingerprint(value: Any) -> str:
    text = fields.read_text(value)
    try:
        return fingerprint(text)
    except ValueError as error:
        fields.refuse(f"{fields.shown(text)}: {error}", "have it confirmed anew")


class PinModel(Shape):
    """A certificate that a person has confirmed."""

    sha256: Annotated[
        str, PlainValidator(_read_fingerprint), WithJsonSchema({"type": "string"})
    ] = Field(description="SHA-256 of its DER form.")
    confirmed_by: fields.Text = Field(description="Who confirmed it.")
    confirmed_at: fields.Text = Field(description="When, with an offset.")
    serial: fields.Text | None = Field(None, description="The device's serial at that time.")


class PinsModel(Shape):
    """The certificates that people have confirmed."""

    certificates: dict[fields.Name, PinModel] = Field({}, description="By device.")


def read_pins(data: bytes) -> tuple[dict[str, Pin], Tree]:
    """The confirmed certificates in ``data``, by device, and the document itself.

    Raises:
        DocumentError: it is not of its shape.
    """
    tree, problems = yaml_reader.read(data, PINS_FILE)
    model, faults = fit(tree, PinsModel)
    if problems or faults or model is None:
        raise DocumentError([*problems, *(tree.problem(fault) for fault in faults)])
    return {
        name: Pin(
            sha256=pin.sha256,
            confirmed_by=pin.confirmed_by,
            confirmed_at=pin.confirmed_at,
            serial=pin.serial,
        )
        for name, pin in model.certificates.items()
    }, tree


def write_pins(folder: Path, pins: Mapping[str, Pin]) -> None:
    """Keep ``pins`` in the facility's folder, and no others.

    Raises:
        CallError: the file can't be written.
    """
    held = {name: _written(pins[name]) for name in sorted(pins)}
    text = StringIO()
    YAML().dump({"certificates": held}, text)
    replace_text(folder / PINS_FILE, _HEAD + text.getvalue())


def _written(pin: Pin) -> dict[str, str]:
    rest = {} if pin.serial is None else {"serial": pin.serial}
    return {
        "sha256": pin.sha256,
        **rest,
        "confirmed_by": pin.confirmed_by,
        "confirmed_at": pin.confirmed_at,
    }
