import socket

import pytest

from mocks.doors import Aliases, CannotListen, Ports


def connects(where: tuple[str, int]) -> bool:
    """Whether something listens there."""
    try:
        socket.create_connection(where, timeout=1).close()
    except ConnectionRefusedError:
        return False
    return True


def test_aliases_pick_one_port(net: str) -> None:
    """With port 0 the first address picks the port, and all others take the same one."""
    doors = Aliases(0)
    with doors.open(f"{net}.1") as first, doors.open(f"{net}.2") as second:
        assert first.getsockname()[1] == second.getsockname()[1] == doors.port
        assert connects(doors.where(f"{net}.2"))
        with pytest.raises(CannotListen, match="stop whatever listens there"):
            doors.open(f"{net}.1")
    doors.closed(f"{net}.1")
    doors.close()
    assert not connects(doors.where(f"{net}.1"))


def test_only_loopback() -> None:
    """No address outside the loopback network is ever listened at."""
    with pytest.raises(CannotListen, match="not a loopback address"):
        Aliases(0).open("192.0.2.1")


def test_a_mapped_port_stays_with_its_address() -> None:
    """A port refuses until its address is open, again after it, and never changes."""
    doors = Ports(["192.0.2.1"])
    where = doors.where("192.0.2.1")
    assert not connects(where)
    with doors.open("192.0.2.1"):
        assert connects(where)
    doors.closed("192.0.2.1")
    assert not connects(where)
    with doors.open("192.0.2.1"):
        assert connects(where)
    doors.closed("192.0.2.1")
    assert doors.where("192.0.2.1") == where
    doors.close()


def test_a_map_grows_when_asked() -> None:
    """Looking an address up gives it a port of its own; what is no address is refused."""
    doors = Ports()
    assert len(doors) == 0
    assert doors["192.0.2.7"].startswith("127.0.0.1:")
    assert doors["192.0.2.7"] != doors["192.0.2.8"]
    assert list(doors) == ["192.0.2.7", "192.0.2.8"]
    with pytest.raises(ValueError, match="192"):
        doors["192"]
    doors.close()
