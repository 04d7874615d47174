import pytest

from mocks.exchange import Begun, Exchange, Fate, in_parts
from mocks.faults import Fault, Kind
from mocks.messages import Request, Response


@pytest.mark.parametrize("length", [0, 1, 7, 8, 9, 100])
def test_parts_make_the_whole(length: int) -> None:
    """A body comes in at most eight parts, none empty, and they make the body again."""
    body = bytes(range(length))
    parts = in_parts(body)
    assert b"".join(parts) == body
    assert len(parts) <= 8
    assert all(parts)


def test_delays_add_up() -> None:
    """Two delays that strike one request make one long one."""
    struck = (Fault(Kind.DELAY, seconds=1), Fault(Kind.ERROR), Fault(Kind.DELAY, seconds=2))
    begun = Begun("x", "127.0.0.1", Request("GET", "/"), struck)
    assert begun.delay_s == 3
    assert begun.first(Kind.BUSY, Kind.ERROR) == Fault(Kind.ERROR)
    assert begun.first(Kind.BUSY) is None


def test_outcome_in_words() -> None:
    """The log has the status, or what happened instead."""
    assert Exchange(Fate.ANSWERED, Response(204)).outcome == "204"
    assert Exchange(Fate.CLOSED).outcome == "closed without an answer"
