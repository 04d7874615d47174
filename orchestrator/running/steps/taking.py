"""A step as it is taken in hand: what is known of it, and of its device, by then."""

from collections.abc import Collection, Mapping, Sequence

from orchestrator.facility.found import DeviceState, Identity
from orchestrator.facility.step import Step, StepKind
from orchestrator.running.events import Failure
from orchestrator.running.fold import Folding, Standing
from orchestrator.running.steps.hand import Hand, new_address
from orchestrator.running.steps.keeping import moves, onward, overtaken_by, rests_on, values_set
from orchestrator.running.steps.life import Stage
from orchestrator.running.steps.patience import Patience
from orchestrator.running.steps.places import moved_since, readdress_of
from orchestrator.running.stuck import GONE


def taken(
    step: Step,
    own: Sequence[str],
    steps: Mapping[str, Step],
    state: Folding,
    *,
    expects: Identity | None,
    patience: Patience,
    batch: Sequence[Step] = (),
    done: Collection[str] = (),
    kept: DeviceState | None = None,
) -> Hand:
    """Take ``step`` in hand; ``own`` are all the steps of its device, in order, by id.

    ``batch`` are all that are taken in hand with it, itself among them. ``done`` are those whose
    proof is stored together with its intent. ``kept`` is what a first save is to keep.
    """
    standings = state.standings
    proved = [name for name in own if name in done or standings.get(name) is Standing.PROVED]
    since = moved_since(step, steps, proved)
    readdress = readdress_of(step, steps) or since
    moved = readdress is not None and new_address(readdress) != readdress.at
    earlier = writes(step) and standings.get(step.id) is Standing.INTENDED
    holds = rests_on(step, steps, proved)
    its = [steps[name] for name in own]
    return Hand(
        step=step,
        expects=expects,
        patience=patience,
        left=readdress.at if readdress is not None and moved else None,
        readdress=readdress.id if readdress is not None else None,
        gone_to=new_address(since) if since is not None else None,
        holds=holds,
        onward=onward(step, holds, its, standings),
        besides=values_set(step.device, steps, proved),
        later=overtaken_by(step, its, standings) if earlier else (),
        kept=kept,
        mates=tuple(one for one in batch if one is not step),
        earlier=earlier,
        doubt=earlier,
    )


def writes(step: Step) -> bool:
    """Whether a step sends something to its device."""
    return step.kind not in (StepKind.CONFIRM, StepKind.BY_HAND)


def gone_back(hand: Hand, steps: Mapping[str, Step]) -> tuple[Step, ...]:
    """What a device may have gone back on that can't be found to save: its last move.

    And what one has gone back on that stands where it stood before: the confirm of that move.
    """
    if hand.stage is not Stage.FAILED:
        return ()
    if hand.gone_to is not None and hand.readdress is not None and hand.why is Failure.NOT_DONE:
        moved = moves((steps[hand.readdress],), steps)
        return tuple(one for one in moved if one.id != hand.readdress)  # which failed with it
    absent = hand.why in (*GONE, Failure.UNKNOWN)
    return moves(hand.holds, steps) if absent and hand.step.kind is StepKind.SAVE else ()
