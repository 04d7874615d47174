import pytest

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.nmos.legs import Legs
from orchestrator.adapters.nmos.node import Place, Stream
from tests.adapters.nodes import ADDRESS, leg, sending

SECOND = "127.45.3.41"


def stream(*bindings: str) -> Stream:
    """A stream on some interfaces."""
    return Stream(id="x", label="x", place=Place("/x"), bindings=bindings, api=Place("/"))


def legs(*names: str, planned: tuple[str, ...] = (ADDRESS,)) -> Legs:
    """A node that is spoken to at its first address."""
    return Legs(ADDRESS, planned, names)


def test_without_streams_it_is_the_address_spoken_to() -> None:
    """Under the node's own name of its first interface, or a name that says what it is."""
    assert legs("eth0", "eth1").interfaces() == [("eth0", ADDRESS)]
    assert legs().interfaces() == [("leg-1", ADDRESS)]


def test_legs_stand_where_the_streams_say() -> None:
    """Each by its binding, with the address that it is sent from; it may not be the first."""
    found = legs("eth0", "eth1", "eth2")
    found.note(stream("eth1", "eth2"), sending(leg(), leg(source_ip=SECOND)), "source_ip")
    found.note(stream("eth1"), sending(leg(source_ip="auto")), "source_ip")
    assert found.interfaces() == [("eth1", ADDRESS), ("eth2", SECOND)]


def test_a_leg_without_an_address_has_the_planned_one() -> None:
    """No NMOS API tells it before an activation. Without a plan for it, it can't be placed."""
    two = sending(leg(source_ip="auto"), leg(source_ip="auto"))
    found = legs("eth0", "eth1", planned=(ADDRESS, SECOND))
    found.note(stream(), two, "source_ip")
    assert found.interfaces() == [("eth0", ADDRESS), ("eth1", SECOND)]
    found = legs("eth0", "eth1")
    found.note(stream("eth0", "eth1"), two, "source_ip")
    with pytest.raises(Unusable, match="leg 2 of its streams has no address"):
        found.interfaces()


def test_a_leg_on_two_interfaces_is_no_leg() -> None:
    """Its groups could not be said to be on one network."""
    found = legs("eth0", "eth1")
    found.note(stream("eth0"), sending(), "source_ip")
    found.note(stream("eth1"), sending(), "source_ip")
    with pytest.raises(Unusable, match="leg 1 of its streams stands on eth0 and eth1"):
        found.interfaces()
    found = legs("eth0")
    found.note(stream("eth0"), sending(), "source_ip")
    found.note(stream("eth0"), sending(leg(source_ip=SECOND)), "source_ip")
    with pytest.raises(Unusable, match="several addresses"):
        found.interfaces()
