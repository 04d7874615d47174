from mocks.messages import Settle
from mocks.restconf.device import Restconf
from tests.mocks.hosts import ADDRESS, IPV4, a_world, ask, config_of


def test_a_power_cycle_brings_nothing_back() -> None:
    """What was put is what it boots with, the MTU and all."""
    world = a_world()
    host = world.machine("host")
    assert isinstance(host, Restconf)
    body = {"ietf-ip:ipv4": {"mtu": 9000, "address": [{"ip": "127.44.3.42", "prefix-length": 24}]}}
    moved = ask(host, "PUT", IPV4, body)
    act = moved.later[0].act
    assert isinstance(act, Settle)
    host.perform(act)
    before = config_of(host)
    world.reboot("host")
    assert config_of(host) == before
    assert "127.44.3.42" in world.answering()
    assert ADDRESS not in world.answering()


def test_what_a_hand_sets_in_the_world_is_what_it_tells() -> None:
    """The memory is the one truth; the server only shows it."""
    world = a_world()
    host = world.machine("host")
    assert isinstance(host, Restconf)
    world.another_hand("host").set_address("127.44.3.50", 25)
    told = ask(host, "GET", IPV4).json["ietf-ip:ipv4"]["address"]
    assert [(one["ip"], one["prefix-length"]) for one in told] == [("127.44.3.50", 25)]
