"""Takes a secret out of text, in every form in which it could stand there."""

import base64
import html
import json
import logging
import re
from collections.abc import Iterator
from functools import lru_cache
from urllib.parse import quote, quote_plus

from orchestrator.facility.secret import Secret

HIDDEN = "(secret)"
SURE = 6
"""Characters from which on a secret is taken out of what a device holds, too."""

_SET_COOKIE = re.compile(r"(?i)(set-cookie'?,? ?(?:b?['\"]|: ?))[^'\"\r\n]*")
_LOGGERS = ("httpx", "httpcore.connection", "httpcore.http11", "httpcore.http2", "httpcore.proxy")


class Redactor:
    """Takes secrets out of texts: as they are, escaped, percent-encoded, in Base64 or hex."""

    def __init__(self, secret: Secret | None) -> None:
        self._forms: list[str] = []
        self._shortest = SURE
        if secret is not None:
            self.learn_secret(secret)

    def learn_secret(self, secret: Secret) -> None:
        """Take ``secret`` out from now on, with its user name and without."""
        word = secret.reveal()
        self._shortest = min(self._shortest, len(word))
        self.learn(word)
        if secret.user:
            self.learn(f"{secret.user}:{word}")

    def learn(self, word: str) -> None:
        """Take ``word`` out too from now on: a cookie that stands for the secret."""
        if word:
            self._forms = sorted({*self._forms, *_forms_of(word)}, key=len, reverse=True)

    def __call__(self, text: str) -> str:
        """``text`` without the secret."""
        for form in self._forms:
            text = text.replace(form, HIDDEN)
        return text

    def of_what_is_held(self, text: str) -> str:
        """``text`` of a device's own state without the secret.

        A word as short as that could stand in any label, so it stays there.
        """
        return text if self._shortest < SURE else self(text)

    def __repr__(self) -> str:
        return "Redactor()"


@lru_cache(maxsize=64)
def _forms_of(text: str) -> tuple[str, ...]:
    """They are worked out once where hundreds of devices have one secret."""
    return tuple(_forms(text))


def _forms(text: str) -> Iterator[str]:
    data = text.encode(errors="replace")
    yield from (text, html.escape(text))
    yield json.dumps(text)[1:-1]
    yield json.dumps(text, ensure_ascii=False)[1:-1]
    yield repr(text)[1:-1]
    yield repr(data)[2:-1]
    yield from (data.hex(), data.hex().upper())
    for written in (quote(text, safe=""), quote(text), quote_plus(text)):
        yield from (written, _lower_escapes(written))
    for offset in range(3):
        yield from _base64(data, offset)


def _lower_escapes(written: str) -> str:
    """Percent signs may be followed by small letters too (RFC 3986, 2.1)."""
    head, *rest = written.split("%")
    return "%".join([head, *(part[:2].lower() + part[2:] for part in rest)])


def _base64(data: bytes, offset: int) -> Iterator[str]:
    """Base64 of ``data`` where ``offset`` other bytes stand before it, without uncertain ends."""
    start = -offset % 3
    whole = data[start : start + (len(data) - start) // 3 * 3]
    for kept in (whole, data) if offset == 0 else (whole,):
        if len(kept) < 3:  # noqa: PLR2004 - less is no whole group
            continue
        for coded in (base64.b64encode(kept), base64.urlsafe_b64encode(kept)):
            yield coded.decode()
            yield coded.decode().rstrip("=")


class LogGuard(logging.Filter):
    """Keeps a secret out of what the HTTP libraries log at DEBUG.

    They log the headers of answers, and texts of errors with header values in them; a device may
    answer with the key that it was sent.
    """

    def __init__(self, redact: Redactor) -> None:
        super().__init__()
        self._redact = redact

    def filter(self, record: logging.LogRecord) -> bool:
        """Let every record pass, with the secret taken out of its text."""
        text = _SET_COOKIE.sub(rf"\1{HIDDEN}", self._redact(record.getMessage()))
        record.msg, record.args = text, ()
        return True

    def stand(self) -> None:
        """Begin to guard the loggers of the HTTP libraries."""
        for name in _LOGGERS:
            logging.getLogger(name).addFilter(self)

    def leave(self) -> None:
        """End it."""
        for name in _LOGGERS:
            logging.getLogger(name).removeFilter(self)
