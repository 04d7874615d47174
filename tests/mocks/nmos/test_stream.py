from mocks.nmos import stream as stream_of
from mocks.nmos.stream import Stream
from mocks.state import Destination, Source
from tests.mocks.nodes import GROUP, OTHER

VACANT = "239.255.20.1"
OWN = ["192.0.2.20", "198.51.100.20"]
DONE = {"mode": "activate_immediate", "requested_time": None, "activation_time": "9:5"}
TO = {"destination_ip": "239.194.1.200", "destination_port": 5004}


def said(kind: str, group: str, *, runs: bool, legs: int = 2) -> Stream:
    """A fresh stream, set in the world."""
    fresh = stream_of.fresh(kind, OWN[:legs], VACANT)
    return stream_of.as_world_says(fresh, group, OWN[:legs], runs=runs)


def test_a_fresh_stream_is_off() -> None:
    """It is staged as auto, and that is resolved: a sender always holds a group."""
    stream = stream_of.fresh("senders", OWN, VACANT)
    assert (stream.group, stream.runs, stream.pending) == (f"{VACANT}:5004", False, False)
    assert stream.staged["transport_params"][0]["destination_ip"] == "auto"
    assert stream.active["transport_params"][1]["source_ip"] == OWN[1]
    assert stream_of.as_world_says(stream, "", OWN, runs=False) is stream
    stream = stream_of.fresh("receivers", OWN, VACANT)
    assert (stream.group, stream.runs, stream.pending) == ("", False, False)
    assert stream_of.as_world_says(stream, "", OWN, runs=False) is stream


def test_the_world_sets_staged_and_active_alike() -> None:
    """Both legs carry the group, each from its own address."""
    stream = said("senders", GROUP, runs=True)
    assert stream.staged["transport_params"] == stream.active["transport_params"]
    legs = stream.active["transport_params"]
    assert [leg["destination_ip"] for leg in legs] == ["239.194.1.155"] * 2
    assert [leg["source_ip"] for leg in legs] == OWN
    assert stream.as_source(Source(7, "", "PGM")) == Source(0, GROUP, "PGM", enabled=True)
    off = stream_of.as_world_says(stream, OTHER, OWN, runs=False)
    assert (off.group, off.runs) == (OTHER, False)
    again = stream_of.as_world_says(off, OTHER, OWN, runs=True)
    assert (again.group, again.runs) == (OTHER, True)
    gone = stream_of.as_world_says(again, "", OWN, runs=False)
    assert (gone.group, gone.runs) == (OTHER, False)


def test_a_receiver_that_hears_nothing_is_off() -> None:
    """It keeps what it was pointed at last, and is on again when it is pointed."""
    stream = said("receivers", GROUP, runs=True)
    assert stream.as_destination(Destination(3, "", "MON")) == Destination(0, GROUP, "MON")
    off = stream_of.as_world_says(stream, "", OWN, runs=False)
    assert (off.group, off.runs) == ("", False)
    assert off.active["transport_params"][0]["multicast_ip"] == "239.194.1.155"
    again = stream_of.as_world_says(off, GROUP, OWN, runs=True)
    assert (again.group, again.runs) == (GROUP, True)


def test_a_receiver_that_is_on_without_a_group_stays_on() -> None:
    """It may wait for unicast."""
    stream = stream_of.fresh("receivers", OWN[:1], VACANT)
    stream = stream_of.staged(stream, {"master_enable": True}, [{}])
    stream = stream_of.activated(stream, DONE, OWN[:1], "")
    assert stream_of.as_world_says(stream, "", OWN[:1], runs=False) is stream


def test_what_is_staged_is_not_active() -> None:
    """Until it is activated; then it is both, and the version is the time."""
    stream = said("senders", GROUP, runs=True)
    body = {"master_enable": False, "transport_params": [TO, {}]}
    stream = stream_of.staged(stream, body, [{}, {}])
    assert (stream.group, stream.runs) == (GROUP, True)
    assert stream.staged["transport_params"][0]["source_ip"] == OWN[0]
    stream = stream_of.activated(stream, DONE, OWN, "239.255.41.1")
    assert (stream.group, stream.runs, stream.version) == (OTHER, False, "9:5")
    assert stream.active["transport_params"][1]["destination_ip"] == "239.194.1.155"
    assert stream.active["activation"] == DONE
    assert stream.staged["activation"] == stream_of.IDLE


def test_a_requests_own_parameters_win_over_its_file() -> None:
    """As AMWA IS-05 has it (from memory: the interoperability page)."""
    stream = stream_of.fresh("receivers", OWN[:1], VACANT)
    from_file = [{"multicast_ip": "239.1.1.1", "destination_port": 5004}]
    body = {"transport_params": [{"multicast_ip": "239.2.2.2"}]}
    (leg,) = stream_of.staged(stream, body, from_file).staged["transport_params"]
    assert (leg["multicast_ip"], leg["destination_port"]) == ("239.2.2.2", 5004)


def test_a_schedule_waits() -> None:
    """Until it is activated, or something else is staged."""
    stream = said("senders", GROUP, runs=True)
    waiting = stream_of.scheduled(stream, "activate_scheduled_relative", "2:0", "11:0")
    assert waiting.pending
    assert waiting.active == stream.active
    assert not stream_of.staged(waiting, {}, [{}, {}]).pending
    assert not stream_of.activated(waiting, DONE, OWN, "").pending


def test_it_comes_out_of_a_memory_as_it_went_in() -> None:
    """As plain values."""
    stream = said("senders", GROUP, runs=True)
    assert stream_of.kept("senders", stream.as_kept()) == stream


def test_a_leg_that_is_off_hears_nothing() -> None:
    """The first that is on counts; if none is, nothing runs."""
    stream = said("receivers", GROUP, runs=True)
    first_off = [{"rtp_enabled": False}, {"multicast_ip": "239.194.1.200"}]
    body = {"transport_params": first_off}
    stream = stream_of.activated(stream_of.staged(stream, body, [{}, {}]), DONE, OWN, "")
    assert stream.group == OTHER
    body = {"transport_params": [{}, {"rtp_enabled": False}]}
    stream = stream_of.activated(stream_of.staged(stream, body, [{}, {}]), DONE, OWN, "")
    assert (stream.group, stream.runs) == ("", False)


def test_a_stream_is_fresh_until_it_is_activated() -> None:
    """Off, and never activated."""
    one = stream_of.fresh("senders", ["192.0.2.20"], "239.255.20.1")
    assert one.fresh
    done = {"mode": "activate_immediate", "requested_time": None, "activation_time": "0:0"}
    assert not stream_of.activated(one, done, ["192.0.2.20"], "239.255.20.1").fresh
