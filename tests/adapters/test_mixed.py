import asyncio
from collections.abc import Mapping
from dataclasses import replace

import pytest

from orchestrator.adapters.http.messages import Party
from orchestrator.adapters.mixed import Mixed, Opened
from orchestrator.adapters.nmos.stage import Told
from orchestrator.adapters.shares import traits_of_several
from orchestrator.adapters.way import Way
from orchestrator.errors import Broken, Rejected, WrongDevice
from orchestrator.facility.configuration import PutBack
from orchestrator.facility.description import Json
from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import AddressValue
from orchestrator.facility.traits import Saves
from orchestrator.running.protocols import Part
from tests.adapters.makes import PARTY, a_step
from tests.adapters.ways_made import STREAMS, WHOLE, Answering, K, way

NODE = way("node", *STREAMS, reads=frozenset({Part.SOURCES, Part.DESTINATIONS, Part.INTERFACES}))
HOST = way("host", K.READDRESS, reads=frozenset({Part.INTERFACES}))


def known_as(serial: str, model: str = "TN-8", firmware: str = "2.7") -> DeviceState:
    """The device, calling itself so."""
    identity = Identity(serial=serial, model=model, firmware=firmware)
    return replace(WHOLE, identity=identity)


def mixed(*pairs: tuple[Way, DeviceState], party: Party = PARTY) -> tuple[Mixed, list[Answering]]:
    """A device of several ways, each answering as given."""
    answering = [Answering(way.traits, state) for way, state in pairs]
    opened = [Opened(way, each) for (way, _), each in zip(pairs, answering, strict=True)]
    return Mixed(party, opened), answering


def test_each_part_is_read_by_the_way_that_has_it() -> None:
    """And the other way is asked who it is, so that every read is one device's."""
    other = replace(WHOLE, sources={}, destinations={})
    device, (node, host) = mixed((NODE, replace(WHOLE, interfaces={})), (HOST, other))
    state = asyncio.run(device.read())
    assert (state.interfaces, state.sources) == (WHOLE.interfaces, WHOLE.sources)
    assert node.asked == [frozenset({Part.SOURCES, Part.DESTINATIONS})]
    assert host.asked == [frozenset({Part.INTERFACES})]
    asyncio.run(device.read(frozenset({Part.SOURCES})))
    assert host.asked[1:] == ["identity"]


def test_each_step_goes_to_the_way_that_has_its_part() -> None:
    """One write, by one way."""
    device, (node, host) = mixed((NODE, WHOLE), (HOST, WHOLE))
    off = a_step(K.DISABLE, False, source="mic")
    moved = a_step(K.READDRESS, AddressValue("eth0", "127.44.3.72", 24))
    asyncio.run(device.write(off))
    asyncio.run(device.write(moved))
    assert (node.asked, host.asked) == ([off], [moved])


def test_what_no_way_can_write_is_refused_before_anything_is_sent() -> None:
    """With the reason of the way that might have been expected to."""
    mute = way("mute", reads=frozenset({Part.SOURCES}), cannot={K.SET: "it has no settings"})
    device, (host, other) = mixed((HOST, WHOLE), (mute, WHOLE))
    with pytest.raises(Rejected, match="it has no settings"):
        asyncio.run(device.write(a_step(K.SET, 1, setting="ptp_domain")))
    assert host.asked == other.asked == []


def test_a_save_goes_to_each_way_that_keeps_nothing_without() -> None:
    """Two ways of one device may each have a store of their own."""
    first = way("first", *STREAMS, K.SAVE, saves=Saves.ON_SAVE)
    second = way("second", K.READDRESS, K.SAVE, saves=Saves.ON_SAVE)
    device, (one, two, three) = mixed((first, WHOLE), (second, WHOLE), (HOST, WHOLE))
    save = a_step(K.SAVE)
    asyncio.run(device.write(save))
    assert (one.asked, two.asked, three.asked) == ([save], [save], [])


@pytest.mark.parametrize(
    ("told", "unsaved"),
    [((None, None), None), ((False, None), False), ((False, True), True), ((None, True), True)],
)
def test_it_is_unsaved_if_one_way_says_so(
    *, told: tuple[bool | None, bool | None], unsaved: bool | None
) -> None:
    """What can't be told is not taken for saved."""
    first, second = way("first", *STREAMS), way("second", K.READDRESS)
    states = [replace(WHOLE, unsaved=each) for each in told]
    device, _ = mixed((first, states[0]), (second, states[1]))
    assert asyncio.run(device.read()).unsaved is unsaved


