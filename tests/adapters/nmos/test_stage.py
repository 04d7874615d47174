from typing import Any

import pytest

from orchestrator.adapters.declared.values import Unwritable
from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.nmos.sdp import described
from orchestrator.adapters.nmos.stage import Standing, Told, body_for
from orchestrator.facility.step import Assigned, Hearing, Step, StepKind
from tests.adapters.nodes import (
    ADDRESS,
    GROUP,
    OTHER,
    RECEIVER,
    disable,
    ear,
    enable,
    hearing,
    leg,
    renumber,
    repoint,
    sending,
    step,
)
from tests.amwa import conforms, needs_schemas

NOW = {"mode": "activate_immediate"}
SECOND = "127.45.3.41"
TWO = (leg(), leg("239.194.2.155", source_ip=SECOND))


def body(what: Step, active: dict[str, Any], staged: dict[str, Any] | None = None) -> Any:
    """The body that is sent for a step."""
    return body_for(what, Standing(active, active if staged is None else staged))


def refused(what: Step, active: dict[str, Any]) -> str:
    """Why nothing is sent."""
    with pytest.raises(Unwritable) as why:
        body(what, active)
    return str(why.value)


def test_disable() -> None:
    """The master switch alone."""
    wanted = {"receiver_id": None, "master_enable": False, "activation": NOW}
    assert body(disable(), sending()) == wanted


def test_enable_says_everything_outright() -> None:
    """Each leg's own address and its group, as they are active, and which legs run."""
    explicit = {
        "source_ip": ADDRESS,
        "destination_ip": "239.194.1.155",
        "destination_port": 5004,
        "rtp_enabled": True,
    }
    wanted = {"receiver_id": None, "master_enable": True, "activation": NOW}
    found = body(enable(), sending(on=False))
    assert found == {**wanted, "transport_params": [explicit]}


def test_enable_leaves_a_leg_off_that_is_off() -> None:
    """But for where no leg runs: then all do."""
    silent = leg(rtp_enabled=False)
    found = body(enable(), sending(leg(), silent, on=False))
    assert [one["rtp_enabled"] for one in found["transport_params"]] == [True, False]
    for on in (True, False):
        found = body(enable(), sending(silent, silent, on=on))
        assert [one["rtp_enabled"] for one in found["transport_params"]] == [True, True]


def test_enable_without_a_group_is_refused() -> None:
    """Auto would take any; on a leg that stays off it does not matter."""
    assert "leg 1 holds no group" in refused(enable(), sending(leg("auto"), on=False))
    off = leg("auto", rtp_enabled=False)
    params = body(enable(), sending(leg(), off, on=False))["transport_params"]
    assert "destination_ip" not in params[1]


def test_a_sender_to_one_host_is_switched_on_again() -> None:
    """It holds no group, and needs none."""
    found = body(enable(), sending(leg("192.0.2.9"), on=False))
    assert found["transport_params"][0]["destination_ip"] == "192.0.2.9"


def test_renumber_moves_each_leg() -> None:
    """As many entries as legs, address and port said outright; the switch stays as it is."""
    for on in (True, False):
        found = body(renumber(None, OTHER, "239.194.2.200:6000"), sending(*TWO, on=on))
        assert found == {
            "receiver_id": None,
            "master_enable": on,
            "transport_params": [
                {
                    "source_ip": ADDRESS,
                    "destination_ip": "239.194.1.200",
                    "destination_port": 5004,
                    "rtp_enabled": True,
                },
                {
                    "source_ip": SECOND,
                    "destination_ip": "239.194.2.200",
                    "destination_port": 6000,
                    "rtp_enabled": True,
                },
            ],
            "activation": NOW,
        }


def test_a_stream_that_was_never_activated_is_renumbered() -> None:
    """Its own address stays auto: nothing is known of it."""
    found = body(renumber(None, OTHER), sending(leg("auto", "auto", source_ip="auto"), on=False))
    (params,) = found["transport_params"]
    assert params == {
        "destination_ip": "239.194.1.200",
        "destination_port": 5004,
        "rtp_enabled": True,
    }


@pytest.mark.parametrize("name", ["rtcp_destination_ip", "fec_destination_ip"])
def test_what_goes_with_the_stream_follows_it(name: str) -> None:
    """Set outright to the old group, it would go on sending there; auto follows by itself."""
    with_it = sending(leg(**{name: "239.194.1.155"}))
    (params,) = body(renumber(None, OTHER), with_it)["transport_params"]
    assert params[name] == "239.194.1.200"
    staged = sending(leg(**{name: "auto"}))
    (params,) = body(renumber(None, OTHER), with_it, staged)["transport_params"]
    assert name not in params
    elsewhere = sending(leg(**{name: "239.194.7.7"}))
    (params,) = body(renumber(None, OTHER), elsewhere)["transport_params"]
    assert name not in params
    heard = hearing(ear(**{name: "239.194.1.155"}))
    (params,) = body(repoint(OTHER), heard)["transport_params"]
    assert params[name] == "239.194.1.200"


def test_renumber_needs_a_group_for_each_leg() -> None:
    """There is no way to hold none, and none is made up."""
    assert "2 leg(s)" in refused(renumber(None, OTHER), sending(*TWO))
    assert "1 leg(s)" in refused(renumber(411), sending())
    assert "can't be given none" in refused(renumber(None, None), sending())
    assert "no address:port" in refused(renumber(None, "somewhere"), sending())


def test_repoint() -> None:
    """Group and port on each leg, from any sender, with no file and no sender's id."""
    found = body(repoint(OTHER), hearing(ear(source_ip="192.0.2.9"), ear(interface_ip="auto")))
    to = {"source_ip": None, "multicast_ip": "239.194.1.200", "destination_port": 5004}
    assert found == {
        "sender_id": None,
        "master_enable": True,
        "transport_file": {"data": None, "type": None},
        "transport_params": [
            {**to, "interface_ip": ADDRESS, "rtp_enabled": True},
            {**to, "rtp_enabled": True},
        ],
        "activation": NOW,
    }


