"""Each rule: a breach that the referee must see, and a clean run that it must not flag."""

from collections.abc import Callable

import httpx
import pytest

from mocks.clock import HandClock
from mocks.faults import Fault, Kind
from mocks.messages import Request
from mocks.referee import Referee
from mocks.verdict import Silence
from mocks.world import World

Ask = Callable[..., httpx.Response]


@pytest.fixture
def referee(world: World) -> Referee:
    """A referee that watches the small world from the start."""
    return Referee(world)


class Hands:
    """The writes of these tests, in a few words each; every one must be accepted."""

    def __init__(self, ask: Ask, clock: HandClock) -> None:
        self.ask = ask
        self.clock = clock

    def stream(self, name: str, slot: str = "program-1", /, **body: object) -> None:
        """Write to a stream of a CE-40."""
        self.ask(name, "PATCH", f"/streams/{slot}", body).raise_for_status()

    def tx(self, slot: str, **body: object) -> None:
        """Write to a sender of the node."""
        self.ask("node", "PUT", f"/api/tx/{slot}", body).raise_for_status()

    def store(self, name: str = "node") -> None:
        """Have a TN-8 keep what runs."""
        self.ask(name, "POST", "/api/store").raise_for_status()

    def move(self, name: str, address: str) -> None:
        """Readdress a device, and wait until it has settled."""
        if name in ("node", "feed", "alert"):
            body: dict[str, object] = {"addr": f"{address}/25", "gw": ""}
            self.ask(name, "PUT", "/api/ports/main", body).raise_for_status()
        else:
            body = {"ip": address, "prefix": 25, "router": None}
            self.ask(name, "PUT", "/lan", body).raise_for_status()
        self.clock.advance(0.2)


@pytest.fixture
def hands(ask: Ask, clock: HandClock) -> Hands:
    """Somebody who writes to the devices."""
    return Hands(ask, clock)


def broken(referee: Referee) -> list[tuple[str, str]]:
    """Rule and words of each breach."""
    return [(one.rule, one.what) for one in referee.verdict().broken]


# A whole change, done as the rules ask.


def test_a_clean_renumber(referee: Referee, hands: Hands, clock: HandClock) -> None:
    """Disable, renumber, point the listeners at it, enable: no rule broken, all of it counted."""
    hands.stream("north", sending=False)
    clock.advance(1)
    hands.stream("north", channel=315)
    hands.ask("south", "PATCH", "/inputs/codec-1", {"channel": 315})
    for name in ("node", "feed"):
        hands.ask(name, "PUT", "/api/rx/1", {"from": "239.194.1.59:5004"})
        hands.store(name)
    clock.advance(1)
    hands.stream("north", sending=True)
    verdict = referee.verdict()
    assert verdict.clean
    assert [(one.device, one.kind, one.count) for one in verdict.writes] == [
        ("feed", "repoint", 1),
        ("feed", "save", 1),
        ("node", "repoint", 1),
        ("node", "save", 1),
        ("north", "disable", 1),
        ("north", "enable", 1),
        ("north", "renumber", 1),
        ("south", "repoint", 1),
    ]
    assert verdict.silences == (Silence("north/program-1", 100.0, 102.0, on_air=True),)


def test_a_clean_join(referee: Referee, hands: Hands, net: str) -> None:
    """A bench unit switched off and numbered on the bench joins, and is then enabled."""
    hands.stream("fresh", sending=False)
    hands.stream("fresh", channel=331)
    hands.ask("fresh", "PATCH", "/inputs/codec-1", {"channel": 0})
    hands.move("fresh", f"{net}.33")
    hands.stream("fresh", sending=True)
    assert broken(referee) == []
    assert referee.verdict().count("readdress", "fresh") == 1


