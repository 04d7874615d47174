from typing import Any

import pytest

from orchestrator.adapters.declared import states
from orchestrator.adapters.declared.entries import Entry
from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.facility.description import Pick
from orchestrator.facility.found import DestinationState, Identity, InterfaceState, SourceState
from orchestrator.facility.traits import Hears, Traits
from tests.adapters.makes import GROUP, TAMARISK


def entry(value: Any) -> Entry:
    """An entry of that value."""
    return Entry(name="it", key="1", value=value, pointer="/x/1")


def fields(part: str) -> dict[str, Pick]:
    """The fields of the Tamarisk node."""
    return dict(TAMARISK.reads[part].fields)


def test_identity() -> None:
    """Serial and model are needed; firmware may be missing from the description."""
    at = {"serial": Pick(at="/s"), "model": Pick(at="/m")}
    assert states.identity(entry({"s": 118, "m": "TN-8"}), at) == Identity(
        serial="118", model="TN-8"
    )
    with pytest.raises(Unusable, match="gives no serial"):
        states.identity(entry({"s": "", "m": "TN-8"}), at)
    with pytest.raises(Unusable, match="where 'model' is read"):
        states.identity(entry({"s": "1"}), {"serial": Pick(at="/s")})


def test_interface() -> None:
    """Address and prefix out of one text; an empty gateway is none."""
    at = fields("interfaces")
    assert states.interface(entry({"addr": "127.44.3.71/24", "gw": ""}), at) == InterfaceState(
        address="127.44.3.71", prefix=24
    )
    found = states.interface(entry({"addr": "127.44.3.71/24", "gw": "127.44.3.254"}), at)
    assert found.gateway == "127.44.3.254"
    with pytest.raises(Unusable):
        states.interface(entry({"addr": "127.44.3.71", "gw": ""}), at)


def test_source() -> None:
    """Assigned and enabled, and unassigned."""
    value = {"num": "0421", "dest": GROUP, "name": "MIC", "state": "on"}
    assert states.source(entry(value), fields("sources"), 1) == SourceState(
        number=421, groups=(GROUP,), label="MIC", enabled=True
    )
    value = {"num": "----", "dest": "", "name": "", "state": "off"}
    assert states.source(entry(value), fields("sources"), 1) == SourceState(
        number=None, groups=(None,), label="", enabled=False
    )


def test_legs() -> None:
    """Each leg has its own field, or one field serves both (SMPTE ST 2022-7 plants do either)."""
    two = {"group_1": Pick(at="/a"), "group_2": Pick(at="/b")}
    one = {"group": Pick(at="/a")}
    value = {"a": "239.1.1.1:5004", "b": "239.2.1.1:5004"}
    assert states.source(entry(value), two, 2).groups == (value["a"], value["b"])
    assert states.source(entry(value), one, 2).groups == (value["a"], value["a"])
    assert states.source(entry(value), {}, 2).groups == ()  # it tells no group


def test_destination() -> None:
    """What it hears is a number or a group, as the traits say."""
    at = fields("destinations")
    by_group = Traits(can=frozenset(), hears=Hears.GROUP)
    by_number = Traits(can=frozenset(), hears=Hears.NUMBER)
    assert states.destination(
        entry({"from": GROUP, "name": "M"}), at, by_group
    ) == DestinationState(hears=GROUP, label="M")
    assert states.destination(entry({"from": "", "name": ""}), at, by_group).hears is None
    assert states.destination(entry({"from": 311, "name": ""}), at, by_number).hears == 311
    with pytest.raises(Unusable, match="is no number"):
        states.destination(entry({"from": GROUP, "name": ""}), at, by_number)


def test_written_gives_back_what_was_found() -> None:
    """A value that is sent back unchanged is in the device's own writing, parts apart."""
    value = {"num": "0421", "dest": "", "name": "MIC", "state": "on"}
    at = fields("sources")
    assert [states.written(entry(value), at, name) for name in ("number", "group", "enabled")] == [
        "0421",
        "",
        "on",
    ]
    lan = entry({"addr": "127.44.3.71/24", "gw": ""})
    assert states.written(lan, fields("interfaces"), "address") == "127.44.3.71"
    with pytest.raises(Unusable, match="where 'nothing' is read"):
        states.written(lan, fields("interfaces"), "nothing")
