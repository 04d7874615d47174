"""Plays a talk with a device to its end."""

from collections.abc import Awaitable, Callable
from dataclasses import replace
from typing import TypeVar

from orchestrator.adapters.http.messages import Exchange, Request, Response
from orchestrator.errors import DeviceError, OutcomeUnknown, PartlyRefused

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
            try:
                answer = await ask(request)
            except DeviceError as error:
                raise _after_a_write(request, error) from None
            request = talk.send(answer)
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


def _after_a_write(request: Request, error: DeviceError) -> DeviceError:
    """An error of what follows a write: that was taken, and this perhaps not."""
    if not request.follows or isinstance(error, OutcomeUnknown):
        return error
    said = f"what was set before was taken; this was not: {error.said or type(error).__name__}"
    return OutcomeUnknown(error.device, error.address, error.doing, said)