def test_a_clean_swap_through_transit(referee: Referee, hands: Hands, net: str) -> None:
    """Two devices exchange addresses and numbers, by way of transit."""
    for name in ("north", "south"):
        hands.stream(name, sending=False)
    hands.stream("north", channel=2990)
    hands.stream("south", channel=311)
    hands.stream("north", channel=321)
    for name in ("node", "feed"):
        hands.ask(name, "PUT", "/api/rx/1", {"from": "239.194.1.65:5004"})
        hands.store(name)
    hands.ask("south", "PATCH", "/inputs/codec-1", {"channel": 321})
    hands.move("north", f"{net}.100")
    hands.move("south", f"{net}.31")
    hands.move("north", f"{net}.32")
    for name in ("north", "south"):
        hands.stream(name, sending=True)
    assert broken(referee) == []


def test_a_clean_move_of_a_node(referee: Referee, hands: Hands, net: str) -> None:
    """A device that saves on request lets go by saving before another takes what it held."""
    hands.tx("1", state="off")
    hands.tx("1", num="0430", dest="239.194.1.174:5004")
    hands.ask("north", "PATCH", "/inputs/codec-1", {"channel": 430})
    hands.store()
    hands.move("node", f"{net}.43")
    hands.store()
    hands.tx("1", state="on")
    hands.store()
    hands.stream("south", sending=False)
    hands.stream("south", channel=421)
    hands.move("south", f"{net}.42")
    assert broken(referee) == []


# H1


def test_h1_number_taken_twice(referee: Referee, hands: Hands) -> None:
    """A number that another source holds, though it is disabled, is taken: H1."""
    hands.stream("south", sending=False)
    hands.stream("south", channel=312)
    assert broken(referee) == [
        ("H1", "number 312 on media is held by north/program-2, south/program-1"),
        ("H1", "group 239.194.1.56:5004 on media is held by north/program-2, south/program-1"),
    ]
    assert referee.verdict().broken[0].at == 100.0


def test_h1_group_alone(referee: Referee, hands: Hands) -> None:
    """A group taken twice is H1 though the numbers differ."""
    hands.tx("2", dest="239.194.1.56:5004")
    assert broken(referee) == [
        ("H1", "group 239.194.1.56:5004 on media is held by node/2, north/program-2")
    ]


def test_h1_on_joining(referee: Referee, hands: Hands, net: str) -> None:
    """A bench unit may hold any number on the bench; it may not bring a taken one along."""
    hands.stream("fresh", sending=False)
    hands.stream("fresh", channel=311)
    assert broken(referee) == []
    hands.move("fresh", f"{net}.33")
    assert (
        "H9",
        "number 311 on media would be held by fresh/program-1, north/program-1 after a power cycle",
    ) in broken(referee)
    assert referee.verdict().rules() == {"H1", "H9"}


def test_h1_known_duplicate_may_shrink_and_not_grow(world: World, hands: Hands) -> None:
    """A duplicate that was there at the start is known; another holder, or its return, is not."""
    world.device("south").set_source("program-1", number=311)
    world.device("north").set_source("program-2", number=313)
    referee = Referee(world)
    hands.stream("south", title="still a duplicate")
    hands.stream("south", sending=False)
    hands.stream("south", channel=321)
    assert broken(referee) == []
    hands.stream("south", channel=311)
    assert referee.verdict().rules() == {"H1"}


def test_h1_known_duplicate_gains_a_holder(world: World, hands: Hands) -> None:
    """A third holder of a known duplicate is a breach."""
    world.device("south").set_source("program-1", number=311)
    referee = Referee(world)
    hands.tx("2", num="0311")
    assert broken(referee) == [
        ("H1", "number 311 on media is held by node/2, north/program-1, south/program-1")
    ]


# H2


def test_h2_address_taken_twice(referee: Referee, hands: Hands, net: str) -> None:
    """A device moved onto another's address: H2, and H9 while it was still settling."""
    hands.stream("south", sending=False)
    hands.ask("south", "PATCH", "/inputs/codec-1", {"channel": 0})
    hands.move("south", f"{net}.31")
    assert referee.verdict().rules() == {"H2", "H9"}
    assert ("H2", f"address {net}.31 on media is held by north, south") in broken(referee)


