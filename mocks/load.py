"""Read a simulated world from YAML: strict, with one clear error that says where and what to do.

Unknown and duplicate keys are refused. The file is the physical truth of a world: what each device
is, where it stands, and what it is set to. It knows nothing of any plan.
"""

import difflib
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network
from typing import Any

import yaml

from mocks.device import Device, Unit
from mocks.makes.corvid import Corvid
from mocks.makes.marram import Marram
from mocks.makes.tamarisk import Tamarisk
from mocks.nmos.habits import Habit
from mocks.nmos.node import CONFIGURATION, HABITS, SECOND_LEG, Nmos
from mocks.nmos.registry import Registry
from mocks.nmos.restconf import NmosRestconf
from mocks.restconf.device import Restconf
from mocks.site import Network, Site, Span
from mocks.state import (
    TOP_NUMBER,
    Destination,
    Memory,
    Source,
    State,
    checked_group,
    checked_lan,
    derived_group,
)

MAKES: dict[str, type[Device]] = {
    make.make: make for make in (Corvid, Tamarisk, Marram, Nmos, NmosRestconf, Restconf, Registry)
}
SETTLE_S = 0.15
DEFAULT_PORT = 8080
SETTINGS = {"ptp_domain": (0, 127), "ptp_priority": (128, 255)}
NAME_PARTS = 2


class WorldError(ValueError):
    """A world file is wrong: where, what, and how to mend it, in one line."""

    def __init__(self, where: str, what: str) -> None:
        super().__init__(f"{where}: {what}")


@dataclass(frozen=True, slots=True)
class WorldFile:
    """What a world file says, read: the port, the site, the devices in the order of the file."""

    port: int
    site: Site
    devices: tuple[Device, ...]


class _Loader(yaml.SafeLoader):
    """Safe loading, with duplicate keys refused."""

    def construct_mapping(self, node: Any, deep: bool = False) -> dict[Any, Any]:  # noqa: FBT001, FBT002  # the library's signature
        seen = set()
        for key_node, _ in node.value:
            key = self.construct_object(key_node, deep=True)
            if key in seen:
                line = key_node.start_mark.line + 1
                raise WorldError(f"line {line}", f"{key!r} stands twice; keep one")
            seen.add(key)
        return super().construct_mapping(node, deep=deep)


def read_world(text: str, where: str = "world") -> WorldFile:
    """Read a world from YAML text; ``where`` is named in errors.

    Raises:
        WorldError: anything in it is wrong.
    """
    try:
        document = yaml.load(text, Loader=_Loader)  # noqa: S506  # a SafeLoader
    except yaml.YAMLError as error:
        raise WorldError(where, f"no YAML: {' '.join(str(error).split())}") from error
    except WorldError as error:
        raise WorldError(where, str(error)) from error
    return world_of(document, where)


def world_of(document: object, where: str = "world") -> WorldFile:
    """Read a world from plain dicts and lists, as YAML would give them.

    Raises:
        WorldError: anything in it is wrong.
    """
    top = _Part(document, where)
    top.only("port", "networks", "off_limits", "on_air", "meant", "devices")
    networks = tuple(_network(name, part) for name, part in top.part("networks").parts())
    devices = tuple(
        _device(name, part, Site(networks)) for name, part in top.part("devices").parts()
    )
    return WorldFile(
        port=top.whole("port", DEFAULT_PORT, TOP_NUMBER),
        site=_site(top, networks, {device.unit.name: device for device in devices}),
        devices=devices,
    )


