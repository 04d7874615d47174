import asyncio
import ssl
from collections.abc import Iterator

import httpx
import pytest

from orchestrator.adapters.http import faults
from orchestrator.adapters.http.faults import BEFORE, NONSENSE, ON_THE_WAY, Journey, Stage
from orchestrator.adapters.http.messages import Request
from orchestrator.errors import Broken, DeviceError, OutcomeUnknown, Unreachable, Untrusted
from tests.adapters.makes import PARTY

READ = Request(method="GET", path="/x", doing="reading")
WRITE = Request(method="PUT", path="/x", doing="writing")


def classes(module: object) -> Iterator[type[Exception]]:
    """The public error classes of a module."""
    for name in dir(module):
        found = getattr(module, name)
        if isinstance(found, type) and issubclass(found, Exception):
            yield found


def made(kind: type[Exception]) -> Exception:
    """An error of that class, however it is made."""
    error: Exception = kind.__new__(kind)
    error.args = ("text with hunter2",)
    return error


def judged(error: Exception, request: Request, stage: Stage = Stage.UNKNOWN) -> DeviceError:
    """The error of ours."""
    return faults.judge(error, stage, request, PARTY)


def test_every_error_of_the_library_is_in_a_table() -> None:
    """A new class in the installed library fails here, until somebody has thought about it."""
    known = {*BEFORE, *ON_THE_WAY, *NONSENSE}
    assert {kind for kind in classes(httpx) if kind not in known} == set()


def test_no_error_is_in_two_tables() -> None:
    """Each class means one thing."""
    assert len(faults.KNOWN) == len(set(faults.KNOWN)) == len({*BEFORE, *ON_THE_WAY, *NONSENSE})


@pytest.mark.parametrize("kind", faults.KNOWN)
def test_a_write_that_may_have_left_is_never_called_failed(kind: type[Exception]) -> None:
    """Before it was sent: surely not done. After: only reading can tell."""
    expected = Unreachable if kind in BEFORE else OutcomeUnknown
    assert type(judged(made(kind), WRITE)) is expected
    assert type(judged(made(kind), WRITE, Stage.SENT)) is expected
    assert type(judged(made(kind), WRITE, Stage.DIALLING)) is Unreachable


@pytest.mark.parametrize("kind", faults.KNOWN)
def test_a_read_is_unreachable_or_broken(kind: type[Exception]) -> None:
    """The way failed, or what came makes no sense."""
    expected = Broken if kind in NONSENSE else Unreachable
    assert type(judged(made(kind), READ)) is expected


@pytest.mark.parametrize("kind", faults.KNOWN)
def test_no_text_of_the_library_is_passed_on(kind: type[Exception]) -> None:
    """Some of its texts quote headers; ours are our own, and each has words."""
    found = judged(made(kind), READ)
    assert "hunter2" not in str(found)
    assert found.said


def test_subclasses_are_judged_by_what_they_are() -> None:
    """An error of the system below stands for its family."""
    assert type(judged(ConnectionResetError(), WRITE)) is OutcomeUnknown
    assert type(judged(ConnectionResetError(), READ)) is Unreachable


def test_refused_is_said() -> None:
    """A refused connection says that the computer is there, and nothing listens."""
    refused = httpx.ConnectError("x")
    refused.__cause__ = ConnectionRefusedError(111, "refused")
    assert judged(refused, READ).said == "no connection could be made: connection refused"


@pytest.mark.parametrize("request_", [READ, WRITE], ids=["read", "write"])
def test_a_bad_certificate_is_an_error_of_its_own(request_: Request) -> None:
    """Nothing was sent, and it needs other hands than a device that does not answer."""
    untrusted = httpx.ConnectError("x")
    untrusted.__cause__ = ssl.SSLCertVerificationError("with hunter2")
    found = judged(untrusted, request_)
    assert type(found) is Untrusted
    assert "could not be verified" in found.said
    assert "hunter2" not in found.said
    no_tls = httpx.ConnectError("x")
    no_tls.__cause__ = ssl.SSLError(1, "wrong version number")
    assert type(judged(no_tls, request_)) is Unreachable
    assert "does not speak TLS" in judged(no_tls, request_).said


def test_a_journey_notes_how_far_a_request_got() -> None:
    """From the events of the library; a sign-in under way means that the request was not sent."""
    journey = Journey()
    seen = [journey.stage]
    for event in ("connection.connect_tcp.started", "http11.send_request_headers.started", "x"):
        asyncio.run(journey.note(event, {}))
        seen.append(journey.stage)
    journey.signing_in = True
    assert seen == [Stage.UNKNOWN, Stage.DIALLING, Stage.SENT, Stage.SENT]
    assert journey.stage is Stage.DIALLING