def test_h2_no_answer_is_not_vacant(world: World, referee: Referee, hands: Hands, net: str) -> None:
    """The address of a device without a cable is held."""
    world.pull_cable("north")
    hands.stream("south", sending=False)
    hands.move("south", f"{net}.31")
    assert "H2" in referee.verdict().rules()


def test_h2_known_at_the_start(world: World, hands: Hands, net: str) -> None:
    """Two devices at one address at the start are known; on a bench they may share one anyway."""
    world.device("south").set_address(f"{net}.31")
    referee = Referee(world)
    hands.stream("north", title="New")
    assert broken(referee) == []


# H3


def test_h3_renumbered_while_enabled(referee: Referee, hands: Hands) -> None:
    """A TN-8 lets a running sender be renumbered; the rule does not."""
    hands.tx("1", num="0430")
    was, now = "421 239.194.1.165:5004", "430 239.194.1.165:5004"
    what = f"node/1 was renumbered while enabled ({was}, now {now})"
    assert broken(referee) == [("H3", what)]


def test_h3_not_on_a_power_cycle(referee: Referee, hands: Hands, world: World) -> None:
    """A power cycle that brings an old number back is no renumber."""
    hands.tx("1", state="off")
    hands.tx("1", num="0430", dest="239.194.1.174:5004")
    hands.tx("1", state="on")
    world.reboot("node")
    assert broken(referee) == []


# H4


def test_h4_readdressed_while_enabled(referee: Referee, hands: Hands, net: str) -> None:
    """A device is not readdressed while one of its sources is enabled."""
    hands.move("north", f"{net}.33")
    assert broken(referee) == [
        (
            "H4",
            f"north was readdressed while its source program-1 was enabled ({net}.31 to {net}.33)",
        )
    ]


def test_h4_is_judged_when_it_is_asked_for(referee: Referee, hands: Hands, net: str) -> None:
    """Asked for while enabled is a breach at once, though all is off when it takes effect."""
    body = {"ip": f"{net}.33", "prefix": 25, "router": None}
    hands.ask("north", "PUT", "/lan", body)
    hands.stream("north", sending=False)
    hands.clock.advance(1)
    assert [(one.rule, one.at) for one in referee.verdict().broken] == [("H4", 100.0)]


def test_h4_change_on_a_bench_after_leaving(referee: Referee, hands: Hands, net: str) -> None:
    """A device that landed at a transit address and went on to a bench may be changed there."""
    hands.stream("north", sending=False)
    hands.move("north", f"{net}.100")
    hands.move("north", f"{net}.140")
    hands.stream("north", channel=7)
    assert broken(referee) == []


def test_h4_in_transit_at_the_start(world: World, hands: Hands) -> None:
    """What was enabled in transit when the watch began is known."""
    world.device("north").set_source("program-2", number=2990, enabled=True)
    referee = Referee(world)
    hands.stream("north", title="New")
    assert broken(referee) == []


def test_h4_enabled_while_settling(referee: Referee, hands: Hands, net: str) -> None:
    """Asked for while all is off, but enabled before it takes effect: a breach all the same."""
    hands.stream("north", sending=False)
    body = {"ip": f"{net}.33", "prefix": 25, "router": None}
    hands.ask("north", "PUT", "/lan", body)
    assert broken(referee) == []
    hands.stream("north", sending=True)
    hands.clock.advance(1)
    assert referee.verdict().rules() == {"H4"}


@pytest.mark.parametrize(
    ("body", "word"),
    [({"channel": 315}, "renumbered"), ({"title": "New"}, "relabelled")],
)
def test_h4_touched_after_landing(
    referee: Referee, hands: Hands, net: str, body: dict[str, object], word: str
) -> None:
    """After a readdress within the facility no source of the device is touched but to enable."""
    hands.stream("north", sending=False)
    hands.move("north", f"{net}.33")
    hands.stream("north", **body)
    what = f"north/program-1 was {word} after its device was readdressed"
    assert broken(referee) == [("H4", what)]