class _Part:
    """A mapping in the file, and where it stands."""

    def __init__(self, value: object, where: str) -> None:
        if not isinstance(value, Mapping):
            raise WorldError(where, f"a mapping is wanted here, not {value!r}")
        self.value = {str(key): held for key, held in value.items()}
        self.where = where

    def only(self, *known: str) -> None:
        for key in self.value:
            if key not in known:
                near = difflib.get_close_matches(key, known, 1)
                hint = f"; did you mean {near[0]!r}?" if near else f"; known: {', '.join(known)}"
                raise WorldError(self.where, f"unknown key {key!r}{hint}")

    def at(self, key: str) -> str:
        return f"{self.where}: {key}"

    def must(self, key: str) -> Any:
        if key not in self.value:
            raise WorldError(self.where, f"{key!r} is missing; add it")
        return self.value[key]

    def part(self, key: str) -> "_Part":
        return _Part(self.value.get(key) or {}, self.at(key))

    def parts(self) -> Iterable[tuple[str, "_Part"]]:
        return [(key, _Part(held or {}, self.at(key))) for key, held in self.value.items()]

    def text(self, key: str, usual: str | None = None) -> str:
        held = self.must(key) if usual is None else self.value.get(key, usual)
        if not isinstance(held, str):
            raise WorldError(self.at(key), f"{held!r} is no text; put it in quotes")
        return held

    def whole(self, key: str, usual: int, top: int) -> int:
        held = self.value.get(key, usual)
        if type(held) is not int or not 0 <= held <= top:
            raise WorldError(self.at(key), f"{held!r} is no whole number from 0 to {top}")
        return held

    def truth(self, key: str) -> bool:
        held = self.value.get(key, False)
        if not isinstance(held, bool):
            raise WorldError(self.at(key), f"{held!r} is neither true nor false")
        return held

    def seconds(self, key: str, usual: float) -> float:
        held = self.value.get(key, usual)
        if isinstance(held, bool) or not isinstance(held, int | float) or held < 0:
            raise WorldError(self.at(key), f"{held!r} is no number of seconds")
        return float(held)

    def texts(self, key: str) -> list[str]:
        held = self.value.get(key, [])
        if not isinstance(held, list):
            raise WorldError(self.at(key), "a list is wanted here")
        return [str(one) for one in held]

    def group(self) -> str:
        try:
            return checked_group(self.text("group"))
        except ValueError as error:
            raise WorldError(self.at("group"), str(error)) from error


def _network(name: str, part: _Part) -> Network:
    part.only("subnet", "bench", "transit")
    try:
        subnet = IPv4Network(part.text("subnet"))
    except ValueError as error:
        raise WorldError(part.at("subnet"), str(error)) from error
    transit = part.part("transit")
    transit.only("numbers", "addresses")
    return Network(
        name,
        subnet,
        part.truth("bench"),
        _spans(transit, "numbers", int),
        _spans(transit, "addresses", lambda text: int(IPv4Address(text.strip()))),
    )


def _spans(part: _Part, key: str, read: Callable[[str], int]) -> tuple[Span, ...]:
    held = part.value.get(key, [])
    spans = []
    for one in held if isinstance(held, list) else [held]:
        first, _, last = str(one).partition("-")
        try:
            spans.append(Span(read(first), read(last or first)))
        except ValueError as error:
            raise WorldError(part.at(key), f"{one!r} is no range 'a-b'") from error
    return tuple(spans)


def _site(top: _Part, networks: tuple[Network, ...], devices: Mapping[str, Device]) -> Site:
    off_limits = top.texts("off_limits")
    for name in off_limits:
        if name not in devices:
            raise WorldError(top.at("off_limits"), f"no device {name!r}")
    on_air = [_slot(text, devices, "destination", top.at("on_air")) for text in top.texts("on_air")]
    meant = top.part("meant")
    return Site(
        networks,
        frozenset(off_limits),
        frozenset(on_air),
        {
            _slot(key, devices, "destination", meant.where): frozenset(
                _slot(text, devices, "source", meant.at(key)) for text in meant.texts(key)
            )
            for key in meant.value
        },
    )


_PREFIX = {"source": "input-", "destination": "output-"}  # how the TN-8 names its own connectors


def _slot(text: str, devices: Mapping[str, Device], what: str, where: str) -> str:
    parts = text.split("/")
    device = devices.get(parts[0])
    if device is None or len(parts) != NAME_PARTS:
        raise WorldError(where, f"{text!r} is no device/slot of this world")
    running = device.memory.running
    slots: Iterable[str] = running.sources if what == "source" else running.destinations
    for slot in (parts[1], parts[1].removeprefix(_PREFIX[what])):
        if slot in slots:
            return f"{parts[0]}/{slot}"
    raise WorldError(where, f"{parts[0]} has no {what} {parts[1]!r}; it has {', '.join(slots)}")


