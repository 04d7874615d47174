"""What becomes of several writes that went, or were to go, in one request, told as one error."""

from collections.abc import Awaitable, Callable, Mapping, Sequence

from orchestrator.adapters.http.messages import Party
from orchestrator.errors import Broken, DeviceError, OutcomeUnknown, PartlyRefused, Unreachable
from orchestrator.facility.step import Step


def doing_all(steps: Sequence[Step]) -> str:
    """What a request with several writes does, in words."""
    kinds = " and ".join(dict.fromkeys(str(step.kind) for step in steps))
    return f"sending {len(steps)} steps ({kinds}) in one request"


def tell(party: Party, doing: str, refused: Mapping[str, DeviceError]) -> None:
    """Say which of several writes were not taken; ``refused`` maps a step's id to its error.

    Raises:
        PartlyRefused: there are such.
    """
    if not refused:
        return
    said = "; ".join(
        f"{step}: {error.said or type(error).__name__}" for step, error in refused.items()
    )
    raise PartlyRefused(party.device, party.address, doing, said, dict(refused))


async def one_by_one(
    party: Party, steps: Sequence[Step], send: Callable[[Step], Awaitable[None]]
) -> None:
    """Send each apart, until one is sent of which nobody knows, or nobody is there.

    Raises:
        OutcomeUnknown: of one; what went before it is found by reading, like this one.
        Broken: likewise.
        PartlyRefused: some were refused.
        Unreachable: nothing was sent at all.
    """
    refused: dict[str, DeviceError] = {}
    gone: Unreachable | None = None
    for step in steps:
        if gone is not None:
            refused[step.id] = gone
            continue
        try:
            await send(step)
        except (OutcomeUnknown, Broken):
            raise
        except DeviceError as error:
            refused[step.id] = error
            gone = error if isinstance(error, Unreachable) else None
    if gone is not None and len(refused) == len(steps):
        raise gone
    tell(party, doing_all(steps), refused)
