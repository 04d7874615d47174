"""Plays a talk with a device to its end."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import TypeVar

from orchestrator.adapters.http.messages import Exchange, Request, Response
from orchestrator.errors import DeviceError, PartlyRefused

T = TypeVar("T")


async def play(
    talk: Exchange[T],
    ask: Callable[[Request], Awaitable[Response]],
    clean: Callable[[str], str],
) -> T:
    """Ask what ``talk`` wants to ask, until it has what it wants.

    What is said of answers may quote them, so it is made fit to be shown by ``clean``.

    Raises:
        DeviceError: as ``ask`` or ``talk`` does.
    """
    try:
        request = next(talk)
        while True:
            request = talk.send(await ask(request))
    except StopIteration as end:
        found: T = end.value
        return found
    except DeviceError as error:
        failure = cleaned(error, clean)
    finally:
        talk.close()
    raise failure


def cleaned(error: DeviceError, clean: Callable[[str], str]) -> DeviceError:
    """``error`` with all that it says made fit to be shown, that of its parts too."""
    if isinstance(error, PartlyRefused):
        parts = {step: cleaned(part, clean) for step, part in error.refused.items()}
        return replace(error, said=clean(error.said), refused=parts)
    return replace(error, said=clean(error.said))
