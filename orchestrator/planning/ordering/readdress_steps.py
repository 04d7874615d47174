"""Readdress is last: what comes before it, and what may come after."""

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import AddressValue, Assigned, Hearing, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.planning.ordering.drafts import Draft
from orchestrator.planning.ordering.moves import Move
from orchestrator.planning.ordering.work import Work


class ReaddressSteps:
    """Adds each readdress with its confirm and saves, around the device's other steps."""

    def __init__(self, work: Work) -> None:
        self.work = work

    def device(self, name: str) -> None:
        """Add the readdresses of one device, after all its other steps were added."""
        moves = self.work.moves
        own = [i for i in self.work.moves_of[name] if moves[i].source is None]
        for index in sorted(own, key=lambda i: (moves[i].lent == "home", i)):
            self._readdress(index, moves[index])

    def _save_first(self, name: str, earlier: list[int], readdress: int) -> None:
        """A unit that boots with what is saved saves before it joins (H9)."""
        save = self.work.add(name, StepKind.SAVE)
        for before in earlier:
            self.work.graph.order(before, save)
        self.work.graph.order(save, readdress)

    def _readdress(self, index: int, move: Move) -> None:
        """Readdress, confirm, save: after all else of the device, before what may follow."""
        name = move.device
        boots_saved = self.work.traits(name).saves is Saves.ON_SAVE
        if move.joins:
            self._leave_pointers_behind(move)
        earlier = [i for i in self.work.of_device[name] if self._comes_before(i, move)]
        interface = next(iter(self.work.scene.states[name].interfaces))
        step = self.work.add(name, StepKind.READDRESS, as_found=move.as_found, wanted=move.wanted)
        here, there = _addresses(move)
        if move.interface == interface:
            self.work.graph.drafts[step].at = here
        for before in earlier:
            self.work.graph.order(before, step)
        self.work.graph.order(self.work.settled.get(name), step)
        if move.joins and boots_saved and earlier:
            self._save_first(name, earlier, step)
        confirm = self.work.add(name, StepKind.CONFIRM, as_found=move.wanted, wanted=move.wanted)
        self.work.graph.order(step, confirm)
        if move.interface == interface:
            self.work.graph.drafts[confirm].at = there
        last = confirm
        if boots_saved:
            last = self.work.add(name, StepKind.SAVE)
            self.work.graph.order(confirm, last)
            self.work.graph.drafts[last].at = self.work.graph.drafts[confirm].at
        self.work.move_step[index] = step
        self.work.freed_at[index] = last
        self.work.settled[name] = last
        for later in self.work.of_device[name]:
            if later not in {*earlier, step, confirm, last} and self._may_follow(later, move):
                self.work.graph.order(last, later)
                if move.interface == interface:
                    self.work.graph.drafts[later].at = there

    def _leave_pointers_behind(self, move: Move) -> None:
        """What a joining unit is pointed at late points nowhere while it joins (H8)."""
        for index in list(self.work.of_device[move.device]):
            draft = self.work.graph.drafts[index]
            late = draft.kind is StepKind.REPOINT and self._points_late(draft, move)
            if late and draft.as_found != Hearing():
                first = self.work.add(
                    move.device,
                    StepKind.REPOINT,
                    destination=draft.destination,
                    as_found=draft.as_found,
                    wanted=Hearing(),
                )
                draft.as_found = Hearing()
                self.work.graph.order(first, index)

    def _comes_before(self, index: int, move: Move) -> bool:
        draft = self.work.graph.drafts[index]
        match draft.kind:
            case StepKind.DISABLE:
                return True
            case StepKind.RENUMBER:
                return not move.leaves
            case StepKind.SET:
                return draft.source is not None or index in self.work.restarts[move.device]
            case StepKind.REPOINT:
                nowhere = draft.wanted == Hearing()
                return not move.leaves and (nowhere or not self._points_late(draft, move))
            case _:
                return False

    def _may_follow(self, index: int, move: Move) -> bool:
        draft = self.work.graph.drafts[index]
        if draft.kind is StepKind.RENUMBER:
            return move.leaves
        return draft.kind in {StepKind.ENABLE, StepKind.SET, StepKind.REPOINT}

    def _points_late(self, draft: Draft, move: Move) -> bool:
        """Whether a repoint has to come after its own device's readdress.

        So it is where it waits for another device's new address, which may in turn wait for
        this device to leave its own. A unit that joins leaves nothing that anybody waits for: it
        is pointed on the bench; only where it holds the sender's address and the sender joins
        too could each wait for the other.
        """
        listener = self.work.heard.listeners[Ref(draft.device, draft.destination or "")]
        holds_sender = self.work.traits(draft.device).holds_sender_address
        after = listener.after
        awaits_a_join = (
            listener.asked
            and after is not None
            and any(self.work.moves[i].joins for i in self.work.moves_of.get(after.device, ()))
        )
        if move.joins:
            return holds_sender and awaits_a_join
        return holds_sender or awaits_a_join


def _addresses(move: Move) -> tuple[str, str]:
    """Where a readdress starts and where it ends."""
    if isinstance(move.as_found, Assigned) or isinstance(move.wanted, Assigned):
        raise TypeError("a renumber has no address")
    here: AddressValue = move.as_found
    there: AddressValue = move.wanted
    return here.address, there.address