def test_h4_disabled_after_landing(referee: Referee, hands: Hands, net: str) -> None:
    """Brought back after the readdress and silenced again: H4; as a new run it is none."""
    hands.stream("north", sending=False)
    hands.move("north", f"{net}.33")
    hands.stream("north", sending=True)
    referee.new_run()
    hands.stream("north", sending=False)
    assert broken(referee) == []
    hands.move("north", f"{net}.31")
    hands.stream("north", sending=True)
    hands.stream("north", sending=False)
    assert broken(referee) == [
        ("H4", "north/program-1 was disabled after its device was readdressed")
    ]


def test_h4_moved_twice(referee: Referee, hands: Hands, net: str) -> None:
    """A second readdress comes only out of transit."""
    hands.stream("north", sending=False)
    hands.move("north", f"{net}.100")
    hands.move("north", f"{net}.33")
    assert broken(referee) == []
    hands.move("north", f"{net}.34")
    assert broken(referee) == [
        ("H4", "north was readdressed a second time, and not out of transit")
    ]


def test_h4_nothing_on_a_bench(referee: Referee, hands: Hands, net: str) -> None:
    """On a bench a device may be moved while enabled; leaving for one, it may be changed after."""
    hands.move("fresh", f"{net}.151")
    assert broken(referee) == []
    hands.stream("south", sending=False)
    hands.move("south", f"{net}.152")
    hands.stream("south", channel=9, title="free")
    hands.stream("south", sending=True)
    hands.stream("south", sending=False)
    assert broken(referee) == []


def test_h4_joining_while_enabled(referee: Referee, hands: Hands, net: str) -> None:
    """A bench unit that joins must be silent."""
    hands.ask("fresh", "PATCH", "/inputs/codec-1", {"channel": 0})
    hands.move("fresh", f"{net}.33")
    assert referee.verdict().rules() == {"H4"}


def test_h4_landed_by_a_power_cycle(world: World, referee: Referee, hands: Hands, net: str) -> None:
    """An accepted address that a power cycle brings into effect is a landing, too."""
    hands.stream("north", sending=False)
    world.add_fault("north", Fault(Kind.REBOOT_AFTER, method="PUT"))
    with pytest.raises(httpx.ReadError):
        hands.move("north", f"{net}.33")
    assert world.device("north").address == f"{net}.33"
    hands.stream("north", title="New")
    assert referee.verdict().rules() == {"H4"}
    assert referee.verdict().count("readdress") == 1


def test_h4_taken_back_by_a_power_cycle(
    world: World, referee: Referee, hands: Hands, net: str
) -> None:
    """A readdress that a power cycle undid is as if it had not been."""
    hands.tx("1", state="off")
    hands.move("node", f"{net}.43")
    world.reboot("node")
    hands.tx("1", state="off")
    hands.tx("1", name="New")
    assert broken(referee) == []


def test_h4_enabled_in_transit(referee: Referee, hands: Hands, net: str) -> None:
    """Nothing is enabled on a transit number, nor at a transit address."""
    hands.stream("north", sending=False)
    hands.stream("north", channel=2995)
    assert broken(referee) == []
    hands.stream("north", sending=True)
    hands.stream("south", sending=False)
    hands.move("south", f"{net}.100")
    hands.stream("south", sending=True)
    assert broken(referee) == [
        ("H4", "north/program-1 is enabled on transit number 2995"),
        ("H4", f"south/program-1 is enabled at transit address {net}.100"),
    ]


# H6


def test_h6_off_limits(referee: Referee, hands: Hands) -> None:
    """Reading what is off limits is allowed; writing to it is not, whatever it answers."""
    hands.ask("alert", "GET", "/api/tx")
    assert broken(referee) == []
    hands.ask("alert", "PUT", "/api/tx/9", {"name": "x"})
    assert broken(referee) == [("H6", "alert is off limits and was sent PUT")]