def _device(name: str, part: _Part, site: Site) -> Device:
    part.only(
        *("make", "model", "serial", "firmware", "address", "prefix", "gateway", "sign_in"),
        *(
            "settings",
            "sources",
            "destinations",
            "settle_s",
            "second_leg",
            "configuration",
            "habits",
        ),
    )
    make = MAKES.get(part.text("make"))
    if make is None:
        raise WorldError(part.at("make"), f"unknown; there are {', '.join(MAKES)}")
    try:
        lan = checked_lan(part.must("address"), part.must("prefix"), part.value.get("gateway"))
    except ValueError as error:
        raise WorldError(part.where, str(error)) from error
    if site.network(lan.address) is None:
        raise WorldError(part.at("address"), f"{lan.address} is on no network of this world")
    state = State(
        lan,
        {slot: _source(one, make) for slot, one in part.part("sources").parts()},
        {slot: _destination(one, make) for slot, one in part.part("destinations").parts()},
        _settings(part.part("settings")),
        {**_second_leg(part, make), **_configuration(part, make), **_habits(part, make)},
    )
    return make(_unit(name, part, make), Memory(state, state))


def _second_leg(part: _Part, make: type[Device]) -> dict[str, str]:
    """The address of a second media port, where a make has one."""
    if "second_leg" not in part.value:
        return {}
    if not issubclass(make, Nmos):
        raise WorldError(part.at("second_leg"), f"a {make.make} has one leg; leave it out")
    try:
        return {SECOND_LEG: str(IPv4Address(part.text("second_leg")))}
    except ValueError as error:
        raise WorldError(part.at("second_leg"), str(error)) from error


def _configuration(part: _Part, make: type[Device]) -> dict[str, bool]:
    """Whether its whole configuration can be had and put back, where a make can do that."""
    if "configuration" not in part.value:
        return {}
    if not issubclass(make, Nmos):
        raise WorldError(part.at("configuration"), f"a {make.make} has none; leave it out")
    return {CONFIGURATION: part.truth("configuration")}


def _habits(part: _Part, make: type[Device]) -> dict[str, list[str]]:
    """What a node does within the standards, or nearly, that another would not."""
    if "habits" not in part.value:
        return {}
    known = [str(one) for one in Habit] if issubclass(make, Nmos) else []
    for habit in (given := part.texts("habits")):
        if habit not in known:
            has = f"there are {', '.join(known)}" if known else f"a {make.make} has none"
            raise WorldError(part.at("habits"), f"unknown {habit!r}; {has}")
    return {HABITS: given}


def _unit(name: str, part: _Part, make: type[Device]) -> Unit:
    sign_in = part.part("sign_in")
    sign_in.only("user", "secret")
    return Unit(
        name=name,
        model=part.text("model"),
        serial=part.text("serial"),
        firmware=part.text("firmware"),
        user=sign_in.text("user", ""),
        secret=sign_in.text("secret", None if make.signs_in else ""),
        settle_s=part.seconds("settle_s", SETTLE_S),
    )


def _source(part: _Part, make: type[Device]) -> Source:
    part.only("number", "group", "label", "enabled")
    number = part.whole("number", 0, TOP_NUMBER)
    group = part.group() if "group" in part.value else derived_group(number)
    if issubclass(make, Nmos):
        number = 0  # it keeps groups alone
    if make.derives_group and group != derived_group(number):
        raise WorldError(part.where, f"a {make.make} derives its groups; leave 'group' out")
    return Source(number, group, part.text("label", ""), part.truth("enabled"))


def _destination(part: _Part, make: type[Device]) -> Destination:
    part.only("number", "group", "label")
    if (other := {"number": "group", "group": "number"}[make.listens_by]) in part.value:
        raise WorldError(part.where, f"a {make.make} listens by {make.listens_by}, not by {other}")
    number = part.whole("number", 0, TOP_NUMBER)
    group = part.group() if "group" in part.value else derived_group(number)
    return Destination(number, group, part.text("label", ""))


def _settings(part: _Part) -> dict[str, int]:
    part.only(*SETTINGS)
    return {name: part.whole(name, usual, top) for name, (usual, top) in SETTINGS.items()}
