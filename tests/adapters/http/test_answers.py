from datetime import UTC, datetime

import pytest

from orchestrator.adapters.http import answers
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.adapters.http.redact import Redactor
from orchestrator.errors import (
    Broken,
    Busy,
    DeviceError,
    OtherHand,
    OutcomeUnknown,
    Rejected,
    SignInRefused,
)
from orchestrator.facility.secret import Secret
from tests.adapters.makes import PARTY, answered

READ = Request(method="GET", path="/x", doing="reading")
WRITE = Request(method="PUT", path="/x", doing="writing")
NOBODY = Redactor(None)


def judged(request: Request, status: int, **more: str) -> DeviceError | None:
    """The error that a bare status is."""
    response = Response(status=status, headers=more)
    return answers.judge(request, response, PARTY, NOBODY)


@pytest.mark.parametrize("status", [200, 201, 202, 204, 206, 299])
def test_all_of_2xx_is_fine(status: int) -> None:
    """RFC 9110, 15.3: 2xx means that the request was received, understood and accepted."""
    assert judged(READ, status) is None
    assert judged(WRITE, status) is None


@pytest.mark.parametrize(
    ("status", "read", "write"),
    [
        (101, Rejected, OutcomeUnknown),
        (300, Rejected, OutcomeUnknown),
        (301, Rejected, OutcomeUnknown),
        (302, Rejected, OutcomeUnknown),
        (303, Rejected, OutcomeUnknown),
        (304, Rejected, OutcomeUnknown),
        (307, Rejected, Rejected),
        (308, Rejected, Rejected),
        (400, Rejected, Rejected),
        (401, SignInRefused, SignInRefused),
        (403, SignInRefused, SignInRefused),
        (404, Rejected, Rejected),
        (405, Rejected, Rejected),
        (408, Busy, Busy),
        (409, Rejected, Rejected),
        (412, Rejected, OtherHand),
        (415, Rejected, Rejected),
        (418, Rejected, Rejected),
        (422, Rejected, Rejected),
        (423, Busy, Busy),
        (425, Busy, Busy),
        (429, Busy, Busy),
        (500, Broken, OutcomeUnknown),
        (501, Broken, Rejected),
        (502, Broken, OutcomeUnknown),
        (503, Busy, Busy),
        (504, Broken, OutcomeUnknown),
        (505, Broken, Rejected),
        (599, Broken, OutcomeUnknown),
    ],
)
def test_each_status_is_its_error(
    status: int, read: type[DeviceError], write: type[DeviceError]
) -> None:
    """The table of the module, row by row; what may have been done is never called refused."""
    assert type(judged(READ, status)) is read
    found = judged(WRITE, status)
    assert type(found) is write
    if isinstance(found, Rejected):
        assert found.status == status


def test_no_status_of_a_write_is_forgotten() -> None:
    """Every status from 100 to 599 is one of the errors, or fine; none falls through."""
    for status in range(100, 600):
        fine = 200 <= status < 300
        assert (judged(WRITE, status) is None) == fine
        assert (judged(READ, status) is None) == fine


def test_a_dialect_may_want_to_see_a_status() -> None:
    """A status in also_fine is passed on, not raised."""
    request = Request(method="GET", path="/x", doing="reading", also_fine=frozenset({404}))
    assert judged(request, 404) is None


def test_another_hand_is_told_apart_from_a_refusal() -> None:
    """RFC 9110, 15.5.13 (412); RFC 5789, 2.2: a patch that no longer fits may be a 409."""
    patch = Request(method="PATCH", path="/x", doing="writing", overtaken=frozenset({409}))
    assert type(judged(patch, 409)) is OtherHand
    assert type(judged(patch, 412)) is OtherHand
    assert type(judged(patch, 422)) is Rejected
    assert type(judged(WRITE, 409)) is Rejected


@pytest.mark.parametrize(
    ("status", "read", "write"),
    [
        (200, SignInRefused, SignInRefused),
        (302, SignInRefused, SignInRefused),
        (401, SignInRefused, SignInRefused),
        (404, SignInRefused, SignInRefused),
        (429, Busy, Busy),
        (500, Broken, SignInRefused),
    ],
)
def test_a_sign_in_that_comes_first(
    status: int, read: type[DeviceError], write: type[DeviceError]
) -> None:
    """What it was for is never called unknown: it was not sent."""
    response = Response(status=status, headers={"retry-after": "5"}, body=b"words")
    for request, kind in ((READ, read), (WRITE, write)):
        found = answers.judge_sign_in(request, response, PARTY, NOBODY)
        assert type(found) is kind
        assert found.said.startswith(f"at the sign-in, {status}")


