from typing import Any

import pytest

from mocks.nmos import params
from mocks.nmos.params import Wrong
from tests.amwa import breaks, conforms, needs_schemas

OWN = ["192.0.2.20"]
UUID = "11111111-2222-4333-8444-555555555555"
STAGE = {"senders": "sender-stage-schema", "receivers": "receiver-stage-schema"}


@pytest.mark.parametrize("kind", ["senders", "receivers"])
def test_a_leg_has_all_parameters_from_the_start(kind: str) -> None:
    """What nobody has set is auto or null, and each has its constraint."""
    unset = params.unset(kind)
    assert set(unset) == set(params.CHECKS[kind]) == set(params.constraints(kind, OWN)[0])
    assert params.checked(kind, [unset], OWN) == [unset]


LEGS: list[tuple[str, dict[str, Any], bool]] = [
    ("senders", {}, True),
    ("senders", {"destination_ip": "239.1.2.3", "destination_port": 5004}, True),
    ("senders", {"destination_ip": "auto", "destination_port": "auto"}, True),
    ("senders", {"source_port": 0}, True),
    ("senders", {"source_port": 65535}, True),
    ("senders", {"destination_port": 0}, False),
    ("senders", {"destination_port": 65536}, False),
    ("senders", {"destination_port": "5004"}, False),
    ("senders", {"destination_ip": None}, False),
    ("senders", {"destination_ip": "nowhere"}, False),
    ("senders", {"rtp_enabled": "yes"}, False),
    ("senders", {"multicast_ip": "239.1.2.3"}, False),
    ("receivers", {"multicast_ip": "239.1.2.3", "source_ip": None}, True),
    ("receivers", {"multicast_ip": None, "interface_ip": "192.0.2.20"}, True),
    ("receivers", {"interface_ip": None}, False),
    ("receivers", {"rtp_enabled": 1}, False),
    ("receivers", {"destination_ip": "239.1.2.3"}, False),
]


@pytest.mark.parametrize(("kind", "leg", "well"), LEGS)
def test_parameters(kind: str, leg: dict[str, Any], well: bool) -> None:  # noqa: FBT001
    """What a leg takes."""
    if well:
        assert params.checked(kind, [leg], OWN) == [leg]
    else:
        with pytest.raises(Wrong):
            params.checked(kind, [leg], OWN)


@needs_schemas
@pytest.mark.parametrize(("kind", "leg", "well"), LEGS)
def test_parameters_as_the_schema_has_them(
    kind: str,
    leg: dict[str, Any],
    well: bool,  # noqa: FBT001
) -> None:
    """AMWA IS-05 v1.1 judges the same way, a leg at a time."""
    assert breaks({"transport_params": [leg]}, "is-05", STAGE[kind]) is not well


def test_beyond_the_schema() -> None:
    """The number of legs, the node's own address, and that a multicast address is one."""
    wrong: list[Any] = [[], [{}, {}], {}, ["x"]]
    for legs in wrong:
        with pytest.raises(Wrong):
            params.checked("senders", legs, OWN)
    with pytest.raises(Wrong):
        params.checked("senders", [{"source_ip": "192.0.2.99"}], OWN)
    with pytest.raises(Wrong):
        params.checked("receivers", [{"multicast_ip": "192.0.2.99"}], OWN)


BODIES: list[tuple[str, Any, bool]] = [
    ("senders", {}, True),
    ("senders", {"receiver_id": None, "master_enable": True}, True),
    ("senders", {"receiver_id": UUID}, True),
    ("senders", {"receiver_id": "x"}, False),
    ("senders", {"sender_id": None}, False),
    ("senders", {"master_enable": 1}, False),
    ("senders", {"label": "x"}, False),
    ("senders", {"transport_file": {"data": None, "type": None}}, False),
    ("senders", {"activation": {"mode": "activate_immediate"}}, True),
    ("senders", {"activation": {"mode": None}}, True),
    ("senders", {"activation": {"mode": "now"}}, False),
    ("senders", {"activation": {}}, False),
    ("senders", {"activation": None}, False),
    ("senders", {"activation": {"mode": None, "activation_time": None}}, False),
    ("senders", {"activation": {"mode": None, "requested_time": "soon"}}, False),
    (
        "senders",
        {"activation": {"mode": "activate_scheduled_relative", "requested_time": "2:0"}},
        True,
    ),
    ("receivers", {"sender_id": UUID, "transport_file": {"data": None, "type": None}}, True),
    ("receivers", {"transport_file": {"data": "v=0", "type": "application/sdp"}}, True),
    ("receivers", {"transport_file": {"data": "v=0"}}, False),
    ("receivers", {"transport_file": "v=0"}, False),
    ("receivers", {"transport_file": {"data": 5, "type": "application/sdp"}}, False),
    ("receivers", [], False),
]


@pytest.mark.parametrize(("kind", "body", "well"), BODIES)
def test_bodies(kind: str, body: Any, well: bool) -> None:  # noqa: FBT001
    """What a request may hold beside its parameters."""
    if well:
        assert params.checked_body(kind, body) == body
    else:
        with pytest.raises(Wrong):
            params.checked_body(kind, body)


@needs_schemas
@pytest.mark.parametrize(("kind", "body", "well"), BODIES)
def test_bodies_as_the_schema_has_them(
    kind: str,
    body: Any,
    well: bool,  # noqa: FBT001
) -> None:
    """AMWA IS-05 v1.1 judges the same way."""
    assert breaks(body, "is-05", STAGE[kind]) is not well


def test_bodies_beyond_the_schema() -> None:
    """A schedule needs a time; data and type of a file stand or fall together."""
    for body in (
        {"activation": {"mode": "activate_scheduled_absolute"}},
        {"transport_file": {"data": None, "type": "application/sdp"}},
    ):
        with pytest.raises(Wrong):
            params.checked_body("receivers", body)


@needs_schemas
@pytest.mark.parametrize("kind", ["senders", "receivers"])
def test_the_constraints_conform(kind: str) -> None:
    """To the schema of AMWA IS-05 v1.1."""
    conforms(params.constraints(kind, [*OWN, "198.51.100.20"]), "is-05", "constraints-schema")


def test_nothing_is_auto_once_it_is_active() -> None:
    """The own address, the usual port, a vacant group; what is explicit stays."""
    auto = params.unset("senders")
    (leg,) = params.resolved([auto], OWN, "239.255.41.1")
    assert leg == {
        "source_ip": "192.0.2.20",
        "destination_ip": "239.255.41.1",
        "source_port": 5004,
        "destination_port": 5004,
        "rtp_enabled": True,
    }
    set_by_hand = {**auto, "destination_ip": "239.1.2.3", "destination_port": 6000}
    (leg,) = params.resolved([set_by_hand], OWN, "239.255.41.1")
    assert (leg["destination_ip"], leg["destination_port"]) == ("239.1.2.3", 6000)
    (leg,) = params.resolved([params.unset("receivers")], OWN, "239.255.41.0")
    assert (leg["interface_ip"], leg["multicast_ip"]) == ("192.0.2.20", None)


@pytest.mark.parametrize(
    ("address", "port", "group"),
    [
        ("239.1.2.3", 5004, "239.1.2.3:5004"),
        ("239.1.2.3", "auto", ""),
        ("auto", 5004, ""),
        (None, 5004, ""),
        ("192.0.2.1", 5004, ""),
        ("ff02::1", 5004, ""),
    ],
)
def test_groups(address: Any, port: Any, group: str) -> None:
    """Only an IPv4 multicast address with a port is one."""
    leg = {"multicast_ip": address, "destination_port": port}
    assert params.group(leg, "multicast_ip") == group