# H8


def test_h8_old_listener_hears_the_newcomer(referee: Referee, hands: Hands) -> None:
    """A listener left behind on a number hears whoever takes it next."""
    hands.stream("north", sending=False)
    hands.stream("north", channel=315)
    hands.stream("south", sending=False)
    hands.stream("south", channel=311)
    assert broken(referee) == []
    hands.stream("south", sending=True)
    assert broken(referee) == [
        ("H8", f"{name} hears south/program-1") for name in ("south/codec-1", "node/1", "feed/1")
    ]


def test_h8_dangling_pointer(world: World, hands: Hands) -> None:
    """A pointer that pointed at nobody hears nobody it is not meant to."""
    world.device("north").set_destination("codec-1", number=333)
    referee = Referee(world)
    hands.tx("2", num="0333", dest="239.194.1.77:5004")
    hands.tx("2", state="on")
    assert broken(referee) == [("H8", "north/codec-1 hears node/2")]


def test_h8_pointed_at_before_it_was_enabled(world: World, hands: Hands) -> None:
    """The source that a destination pointed to at the start may be enabled later."""
    world.device("south").set_destination("codec-1", number=312)
    referee = Referee(world)
    hands.stream("north", "program-2", sending=True)
    assert broken(referee) == []


def test_h8_meant_is_meant(world: World, referee: Referee, hands: Hands, net: str) -> None:
    """A destination may come to hear what is meant for it, and nothing else may."""
    hands.stream("fresh", sending=False)
    hands.stream("fresh", channel=331)
    hands.ask("fresh", "PATCH", "/inputs/codec-1", {"channel": 0})
    hands.move("fresh", f"{net}.33")
    hands.ask("south", "PATCH", "/inputs/codec-1", {"channel": 331})
    hands.stream("fresh", sending=True)
    assert broken(referee) == []
    hands.ask("north", "PATCH", "/inputs/codec-1", {"channel": 331})
    assert broken(referee) == [("H8", "north/codec-1 hears fresh/program-1")]
    assert world.site.meant["south/codec-1"] == {"fresh/program-1"}


# H9


def test_h9_taken_before_it_was_saved(referee: Referee, hands: Hands) -> None:
    """What is let go in the running state only is not free."""
    hands.tx("2", num="----", dest="")
    hands.stream("south", sending=False)
    hands.stream("south", channel=422)
    assert {rule for rule, _ in broken(referee)} == {"H9"}


def test_h9_a_power_cycle_brings_back_all_of_a_device(referee: Referee, hands: Hands) -> None:
    """Within one device a number may pass on unsaved: old and new never run side by side."""
    hands.tx("1", state="off")
    hands.tx("2", num="----", dest="")
    hands.tx("1", num="0422", dest="239.194.1.166:5004")
    assert "H9" not in {rule for rule, _ in broken(referee)}


def test_h9_address_taken_before_it_was_saved(referee: Referee, hands: Hands, net: str) -> None:
    """The same for an address: a power cycle would bring the old one back."""
    hands.tx("1", state="off")
    hands.move("node", f"{net}.43")
    hands.stream("south", sending=False)
    hands.move("south", f"{net}.42")
    assert {rule for rule, _ in broken(referee)} == {"H9"}


# Other hands, late effects, time.


def test_another_hand_breaks_nothing_of_ours(world: World, referee: Referee, hands: Hands) -> None:
    """What a person does meanwhile is no breach, and is known from then on."""
    world.another_hand("south").set_source("program-1", number=311)
    hands.stream("north", title="New")
    assert broken(referee) == []
    assert referee.verdict().count() == 1


