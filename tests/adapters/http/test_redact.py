import base64
import json
import logging
from urllib.parse import quote, quote_plus

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.adapters.http.redact import HIDDEN, LogGuard, Redactor
from orchestrator.facility.secret import Secret

WORD = 'Tern & 7/"ca\u00f1ary"%x'
SECRET = Secret("engineer", WORD)


@pytest.mark.parametrize(
    "form",
    [
        WORD,
        json.dumps(WORD)[1:-1],
        repr(WORD.encode())[2:-1],
        quote(WORD, safe=""),
        quote_plus(WORD),
        quote(WORD, safe="").replace("%C3%B1", "%c3%b1").replace("%2F", "%2f"),
        base64.b64encode(WORD.encode()).decode(),
        base64.urlsafe_b64encode(WORD.encode()).decode().rstrip("="),
        base64.b64encode(f"engineer:{WORD}".encode()).decode(),
        WORD.encode().hex(),
        WORD.replace("&", "&amp;").replace('"', "&quot;"),
    ],
)
def test_every_form_is_taken_out(form: str) -> None:
    """As it is, and in every way in which a device or a library might write it."""
    text = Redactor(SECRET)(f"before {form} after")
    assert text.startswith("before ")
    assert text.endswith(" after")
    assert HIDDEN in text
    assert form not in text


@given(st.binary(max_size=7), st.binary(max_size=7))
def test_base64_around_it_leaves_next_to_nothing(before: bytes, after: bytes) -> None:
    """Wherever it stands in something coded, no three letters of it in a row are left."""
    word = "canary-7Zq-hollow"
    text = Redactor(Secret("", word))(base64.b64encode(before + word.encode() + after).decode())
    # What stood before and after it never stood side by side: the gap keeps them apart.
    left = b"\xff\xff\xff".join(
        base64.b64decode(piece + "=" * (-len(piece) % 4))
        for piece in text.split(HIDDEN)
        if len(piece) % 4 != 1
    )
    inside = {word[i : i + 3].encode() for i in range(len(word) - 2)}
    assert not [three for three in inside if three in left and three not in before + after]


def test_no_secret_hides_nothing() -> None:
    """Devices without sign-in are quoted in full."""
    assert Redactor(None)("any words") == "any words"
    assert Redactor(Secret("", ""))("any words") == "any words"


def test_it_prints_as_nothing() -> None:
    """Neither it nor its guard shows what it hides."""
    assert "canary" not in repr(Redactor(Secret("", "canary")))


def test_the_guard_stands_and_leaves(caplog: pytest.LogCaptureFixture) -> None:
    """While it stands, what the library logs is clean, arguments and all; then it is as before."""
    guard = LogGuard(Redactor(Secret("", "canary-1")))
    log = logging.getLogger("httpcore.http11")
    with caplog.at_level(logging.DEBUG):
        guard.stand()
        log.debug("sent %r", b"canary-1")
        guard.leave()
        log.debug("nothing to hide")
    assert [record.getMessage() for record in caplog.records] == [
        f"sent b'{HIDDEN}'",
        "nothing to hide",
    ]
    assert guard not in log.filters


def test_it_learns_what_else_is_to_be_hidden(caplog: pytest.LogCaptureFixture) -> None:
    """A cookie that stands for the secret; in a log even before it is known."""
    redact = Redactor(SECRET)
    redact.learn("cookie/7Zq")
    assert redact("a cookie/7Zq b cookie%2F7Zq") == f"a {HIDDEN} b {HIDDEN}"
    assert HIDDEN in redact(WORD)
    guard = LogGuard(Redactor(None))
    log = logging.getLogger("httpcore.http11")
    with caplog.at_level(logging.DEBUG):
        guard.stand()
        log.debug(
            "got %r", [(b"Set-Cookie", b"sid=fresh-1; Path=/"), (b"set-cookie", b"b=fresh-2")]
        )
        log.debug("Set-Cookie: sid=fresh-3; x")
        guard.leave()
    assert "fresh" not in caplog.text
    assert caplog.text.count(HIDDEN) == 3
