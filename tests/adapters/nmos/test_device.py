import asyncio
import dataclasses
import json
from typing import Any

import pytest

from mocks.clock import HandClock
from mocks.in_memory import InMemory
from mocks.messages import Request
from mocks.world import World
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.nmos.device import GivesConfiguration, TellsOfSources
from orchestrator.adapters.open import make_opener
from orchestrator.errors import Rejected
from orchestrator.facility.configuration import PutBack
from orchestrator.facility.plan import Device, Interface, Plan, Room
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import Origin
from tests.adapters.nodes import BASE, NODE_API, OTHER, repoint
from tests.planning.scenes import MEDIA

TALKER, EAR = "127.44.3.42", "127.44.3.41"
OTHERS = {"talker": TALKER, "rack-node": EAR, "old-engine": "127.44.3.61"}
FROM_TALKER = Origin("talker", "PGM", TALKER)


def a_world(group: str = OTHER, second: str = "") -> World:
    """A node that sends to a group, and one that listens; ``second`` gives both a second leg."""
    return World.from_text(a_world_text(group, second), HandClock())


def a_world_text(group: str = OTHER, second: str = "") -> str:
    """The same as YAML."""
    legs = ("second_leg: 127.45.3.42,", "second_leg: 127.45.3.41,") if second else ("", "")
    return f"""
port: 80
networks: {{media: {{subnet: 127.44.3.0/24}}, second: {{subnet: 127.45.3.0/24}}}}
devices:
  talker:
    {{make: nmos, model: SN-2, serial: SW-8, firmware: "1.0", address: {TALKER}, prefix: 24,
      {legs[0]} sources: {{program: {{group: "{group}", label: PGM}}}}}}
  rack-node:
    {{make: nmos, model: SN-2, serial: SW-7, firmware: "1.0", address: {EAR}, prefix: 24,
      {legs[1]} destinations: {{monitor: {{label: MON}}}}}}
"""


def a_plan(**serials: str) -> Plan:
    """Both nodes, and a device that speaks something that nobody describes."""
    ways = {"old-engine": ("gull",)}
    return Plan(
        facility="Tern Point Radio",
        networks={"media": MEDIA},
        rooms={"rack": Room("rack", "point", "media")},
        devices={
            name: Device(
                name=name,
                room="rack",
                speaks=ways.get(name, ("nmos",)),
                serial=serials.get(name.replace("-", "_")),
                interfaces=(Interface("main", "media", at),),
            )
            for name, at in OTHERS.items()
        },
    )


def no_secrets(name: str) -> Secret:
    """A node signs in to nothing."""
    raise AssertionError(name)


def pointed(world: World, origin: Origin | None, group: str = OTHER, **serials: str) -> Any:
    """The receiver's active state after it was pointed, in a plan with such serials."""

    async def point() -> None:
        network = InMemory(world)
        opener = make_opener(
            a_plan(**serials), {}, no_secrets, {}, network=network, patience=Patience(attempts=1)
        )
        adapter = opener("rack-node", EAR)
        await adapter.write(dataclasses.replace(repoint(group), origin=origin))
        assert (await adapter.read()).destinations["MON"].hears == group
        await adapter.close()

    asyncio.run(point())
    own = asked(world, EAR, f"{NODE_API}/receivers").json[0]["id"]
    return asked(world, EAR, f"{BASE}/single/receivers/{own}/active").json


def asked(world: World, address: str, path: str) -> Any:
    """What a node of the world answers."""
    begun = world.begin(address, Request("GET", path, {"host": address}))
    assert begun is not None
    return world.finish(begun).response


def description(world: World) -> str:
    """The sender's own session description."""
    own = asked(world, TALKER, f"{NODE_API}/senders").json[0]["id"]
    text: str = asked(world, TALKER, f"{BASE}/single/senders/{own}/transportfile").body.decode()
    return text


def test_a_receiver_is_pointed_with_the_senders_own_description_and_id() -> None:
    """As the sender wrote it, word for word."""
    world = a_world()
    active = pointed(world, FROM_TALKER, talker="SW-8")
    assert active["transport_file"] == {"data": description(world), "type": "application/sdp"}
    assert active["sender_id"] == asked(world, TALKER, f"{NODE_API}/senders").json[0]["id"]
    (leg,) = active["transport_params"]
    assert (leg["multicast_ip"], leg["destination_port"]) == ("239.194.1.200", 5004)
    assert leg["source_ip"] is None, "so that the sender may be readdressed"
    assert world.writes("talker") == 0