def test_two_serials_are_two_devices() -> None:
    """A cable in the wrong socket is found before anything is written; the words name both."""
    device, _ = mixed((NODE, WHOLE), (HOST, known_as("OTHER")))
    for asked in (device.identify(), device.read()):
        with pytest.raises(WrongDevice) as caught:
            asyncio.run(asked)
        assert (caught.value.expected, caught.value.found) == (
            "TN-8 serial TM-118 (by node)",
            "TN-8 serial OTHER (by host)",
        )


def test_one_way_may_have_no_serial_to_tell() -> None:
    """The other one's counts, whichever stands first; two without can't prove anything."""
    for pairs in ([(HOST, known_as("")), (NODE, WHOLE)], [(NODE, WHOLE), (HOST, known_as(""))]):
        device, _ = mixed(*pairs)
        assert asyncio.run(device.identify()) == WHOLE.identity
    device, _ = mixed((NODE, known_as("")), (HOST, known_as("")))
    with pytest.raises(Broken, match="tells a serial"):
        asyncio.run(device.identify())


def test_each_way_looks_at_the_model_that_it_reads_itself() -> None:
    """Two interfaces of one device may word its model differently."""
    fussy = way("fussy", K.READDRESS, models=("Tamarisk 8",))
    worded = known_as("TM-118", model="Tamarisk 8")
    device, _ = mixed((NODE, WHOLE), (fussy, worded))
    assert asyncio.run(device.identify()) == worded.identity
    device, _ = mixed((NODE, WHOLE), (fussy, WHOLE))
    with pytest.raises(WrongDevice) as caught:
        asyncio.run(device.identify())
    assert caught.value.expected == "Tamarisk 8"


def test_firmware_that_one_way_was_not_tried_with_is_what_is_told() -> None:
    """So that the planning, which looks at one firmware, sees it."""
    one = way("one", *STREAMS, tried_with=("2.7",))
    two = way("two", K.READDRESS, tried_with=("R5",))
    device, _ = mixed((one, WHOLE), (two, known_as("TM-118", firmware="R5.1")))
    assert asyncio.run(device.identify()).firmware == "2.7"
    device, _ = mixed((one, WHOLE), (two, known_as("TM-118", firmware="R6")))
    assert asyncio.run(device.identify()).firmware == "R6"
    assert "R6" not in device.traits.tried_with


def test_its_traits_are_those_of_all_its_ways_and_it_closes_them_all() -> None:
    """What the planning knows beforehand is what the opened device says."""
    device, each = mixed((NODE, WHOLE), (HOST, WHOLE))
    assert device.traits == traits_of_several([NODE, HOST])
    each[0].response_s, each[1].response_s = 0.1, 0.3
    assert device.response_s == pytest.approx(0.2)
    asyncio.run(device.close())
    assert [one.asked for one in each] == [["close"], ["close"]]


def test_a_source_is_described_by_the_way_that_can_say_so() -> None:
    """The others are not asked; where none can, nothing is told."""

    class Telling(Answering):
        async def told(self, source: str) -> Told | None:
            self.asked.append(source)
            return Told("own-id", "v=0", ())

    telling = Telling(NODE.traits)
    host = Answering(HOST.traits)
    device = Mixed(PARTY, [Opened(HOST, host), Opened(NODE, telling)])
    assert asyncio.run(device.told("mic")) == Told("own-id", "v=0", ())
    assert (host.asked, telling.asked) == ([], ["mic"])
    assert asyncio.run(Mixed(PARTY, [Opened(HOST, host)]).told("mic")) is None


def test_a_whole_configuration_is_had_from_the_way_that_gives_one() -> None:
    """And put back by it; where none gives one, there is none, and none is taken."""

    class Giving(Answering):
        async def configuration(self) -> dict[str, Json]:
            return {"own-id": {}}

        async def put_back(
            self, parts: Mapping[str, Json], *, only_try: bool
        ) -> tuple[PutBack, ...]:
            self.asked.append((parts, only_try))
            return (PutBack(path="root", status=200),)

    giving, host = Giving(NODE.traits), Answering(HOST.traits)
    device = Mixed(PARTY, [Opened(HOST, host), Opened(NODE, giving)])
    parts = asyncio.run(device.configuration())
    assert parts == {"own-id": {}}
    assert asyncio.run(device.put_back(parts, only_try=True))[0].done
    assert (giving.asked, host.asked) == ([(parts, True)], [])
    alone = Mixed(PARTY, [Opened(HOST, host)])
    assert asyncio.run(alone.configuration()) == {}
    with pytest.raises(Rejected, match="takes a configuration"):
        asyncio.run(alone.put_back(parts, only_try=True))