def test_whom_another_hand_points_at_may_be_enabled_later(
    world: World, referee: Referee, hands: Hands
) -> None:
    """The run that enables it can't know; who was pointed at already is not excused by that."""
    hands.stream("south", sending=False)
    hands.stream("south", channel=344)
    world.another_hand("north").set_destination("codec-1", number=344)
    hands.stream("south", sending=True)
    assert broken(referee) == []
    hands.stream("south", sending=False)
    hands.stream("south", channel=311)
    world.another_hand("south").set_source("program-1", label="X")
    hands.stream("south", sending=True)
    assert ("H8", "north/codec-1 hears south/program-1") not in broken(referee)
    assert ("H8", "feed/1 hears south/program-1") in broken(referee)


def test_late_effect_is_judged_when_it_comes(
    world: World, referee: Referee, hands: Hands, clock: HandClock
) -> None:
    """A write that lands late breaks the rule at the instant at which it lands."""
    world.add_fault("node", Fault(Kind.LATE, method="PUT", seconds=5))
    hands.tx("2", num="0312")
    assert broken(referee) == []
    clock.advance(7)
    (breach,) = referee.verdict().broken
    assert (breach.rule, breach.at) == ("H1", 105.0)


def test_silence_without_an_end(referee: Referee, hands: Hands, clock: HandClock) -> None:
    """A source that was on and is off is silent until it is on; one that was off is not."""
    hands.stream("north", "program-2", sending=True)
    hands.stream("north", "program-2", sending=False)
    hands.stream("south", sending=False)
    clock.advance(3)
    assert referee.verdict().silences == (Silence("south/program-1", 100.0, None),)
    referee.new_run()
    hands.stream("south", sending=True)
    assert referee.verdict().silences == (Silence("south/program-1", 100.0, 103.0),)


def test_every_kind_of_write_is_counted(referee: Referee, hands: Hands) -> None:
    """Settings and labels are sets; reads and refused writes are nothing."""
    hands.ask("north", "PUT", "/clock", {"domain": 1, "priority": 128})
    hands.ask("north", "PATCH", "/inputs/codec-1", {"title": "New"})
    hands.ask("north", "PATCH", "/streams/program-1", {"channel": 9})
    hands.ask("north", "GET", "/streams")
    assert [(one.kind, one.count) for one in referee.verdict().writes] == [("set", 2)]


def test_what_is_switched_off_on_a_bench_is_no_silence() -> None:
    """Nobody hears a unit on the bench, so its sources can't fall silent there."""
    world = World.from_mapping(
        {
            "networks": {
                "media": {"subnet": "127.90.1.0/24"},
                "bench": {"subnet": "127.90.2.0/24", "bench": True},
            },
            "devices": {
                name: {
                    "make": "corvid",
                    "model": "CE-40",
                    "serial": name,
                    "firmware": "4.1.2",
                    "address": address,
                    "prefix": 24,
                    "sign_in": {"user": "u", "secret": "invented"},
                    "sources": {"program-1": {"number": number, "enabled": True}},
                }
                for name, address, number in (("a", "127.90.1.5", 51), ("b", "127.90.2.5", 1))
            },
        },
        HandClock(),
    )
    referee = Referee(world)
    for name in ("a", "b"):
        headers = {"authorization": "Basic dTppbnZlbnRlZA==", "content-type": "application/json"}
        request = Request("PATCH", "/streams/program-1", headers, b'{"sending": false}')
        begun = world.begin(world.device(name).address, request)
        assert begun is not None
        response = world.finish(begun).response
        assert response is not None
        assert response.status == 200
    assert [silence.source for silence in referee.verdict().silences] == ["a/program-1"]


def test_a_run_taken_back_may_give_back_what_was_heard_before_it(
    world: World, referee: Referee
) -> None:
    """What a destination heard before a first run, it may hear again after a second one began."""
    before = dict(referee._may_hear)
    for name in world.names:
        for slot in world.machine(name).memory.running.sources:
            world.another_hand(name).set_source(slot, enabled=False)
    referee.new_run()
    assert all(heard <= referee._may_hear[at] for at, heard in before.items())
    assert any(before.values())