# RFC 9110, 10.2.3 (both examples), RFC 6585, 4.
@pytest.mark.parametrize(
    ("value", "seconds"),
    [
        ("120", 120.0),
        ("3600", 3600.0),
        ("Fri, 31 Dec 1999 23:59:59 GMT", 59.0),
        ("Fri, 31 Dec 1999 23:00:00 GMT", 0.0),
        ("Fri, 31 Dec 1999 23:59:59 -0000", 59.0),
        ("", None),
        ("soon", None),
        ("-5", None),
        ("1.5", None),
        ("Fri, 31 Dec 99999999 23:59:59 GMT", None),
    ],
)
def test_retry_after(value: str, seconds: float | None) -> None:
    """Whole seconds or a date; anything else says nothing."""
    now = datetime(1999, 12, 31, 23, 59, 0, tzinfo=UTC)
    assert answers.retry_after_s(value, now) == seconds


def test_busy_says_how_long() -> None:
    """The header's time stands in the error."""
    found = judged(WRITE, 503, **{"retry-after": "7"})
    assert isinstance(found, Busy)
    assert found.retry_after_s == 7.0


# The example of RFC 9457, section 3, first figure.
OUT_OF_CREDIT = {
    "type": "https://example.com/probs/out-of-credit",
    "title": "You do not have enough credit.",
    "detail": "Your current balance is 30, but that costs 50.",
    "instance": "/account/12345/msgs/abc",
    "balance": 30,
    "accounts": ["/account/12345", "/account/67890"],
}


# The example of RFC 9457, section 3, with several problems; the text of details from memory.
SEVERAL = {
    "type": "https://example.net/validation-error",
    "title": "Your request is not valid.",
    "errors": [
        {"detail": "must be a positive integer", "pointer": "#/age"},
        {"detail": "must be 'green', 'red' or 'blue'", "pointer": "#/profile/color"},
        {"detail": 5, "pointer": "#/x"},
        "nonsense",
    ],
}


@pytest.mark.parametrize(
    ("value", "words"),
    [
        (
            SEVERAL,
            (
                "Your request is not valid.: must be a positive integer at #/age: "
                "must be 'green', 'red' or 'blue' at #/profile/color"
            ),
        ),
        (
            OUT_OF_CREDIT,
            "You do not have enough credit.: Your current balance is 30, but that costs 50.",
        ),
        ({"title": "No", "detail": 5}, "No"),
        ({"title": 5, "problem": "stream is sending"}, "stream is sending"),
        ({"error": "nope", "code": 409}, "nope"),
        ({"error": "Bad Request", "debug": "no such leg", "code": 400}, "Bad Request: no such leg"),
        ({"error": "Locked", "debug": None, "code": 423}, "Locked"),
        ({"error": "Locked", "debug": {"a": 1}, "code": 423}, "Locked"),
        ({"message": "nope"}, "nope"),
        ({"detail": "only this"}, "only this"),
        ("just text", "just text"),
        ({"errors": ["x"]}, '{"errors": ["x"]}'),
        (["no", "no"], '["no", "no"]'),
    ],
)
def test_the_devices_own_words(value: object, words: str) -> None:
    """Problem details, their members of wrong types ignored (RFC 9457, 3.1); else a member."""
    assert answers.own_words(answered(value, 422)) == words


def said(body: bytes, secret: Secret | None = None) -> str:
    """What an error 422 with that body says."""
    response = Response(status=422, body=body)
    found = answers.judge(WRITE, response, PARTY, Redactor(secret))
    assert found is not None
    return found.said


def test_words_are_fit_for_one_line() -> None:
    """Line breaks, escapes, and characters that turn the writing round are gone."""
    assert said(b'{"problem": "a\\u0000b\\u001b[31mc\\r\\nd\\u202ee\\u2028f"}') == (
        "422: a b [31mc d e f"
    )
    assert said("caf\u00e9 \x9b1m".encode()) == "422: caf\u00e9 1m"


def test_words_are_short_and_pages_are_stripped() -> None:
    """Two hundred characters at most; of a page, its text."""
    assert len(said(b"x" * 100_000)) == len("422: ") + answers.MOST_WORDS
    assert said(b"<html><h1>Not here</h1></html>") == "422: Not here"
    assert said(b"") == "422"


@pytest.mark.timeout(10)
def test_a_hostile_page_costs_no_time() -> None:
    """Two million opening brackets are not searched again and again."""
    assert said(b"<" * 2_000_000).startswith("422: <<<")
    assert said(b"[" * 2_000_000).startswith("422: [[[")


def test_a_secret_in_the_devices_words_is_taken_out_before_they_are_cut() -> None:
    """Not even the beginning of a secret is left at the cut."""
    secret = Secret("", "Zx9-hollow-canary")
    for before in range(180, 205):
        words = said(b"x" * before + b"Zx9-hollow-canary", secret)
        assert "Zx9" not in words
