"""Which error an answer is, and the device's own words.

======================  =======================  ==========================================
status                  to a read                to a write
======================  =======================  ==========================================
2xx                     fine                     fine
300 ... 306             Rejected (a redirect)    OutcomeUnknown: 303 may follow a done deed
307, 308                Rejected (a redirect)    Rejected: to be sent elsewhere, not done
401, 403                SignInRefused            SignInRefused
408, 423, 425, 429,     Busy                     Busy
503
412                     Rejected                 OtherHand: the precondition failed, not done
other 4xx               Rejected                 Rejected
501, 505                Broken                   Rejected: the device can't do such a thing
other 5xx               Broken                   OutcomeUnknown: it may have failed half-way
======================  =======================  ==========================================

Sources: RFC 9110, sections 15.4 to 15.6; RFC 4918, 11.3 (423); RFC 6585, 4 (429); RFC 8470, 5.2
(425). Redirects are never followed: a signed request goes to the device and nowhere else.
"""

import json
import re
import unicodedata
from collections.abc import Callable
from datetime import UTC, datetime
from email.utils import parsedate_to_datetime

from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.adapters.restconf import errors as restconf_errors
from orchestrator.errors import (
    Broken,
    Busy,
    DeviceError,
    OtherHand,
    OutcomeUnknown,
    Rejected,
    SignInRefused,
)
from orchestrator.facility.description import Json

MOST_WORDS = 200
"""Characters of a device's own words that are passed on."""

_MOST_READ = 4000
_SIGN_IN = frozenset({401, 403})
_BUSY = frozenset({408, 423, 425, 429, 503})
_OVERTAKEN = frozenset({412})
_ELSEWHERE = frozenset({307, 308})
_CANNOT = frozenset({501, 505})
_MEMBERS = ("problem", "error", "errorMessage", "message", "detail", "reason", "description")
_NOT_SHOWN = frozenset({"Cc", "Cf", "Cs", "Co", "Cn", "Zl", "Zp"})

Redact = Callable[[str], str]


def judge(
    request: Request, response: Response, party: Party, redact: Redact, now: datetime | None = None
) -> DeviceError | None:
    """The error that ``response`` is, None if it is fine. ``now`` is the time, for Retry-After."""
    status = response.status
    if 200 <= status < 300 or status in request.also_fine:  # noqa: PLR2004 - RFC 9110, 15.3
        return None
    at = (party.device, party.address, request.doing)
    said = _said(response, redact)
    if status in _SIGN_IN:
        return SignInRefused(*at, said)
    if status in _BUSY:
        return Busy(*at, said, retry_after_s(response.headers.get("retry-after", ""), now))
    if status < 400:  # noqa: PLR2004 - RFC 9110, 15.4
        return _redirected(request, status, at)
    if request.reads:
        return Rejected(*at, said, status) if status < 500 else Broken(*at, said)  # noqa: PLR2004 - RFC 9110, 15.5
    return _not_written(request, status, at, said)


def _not_written(request: Request, status: int, at: tuple[str, str, str], said: str) -> DeviceError:
    if status in _OVERTAKEN | request.overtaken:
        return OtherHand(*at, said)
    if status < 500 or status in _CANNOT:  # noqa: PLR2004 - RFC 9110, 15.5
        return Rejected(*at, said, status)
    return OutcomeUnknown(*at, said)


def judge_sign_in(
    request: Request, response: Response, party: Party, redact: Redact
) -> DeviceError:
    """The error that a sign-in is which had to come before ``request`` and was not taken.

    ``request`` itself was never sent, so a write is surely not done.
    """
    at = (party.device, party.address, request.doing)
    said = f"at the sign-in, {_said(response, redact)}"
    if response.status < 400:  # noqa: PLR2004 - RFC 9110, 15.5
        said = f"at the sign-in, {response.status}, and no cookie was set"
    if response.status in _BUSY:
        return Busy(*at, said, retry_after_s(response.headers.get("retry-after", "")))
    if response.status >= 500 and request.reads:  # noqa: PLR2004 - RFC 9110, 15.6
        return Broken(*at, said)
    return SignInRefused(*at, said)


def of_part(status: int, entry: Json) -> Response:
    """What an answer to several writes says of one, as the answer to that one alone."""
    return Response(status=status, body=json.dumps(entry).encode())


def _redirected(request: Request, status: int, at: tuple[str, str, str]) -> DeviceError:
    said = f"{status}, it points elsewhere; redirects are not followed"
    if request.reads or status in _ELSEWHERE:
        return Rejected(*at, said, status)
    return OutcomeUnknown(*at, said)


def _said(response: Response, redact: Redact) -> str:
    words = clean(own_words(response), redact)
    return f"{response.status}: {words}" if words else str(response.status)


def clean(text: str, redact: Redact) -> str:
    """``text`` fit for one line: no secret, no control or format characters, not long."""
    text = redact(text)[:_MOST_READ]
    if text.lstrip().startswith("<"):
        text = re.sub(r"<[^>]*>", " ", text)
    text = "".join(" " if unicodedata.category(c) in _NOT_SHOWN else c for c in text)
    text = redact(" ".join(text.split()))
    return text if len(text) <= MOST_WORDS else text[: MOST_WORDS - 3] + "..."


def own_words(response: Response) -> str:
    """What the device says is wrong: problem details (RFC 9457), a short member, or its text.

    An NMOS error has ``code``, ``error`` and ``debug``; the reason may stand in the last alone. A
    RESTCONF server has an error document of its own (RFC 8040, 7.1).
    """
    text = response.body.decode(errors="replace")
    try:
        said = json.loads(text)
    except (ValueError, RecursionError):
        return text
    return restconf_errors.said(said) or _member(said) or text


def _member(said: Json) -> str:
    if isinstance(said, str):
        return said
    if not isinstance(said, dict):
        return ""
    details = [said[name] for name in ("title", "detail") if isinstance(said.get(name), str)]
    if "title" in said and details:
        return ": ".join([*details, *_each(said.get("errors"))])
    short = next((said[name] for name in _MEMBERS if isinstance(said.get(name), str)), "")
    debug = said.get("debug")
    return f"{short}: {debug}" if short and debug and isinstance(debug, str) else short


def _each(errors: Json) -> list[str]:
    """The details of several problems, with where they lie (RFC 9457, section 3)."""
    if not isinstance(errors, list):
        return []
    found = [each for each in errors if isinstance(each, dict)]
    return [
        " at ".join(each[name] for name in ("detail", "pointer") if isinstance(each.get(name), str))
        for each in found
        if isinstance(each.get("detail"), str)
    ]


def retry_after_s(value: str, now: datetime | None = None) -> float | None:
    """Seconds to wait by a Retry-After header (RFC 9110, 10.2.3); None if it says nothing."""
    value = value.strip()
    if value.isascii() and value.isdigit():
        return float(value[:9])
    try:
        until = parsedate_to_datetime(value)
    except (ValueError, OverflowError):
        return None
    if until.tzinfo is None:
        until = until.replace(tzinfo=UTC)
    return max(0.0, (until - (now or datetime.now(UTC))).total_seconds())
