"""The device model of a simulated NMOS node: its Configuration API (AMWA IS-14 v1.0).

Objects of MS-05-02 by role path: the root block, the device manager, and a worker for each sender
and receiver. A sender's worker can be switched (2p1), which is its master switch. User labels are
those of the objects; no resource of IS-04 changes with them. Restores modify, and rebuild nothing.
"""

from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

BASE = ("x-nmos", "configuration", "v1.0")
ROOT, MANAGER = "root", "root.DeviceManager"
OK, FAILED, NOT_FOUND = 200, 400, 404
WARNING, ERROR = 300, 400
_TYPES: Mapping[str, type] = {"NcString": str, "NcBoolean": bool, "NcOid": int}


@dataclass(frozen=True, slots=True)
class Property:
    """One property: its name and type, whether it can be written, and what it is."""

    name: str
    type_name: str
    value: Any
    read_only: bool = False

    def takes(self, value: Any) -> bool:
        """Whether a value is of its type."""
        return type(value) is _TYPES[self.type_name]


Properties = Mapping[str, Property]
Model = Mapping[str, Properties]
"""Role path, then property id (``1p6``)."""


def model(
    unit: Mapping[str, str], workers: Mapping[str, bool | None], kept: Mapping[str, Any]
) -> Model:
    """The whole model.

    ``unit`` holds serial, model and name; ``workers`` the slots, and for senders whether they are
    on; ``kept`` what was written, by ``path/id``.
    """

    def text(path: str, own_id: str, name: str, usual: str = "") -> Property:
        return Property(name, "NcString", kept.get(f"{path}/{own_id}", usual))

    def common(path: str, oid: int) -> dict[str, Property]:
        role = path.rpartition(".")[2]
        return {
            "1p2": Property("oid", "NcOid", oid, read_only=True),
            "1p5": Property("role", "NcString", role, read_only=True),
            "1p6": text(path, "1p6", "userLabel"),
        }

    found: dict[str, Properties] = {
        ROOT: common(ROOT, 1),
        MANAGER: {
            **common(MANAGER, 2),
            "3p4": Property("serialNumber", "NcString", unit["serial"], read_only=True),
            "3p5": text(MANAGER, "3p5", "userInventoryCode"),
            "3p6": text(MANAGER, "3p6", "deviceName", unit["name"]),
        },
    }
    for oid, (slot, runs) in enumerate(workers.items(), 3):
        path = f"{ROOT}.{slot}"
        switch = {} if runs is None else {"2p1": Property("enabled", "NcBoolean", runs)}
        found[path] = {**common(path, oid), **switch}
    return found


def below(path: str, *, recurse: bool) -> Callable[[str], bool]:
    """Whether an object is the one at ``path``, or nested in it."""
    return lambda own: own == path or (recurse and own.startswith(f"{path}."))


def holder(model: Model, path: str, *, recurse: bool, descriptors: bool) -> dict[str, Any]:
    """An ``NcBulkPropertiesHolder`` of all that stands at ``path``."""
    wanted = below(path, recurse=recurse)
    return {
        "validationFingerprint": "sallow/1",
        "values": [
            {
                "path": own.split("."),
                "dependencyPaths": [],
                "allowedMembersClasses": [],
                "values": [
                    _held(own_id, one, descriptors=descriptors) for own_id, one in held.items()
                ],
                "isRebuildable": False,
            }
            for own, held in model.items()
            if wanted(own)
        ],
    }


def _held(own_id: str, one: Property, *, descriptors: bool) -> dict[str, Any]:
    descriptor = {
        "description": None,
        "id": _as_id(own_id),
        "name": one.name,
        "typeName": one.type_name,
        "isReadOnly": one.read_only,
        "isNullable": False,
        "isSequence": False,
        "isDeprecated": False,
        "constraints": None,
    }
    return {
        "id": _as_id(own_id),
        "descriptor": descriptor if descriptors else None,
        "value": one.value,
    }


def judged(
    model: Model, data_set: Any, path: str, *, recurse: bool
) -> tuple[list[dict[str, Any]], dict[str, Any]]:
    """What a restore comes to: an answer for each object of the set, and what is to be written.

    An object that fails leaves the others as they are judged: a restore is not atomic.
    """
    wanted = below(path, recurse=recurse)
    answers, changes = [], dict[str, Any]()
    for entry in data_set["values"]:
        own = ".".join(map(str, entry["path"]))
        if not wanted(own):
            continue
        if own not in model:
            answers.append(_answer(entry["path"], NOT_FOUND, [], "no such role path"))
            continue
        notices = list(_notices(model[own], entry["values"]))
        failed = any(one["noticeType"] == ERROR for one in notices)
        status = FAILED if failed else OK
        answers.append(_answer(entry["path"], status, notices, "not restored" if failed else None))
        if not failed:
            changes |= {
                f"{own}/{own_id}": value for own_id, value in _new(model[own], entry["values"])
            }
    return answers, changes


def _answer(path: list[str], status: int, notices: list[Any], said: str | None) -> dict[str, Any]:
    return {"path": path, "status": status, "notices": notices, "statusMessage": said}


def _notices(held: Properties, values: list[Any]) -> Iterator[dict[str, Any]]:
    for one in values:
        own_id = _as_text(one["id"])
        found = held.get(own_id)
        if found is None:
            yield _notice(one["id"], own_id, ERROR, "no such property")
        elif found.read_only and found.value != one["value"]:
            yield _notice(one["id"], found.name, WARNING, "it is read-only and stays as it is")
        elif not found.takes(one["value"]):
            yield _notice(one["id"], found.name, ERROR, f"it takes {found.type_name}")


def _notice(own_id: Any, name: str, kind: int, said: str) -> dict[str, Any]:
    return {"id": own_id, "name": name, "noticeType": kind, "noticeMessage": said}


def _new(held: Properties, values: list[Any]) -> Iterator[tuple[str, Any]]:
    for one in values:
        own_id = _as_text(one["id"])
        found = held[own_id]
        if not found.read_only and found.value != one["value"]:
            yield own_id, one["value"]


def _as_id(own_id: str) -> dict[str, int]:
    level, _, index = own_id.partition("p")
    return {"level": int(level), "index": int(index)}


def _as_text(own_id: Mapping[str, Any]) -> str:
    return f"{own_id['level']}p{own_id['index']}"
