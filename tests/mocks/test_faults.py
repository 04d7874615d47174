import pytest

from mocks.faults import Armed, Fault, Kind
from mocks.messages import Request

PUT = Request("PUT", "/streams/a")
GET = Request("GET", "/streams")


def strikes(fault: Fault, *requests: Request) -> list[bool]:
    """Which of some requests a fault strikes."""
    armed, found = Armed(fault), list[bool]()
    for request in requests:
        armed, struck = armed.meet(request)
        found.append(struck)
    return found


def test_once_or_always() -> None:
    """A fault strikes the nth match, and all after it only if it is always."""
    assert strikes(Fault(Kind.ERROR), PUT, PUT) == [True, False]
    assert strikes(Fault(Kind.ERROR, nth=2), PUT, PUT, PUT) == [False, True, False]
    assert strikes(Fault(Kind.ERROR, nth=2, always=True), PUT, PUT, PUT) == [False, True, True]


def test_counts_only_what_matches() -> None:
    """Method and path prefix pick the requests that are counted."""
    fault = Fault(Kind.ERROR, method="PUT", path="/streams", nth=2)
    assert strikes(fault, PUT, GET, Request("PUT", "/lan"), PUT) == [False, False, False, True]


def test_usual_status() -> None:
    """Each kind that answers has its usual status, and refuses one of another kind."""
    assert [Fault(kind).status for kind in (Kind.ERROR, Kind.SIGN_IN, Kind.BUSY)] == [500, 401, 503]
    assert Fault(Kind.BUSY, status=423).status == 423


@pytest.mark.parametrize(
    ("text", "fault"),
    [
        ("refuse", Fault(Kind.REFUSE)),
        ("drop-answer:method=put,path=/lan", Fault(Kind.DROP_ANSWER, method="PUT", path="/lan")),
        (
            "busy:status=429,retry_after=2,nth=3,always",
            Fault(Kind.BUSY, status=429, retry_after="2", nth=3, always=True),
        ),
        ("delay:seconds=0.5", Fault(Kind.DELAY, seconds=0.5)),
        ("error:effect", Fault(Kind.ERROR, effect=True)),
        ("part:slot=2,status=423", Fault(Kind.PART, slot="2", status=423)),
        ("wrong-identity:serial=X-1,always", Fault(Kind.WRONG_IDENTITY, serial="X-1", always=True)),
    ],
)
def test_parse(text: str, fault: Fault) -> None:
    """The command line's spelling gives the same value."""
    assert Fault.parse(text) == fault


@pytest.mark.parametrize(
    "text",
    [
        "explode",
        "call",
        "",
        "error:nth",
        "error:always=1",
        "error:nth=x",
        "error:nth=0",
        "error:status=404",
        "refuse:status=500",
        "delay",
        "delay:seconds=-1",
        "wrong-identity",
        "part",
        "part:slot=2,status=200",
        "error:slot=2",
        "error:serial=x",
    ],
)
def test_parse_refuses(text: str) -> None:
    """Unknown kinds and arguments, and values that don't fit, are refused in words."""
    with pytest.raises(ValueError, match=r"\w+ \w+"):
        Fault.parse(text)


def test_shuts_at_once() -> None:
    """Only a refusal of everything, for good, needs no request to begin."""
    assert Fault(Kind.REFUSE, always=True).shuts_at_once
    assert not Fault(Kind.REFUSE).shuts_at_once
    assert not Fault(Kind.REFUSE, always=True, method="PUT").shuts_at_once
    assert not Fault(Kind.ERROR, always=True).shuts_at_once
    assert Fault(Kind.CALL).do() is None
