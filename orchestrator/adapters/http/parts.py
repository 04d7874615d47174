"""What becomes of several writes that went in one request, told as one error."""

from collections.abc import Mapping, Sequence

from orchestrator.adapters.http.messages import Party
from orchestrator.errors import DeviceError, PartlyRefused
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
