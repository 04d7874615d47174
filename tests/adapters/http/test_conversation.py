import asyncio
from collections.abc import Generator

import pytest

from orchestrator.adapters.http.conversation import play
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.errors import Broken, OutcomeUnknown, Rejected

FIRST = Request(method="GET", path="/first", doing="looking")
SECOND = Request(method="GET", path="/second", doing="looking")
ENDED: list[str] = []


def talk() -> Generator[Request, Response, bytes]:
    """A talk of two requests."""
    try:
        one = yield FIRST
        two = yield SECOND
        if two.body == b"odd":
            raise Broken("node", "127.44.3.41", "looking", "said s3cret")
        return one.body + two.body
    finally:
        ENDED.append("ended")


def answering(*bodies: bytes) -> bytes:
    """What comes of the talk with such answers."""
    left = list(bodies)

    async def ask(_request: Request) -> Response:
        if not left:
            raise Rejected("node", "127.44.3.41", "looking", "s3cret is not taken", 404)
        return Response(status=200, body=left.pop(0))

    return asyncio.run(play(talk(), ask, lambda said: said.replace("s3cret", "...")))


def test_it_gives_what_the_talk_ends_with() -> None:
    """Each answer goes to the request before it."""
    assert answering(b"a", b"b") == b"ab"


def test_what_is_said_is_cleaned() -> None:
    """Whether the talk says so itself or the one who asks; the talk is always ended."""
    ENDED.clear()
    with pytest.raises(Broken) as broken:
        answering(b"a", b"odd")
    with pytest.raises(Rejected) as rejected:
        answering(b"a")
    assert (broken.value.said, rejected.value.said) == ("said ...", "... is not taken")
    assert (broken.value.__context__, rejected.value.status) == (None, 404)
    assert ENDED == ["ended", "ended"]


def following() -> Generator[Request, Response, None]:
    """A write, and another one that follows it."""
    yield Request(method="PUT", path="/rate", doing="setting it")
    yield Request(method="POST", path="/restart", doing="having it take effect", follows=True)


def test_what_fails_after_a_write_was_not_nothing() -> None:
    """Whatever the error: the first was taken, so only a look can tell what became of it."""
    left = [Response(status=204)]

    async def ask(request: Request) -> Response:
        if not left:
            raise Rejected("node", "127.44.3.41", request.doing, "s3cret is odd", 409)
        return left.pop(0)

    with pytest.raises(OutcomeUnknown) as unknown:
        asyncio.run(play(following(), ask, lambda said: said.replace("s3cret", "...")))
    assert unknown.value.said == "what was set before was taken; this was not: ... is odd"
    assert unknown.value.doing == "having it take effect"
    with pytest.raises(Rejected):
        asyncio.run(play(following(), ask, str))