def test_a_receiver_that_is_off_is_switched_on_by_pointing_it() -> None:
    """What its legs were pointed at before does not matter then."""
    stale = hearing(ear(), ear("239.194.2.155"), on=False)
    found = body(repoint(GROUP), stale)
    assert found["master_enable"] is True
    assert [one["multicast_ip"] for one in found["transport_params"]] == ["239.194.1.155"] * 2


def test_repoint_to_nothing_switches_it_off() -> None:
    """There is no other way to hear nothing."""
    wanted = {"sender_id": None, "master_enable": False, "activation": NOW}
    assert body(repoint(None), hearing()) == wanted


def test_repoint_refuses_what_it_can_not_say() -> None:
    """A number; a group that needs the sender's address; two groups at once."""
    number = step(StepKind.REPOINT, Hearing(number=411), destination="MON")
    assert "not to number 411" in refused(number, hearing())
    assert "RFC 4607" in refused(repoint("232.1.2.3:5004"), hearing())
    two = hearing(ear(), ear("239.194.2.155"))
    assert "by hand" in refused(repoint(OTHER), two)


@pytest.mark.parametrize(
    ("what", "active"),
    [
        (disable(), sending(on=False)),
        (enable(), sending()),
        (renumber(411, GROUP), sending()),
        (repoint(GROUP), hearing()),
        (repoint(None), hearing(on=False)),
    ],
)
def test_what_is_so_already_is_not_sent(what: Step, active: dict[str, Any]) -> None:
    """An activation may interrupt the stream even where nothing changes (AMWA IS-05)."""
    assert body(what, active) is None


@pytest.mark.parametrize("what", [disable(), enable(), renumber(None, OTHER)])
def test_what_another_hand_has_staged_does_not_ride_along(what: Step) -> None:
    """An activation takes all that is staged, so what differs is set back to what is active."""
    active = sending(leg(source_port=5004), on=what.kind is StepKind.DISABLE)
    staged = sending(leg("239.194.9.9", 6000, source_port=7000, rtp_enabled=False), on=True)
    (params,) = body(what, active, staged)["transport_params"]
    to = "239.194.1.200" if what.kind is StepKind.RENUMBER else "239.194.1.155"
    assert (params["destination_ip"], params["destination_port"]) == (to, 5004)
    assert (params["source_port"], params["rtp_enabled"]) == (5004, True)


def test_nor_on_a_receiver() -> None:
    """Its interface, and a parameter of the maker's own."""
    active, staged = hearing(ear(ext_gain=1)), hearing(ear("239.9.9.9", ext_gain=5))
    (params,) = body(repoint(OTHER), active, staged)["transport_params"]
    assert (params["ext_gain"], params["multicast_ip"]) == (1, "239.194.1.200")
    (params,) = body(repoint(None), active, staged)["transport_params"]
    assert params == {"ext_gain": 1, "multicast_ip": "239.194.1.155"}


@pytest.mark.parametrize(
    "what",
    [
        step(StepKind.READDRESS, None),
        step(StepKind.SAVE),
        step(StepKind.RENUMBER, "x", source="PGM"),
        step(StepKind.REPOINT, Assigned(1), destination="MON"),
    ],
)
def test_steps_that_nmos_has_no_way_to_do(what: Step) -> None:
    """They are refused in words."""
    assert "no way" in refused(what, sending())


@pytest.mark.parametrize("what", [disable(), enable(), renumber(None, OTHER), repoint(None)])
def test_legs_that_are_staged_but_not_active_are_unusable(what: Step) -> None:
    """Nothing could be said of what would be activated."""
    with pytest.raises(Unusable):
        body(what, sending(), sending(*TWO))


@needs_schemas
def test_every_body_conforms() -> None:
    """To the schemas of AMWA IS-05 v1.1, whatever the legs and whatever is staged."""
    off = [leg("auto", "auto", source_ip="auto", source_port="auto"), leg(rtp_enabled=False)]
    for legs in ([leg()], list(TWO), off):
        for on in (True, False):
            active = sending(*legs, on=on)
            staged = sending(*(dict(one, destination_ip="239.9.9.9") for one in legs))
            moves = renumber(None, *([OTHER] * len(legs)))
            for what in (disable(), enable(), moves):
                try:
                    found = body(what, active, staged)
                except Unwritable:
                    continue
                if found is not None:
                    conforms(found, "is-05", "sender-stage-schema")
    for ears in ([ear()], [ear(), ear(interface_ip="auto")], [ear(None, "auto")]):
        for on in (True, False):
            for group in (OTHER, None):
                found = body(
                    repoint(group),
                    hearing(*ears, on=on),
                    hearing(*([ear("239.9.9.9")] * len(ears))),
                )
                if found is not None:
                    conforms(found, "is-05", "receiver-stage-schema")


def test_a_leg_that_the_described_stream_has_not_is_off() -> None:
    """One leg is described, the receiver has two."""
    text = "v=0\r\nc=IN IP4 239.194.1.200/32\r\nm=audio 5004 RTP/AVP 98\r\n"
    told = Told(RECEIVER, text, described(text))
    found = body_for(repoint(OTHER), Standing(hearing(ear(), ear()), hearing(ear(), ear())), told)
    assert found is not None
    first, second = found["transport_params"]
    assert (first["multicast_ip"], first["rtp_enabled"]) == ("239.194.1.200", True)
    assert second == {"rtp_enabled": False}
    assert found["transport_file"] == {"data": text, "type": "application/sdp"}
