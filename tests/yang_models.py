"""The IETF's YANG modules, and a library that judges data by them.

pyang carries the modules as published; yangson reads them and validates. Neither knows anything of
this project. The rules of JSON in YANG are RFC 7951's.
"""

import json
import re
from collections.abc import Mapping
from functools import cache
from importlib.metadata import files
from pathlib import Path
from typing import Any

from yangson import DataModel
from yangson.enumerations import ContentType, ValidationScope

OWN = Path(__file__).parent / "yang"
IMPLEMENTED = {
    "ietf-interfaces": ("2018-02-20", "RFC 8343", []),
    "ietf-ip": ("2018-02-22", "RFC 8344", ["ipv4-non-contiguous-netmasks"]),
    "ietf-routing": ("2018-03-13", "RFC 8349", []),
    "ietf-ipv4-unicast-routing": ("2018-03-13", "RFC 8349", []),
    "ietf-hardware": ("2018-03-13", "RFC 8348", []),
    "iana-hardware": ("2018-03-13", "RFC 8348", []),
    "iana-if-type": ("", "RFC 7224", []),
    "ietf-inet-types": ("2013-07-15", "RFC 6991", []),
    "ietf-yang-types": ("2013-07-15", "RFC 6991", []),
    "ietf-restconf": ("2017-01-26", "RFC 8040", []),
    "ietf-yang-patch": ("2017-02-22", "RFC 8072", []),
    "cutsheet-messages": ("2026-01-01", "our own: nothing but the groupings above", []),
}
"""Module to revision, source and features. Revisions as published; iana-if-type grows by itself."""


_MESSAGES = {"ietf-restconf", "ietf-yang-patch", "cutsheet-messages"}
_TYPES = {"ietf-inet-types", "ietf-yang-types"}


@cache
def folders() -> tuple[Path, ...]:
    """Where the modules lie."""
    carried = files("pyang") or []
    found = {Path(str(f.locate())).resolve().parent for f in carried if f.name.endswith(".yang")}
    return (OWN, *sorted(found))


def _text(name: str) -> str:
    return next(p for folder in folders() if (p := folder / f"{name}.yang").is_file()).read_text()


def _revision(name: str) -> str:
    """The latest revision that a module's text names; it stands first."""
    found = re.search(r"^\s*revision\s+\"?(\d{4}-\d\d-\d\d)", _text(name), re.MULTILINE)
    assert found, name
    return found[1]


def _namespace(name: str) -> str:
    return _text(name).partition("namespace")[2].split('"')[1]


@cache
def model(*, messages: bool = False) -> DataModel:
    """The modules of data together; or, with ``messages``, those of messages."""
    modules = [
        {
            "name": name,
            "revision": _revision(name),
            "namespace": _namespace(name),
            "conformance-type": "implement",
            "feature": features,
        }
        for name, (_, _, features) in IMPLEMENTED.items()
        if (name in _MESSAGES) == messages or name in _TYPES
    ]
    library = {"ietf-yang-library:modules-state": {"module-set-id": "tests", "module": modules}}
    return DataModel(json.dumps(library), [str(folder) for folder in folders()])


def check_config(tree: Mapping[str, Any]) -> None:
    """Validate a whole configuration, syntax and meaning.

    Raises:
        YangsonException: it is not valid.
    """
    model().from_raw(dict(tree)).validate(ValidationScope.all, ContentType.config)


def check_all(tree: Mapping[str, Any]) -> None:
    """The same for configuration and state together."""
    model().from_raw(dict(tree)).validate(ValidationScope.all, ContentType.all)


def check_message(message: Mapping[str, Any]) -> None:
    """Validate an error document (RFC 8040, 7.1), a YANG Patch or its status (RFC 8072).

    Raises:
        YangsonException: it is not valid.
    """
    (name, value), *more = message.items()
    assert not more, "a message has one member"
    instance = model(messages=True).from_raw({f"cutsheet-messages:{name.partition(':')[2]}": value})
    member = instance[f"cutsheet-messages:{name.partition(':')[2]}"]
    # Syntax alone: an error's path leads to data, of which the model of messages has none.
    member.validate(ValidationScope.syntax, ContentType.all)