def test_each_leg_is_pointed_at_the_senders_own_group_there() -> None:
    """Which may differ from leg to leg; group and port alone could not say so."""
    world = a_world(second="127.45.3.42")
    own = asked(world, TALKER, f"{NODE_API}/senders").json[0]["id"]
    patch(world, own, [{}, {"destination_ip": "239.195.1.200"}])
    active = pointed(world, FROM_TALKER)
    groups = [leg["multicast_ip"] for leg in active["transport_params"]]
    assert groups == ["239.194.1.200", "239.195.1.200"]


def patch(world: World, own: str, legs: list[dict[str, Any]]) -> None:
    """Stage and activate parameters of the sender."""
    body = {"transport_params": legs, "activation": {"mode": "activate_immediate"}}
    headers = {"host": TALKER, "content-type": "application/json"}
    path = f"{BASE}/single/senders/{own}/staged"
    begun = world.begin(TALKER, Request("PATCH", path, headers, json.dumps(body).encode()))
    assert begun is not None
    response = world.finish(begun).response
    assert response is not None
    assert response.status == 200


def test_a_group_that_needs_the_senders_address_is_joined_by_its_description() -> None:
    """RFC 4607: the join names the sender."""
    group = "232.194.1.200:5004"
    (leg,) = pointed(a_world(group), FROM_TALKER, group)["transport_params"]
    assert (leg["multicast_ip"], leg["source_ip"]) == ("232.194.1.200", TALKER)


@pytest.mark.parametrize(
    ("origin", "serials"),
    [
        pytest.param(None, {}, id="nobody is named"),
        pytest.param(FROM_TALKER, {"talker": "SW-9"}, id="another unit answers"),
        pytest.param(Origin("talker", "PGM", "127.44.3.43"), {}, id="nobody answers"),
        pytest.param(Origin("talker", "none", TALKER), {}, id="no such sender"),
        pytest.param(Origin("old-engine", "PGM", TALKER), {}, id="it speaks no NMOS"),
    ],
)
def test_else_group_and_port_are_all_that_is_written(
    origin: Origin | None, serials: dict[str, str]
) -> None:
    """A description that can't be had does not stop what is planned and proved."""
    active = pointed(a_world(), origin, **serials)
    assert active["transport_file"] == {"data": None, "type": None}
    assert active["sender_id"] is None
    assert active["transport_params"][0]["multicast_ip"] == "239.194.1.200"


def test_a_description_that_leads_elsewhere_is_not_used() -> None:
    """The group is what was planned; the sender may not be there yet."""
    active = pointed(a_world(group="239.194.9.9:5004"), FROM_TALKER)
    assert active["transport_file"]["data"] is None
    assert active["transport_params"][0]["multicast_ip"] == "239.194.1.200"


def test_it_tells_of_its_sources() -> None:
    """So that whoever opens it can ask, whatever else it is."""
    opener = make_opener(a_plan(), {}, no_secrets, {}, network=InMemory(a_world()))
    assert isinstance(opener("talker", TALKER), TellsOfSources)


def test_a_whole_configuration_through_its_adapter() -> None:
    """Had, tried and put back; a part that fails is told beside those that were done."""
    text = a_world_text().replace("SW-8, firmware", "SW-8, configuration: true, firmware")
    world = World.from_text(text, HandClock())

    async def whole() -> tuple[PutBack, ...]:
        opener = make_opener(
            a_plan(), {}, no_secrets, {}, network=InMemory(world), patience=Patience(attempts=1)
        )
        adapter = opener("talker", TALKER)
        assert isinstance(adapter, GivesConfiguration)
        parts = await adapter.configuration()
        assert all(one.done for one in await adapter.put_back(parts, only_try=True))
        with pytest.raises(Rejected):
            await adapter.put_back({"another": {}}, only_try=True)
        done = await adapter.put_back({**parts, "another": {}}, only_try=False)
        await adapter.close()
        return done

    *done, failed = asyncio.run(whole())
    assert done
    assert all(one.done for one in done)
    assert (failed.path, failed.done) == ("another", False)
    assert "takes no configuration" in failed.said[0]
