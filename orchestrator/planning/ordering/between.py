"""The order between devices: who waits for whom to let go, to leave, or to arrive."""

from collections.abc import Iterable, Iterator
from typing import NamedTuple

from orchestrator.facility.plan import Ref
from orchestrator.facility.step import Origin
from orchestrator.planning.aims.listeners import Listener
from orchestrator.planning.ordering.moves import Move
from orchestrator.planning.ordering.saves import PointerSaves, saves_that_free
from orchestrator.planning.ordering.work import Work
from orchestrator.planning.things import Thing, heard_things


class Between:
    """Adds the saves that others wait for, and the order between devices.

    ``concerned`` are the listeners that are pointed anew, or whose device is moved. It is made
    when every device has its own steps.
    """

    def __init__(self, work: Work) -> None:
        self.work = work
        moved = work.settled.keys() | work.joins
        self.concerned = [
            listener
            for ref, listener in work.heard.listeners.items()
            if ref in work.repoint or ref.device in moved
        ]

    def put(self) -> None:
        """Add all of it, after every device has its own steps."""
        comings = list(self._comings())
        awaited = {coming.move for coming in comings if not coming.own}
        for move in self.work.moves:
            for other in move.waits:
                if self.work.moves[other].device != move.device:
                    awaited.add(other)
        saves_that_free(self.work, awaited)
        for index, move in enumerate(self.work.moves):
            if move.waits:
                self._waits(index, move)
        for listener in self.concerned:
            if listener.ref in self.work.repoint:
                self._listener(listener)
        self._arrivals(comings)

    def _waits(self, index: int, move: Move) -> None:
        work, step = self.work, self.work.move_step[index]
        for other in move.waits:
            freeing = work.moves[other]
            same_device = freeing.device == move.device
            renumbered_here = same_device and freeing.source is not None
            first = work.move_step[other] if renumbered_here else work.freed_at[other]
            why = ""
            things = [thing for thing in move.takes if thing in freeing.frees]
            if things:
                number = [thing[2] for thing in things if thing[0] == "number"]
                what = number[0] if number else things[0][2]
                why = f"waits until {freeing.subject} has let go of {what}"
            work.graph.order(first, step, why)

    def _listener(self, listener: Listener) -> None:
        step = self.work.repoint[listener.ref]
        if (
            listener.asked
            and not listener.follows
            and any(self.work.scene.networks_now[listener.ref.device])
        ):
            self.work.graph.order(self._arrived(listener.after), step, f"{listener.after} is there")
        if listener.follows and listener.after is not None:
            source = listener.after
            self.work.graph.order(
                self.work.disable.get(source),
                step,
                f"{source} is off while its listener is pointed",
            )
            self.work.graph.order(
                step, self.work.enable.get(source), f"{listener.ref} is pointed at it first"
            )
            draft = self.work.graph.drafts[step]
            if self.work.disable.get(source) is not None:
                draft.room = self.work.scene.room_of(source.device)
            holds_sender = self.work.traits(listener.ref.device).holds_sender_address
            if holds_sender and source.device in self.work.settled:
                self.work.graph.order(
                    self.work.settled[source.device],
                    step,
                    f"{source.device} answers at its new address",
                )
        if listener.after is not None and self.work.traits(listener.ref.device).asks_source:
            self._asks(step, listener.ref, listener.after)

    def _asks(self, step: int, ref: Ref, source: Ref) -> None:
        """A repoint for which the source's device is asked comes when that can tell what is new.

        A unit that joins is pointed on the bench, whenever that is.
        """
        settled = self.work.settled.get(source.device)
        if any(self.work.scene.networks_now[ref.device]):
            why = f"{source} can tell how it is described now"
            self.work.graph.order(self._arrived(source), step, why)
            if self.work.traits(ref.device).holds_sender_address:
                self.work.graph.order(settled, step, why)
        at = self.work.scene.found.devices[source.device].at
        if settled is not None and settled in self.work.graph.drafts[step].after:
            at = self.work.graph.drafts[settled].at
        self.work.graph.drafts[step].origin = Origin(source.device, source.name, at)

    def _arrived(self, source: Ref | None) -> int | None:
        """The step with which ``source`` holds what it is wanted to hold, if any moves it there."""
        if source is None:
            return None
        for index in self.work.moves_of.get(source.device, ()):
            move = self.work.moves[index]
            if move.lent != "out" and (move.source == source.name and not move.joins):
                if not any(self.work.scene.networks_now[source.device]):
                    return self.work.settled.get(source.device)
                return self.work.move_step[index]
        return None

    def _arrivals(self, comings: Iterable["_Coming"]) -> None:
        """Rule 5: who comes to a number, and who must have left it."""
        saves = PointerSaves(self.work)
        for listener in self.concerned:
            self._leave_first(listener, saves)
        for coming in comings:
            freed = self.work.move_step if coming.own else self.work.freed_at
            self.work.graph.order(freed[coming.move], coming.step, coming.why)

    def _moves_of(self, ref: Ref) -> Iterator[int]:
        """The moves that move ``ref``: its own, and those of its whole device."""
        for index in self.work.moves_of.get(ref.device, ()):
            if self.work.moves[index].source in {None, ref.name}:
                yield index

    def _takes(self, ref: Ref, thing: Thing) -> bool:
        """Whether ``ref``, which is to hold ``thing``, takes it in this change."""
        moves = (self.work.moves[index] for index in self._moves_of(ref))
        return any(thing in move.takes and move.lent != "out" for move in moves)

    def _frees(self, ref: Ref, thing: Thing) -> int | None:
        """The move by which ``ref`` lets go of ``thing``."""
        freeing = (i for i in self._moves_of(ref) if thing in self.work.moves[i].frees)
        return next(freeing, None)

    def _leave_first(self, listener: Listener, saves: PointerSaves) -> None:
        """Nobody is enabled on a number before the listener that is to leave it has left.

        One that is not pointed elsewhere leaves it, too, if its device goes to a bench.
        """
        device = listener.ref.device
        pointed = listener.ref in self.work.repoint
        gone = self.work.settled.get(device)
        if gone is not None and any(self.work.heard.networks[device]):
            gone = None
        if gone is None and not pointed:
            return
        nets = self.work.scene.networks_now[listener.ref.device]
        for thing in heard_things(nets, listener.found):
            for ref in self.work.heard.then.holders(thing):
                if ref == listener.after or ref in listener.before:
                    continue
                on = self.work.enable.get(ref)
                if on is not None and self._takes(ref, thing):
                    left = saves.left_at(listener.ref, ref.device) if pointed else gone
                    self.work.graph.order(left, on, f"{listener.ref} has left {thing[2]}")

    def _comings(self) -> Iterator["_Coming"]:
        """A listener comes to a number only when whoever it must not hear has let go of it."""
        for listener in self.concerned:
            device = listener.ref.device
            step = self._comes_with(listener)
            if step is None:
                continue
            nets_then = self.work.heard.networks[device]
            for thing in heard_things(nets_then, listener.wanted):
                for ref in self.work.heard.now.holders(thing):
                    if ref == listener.after or ref in listener.before:
                        continue
                    leaving = self._frees(ref, thing)
                    if leaving is not None:
                        own = self.work.moves[leaving].device == device
                        why = "" if own else f"{ref} has let go of {thing[2]}"
                        yield _Coming(leaving, step, why, own)

    def _comes_with(self, listener: Listener) -> int | None:
        """The step with which a listener comes to where it is to point: a repoint, or a join."""
        device = listener.ref.device
        if device not in self.work.joins or any(self.work.scene.networks_now[device]):
            return self.work.repoint.get(listener.ref)
        joins = (i for i in self.work.moves_of[device] if self.work.moves[i].joins)
        return next((self.work.move_step[index] for index in joins), None)


class _Coming(NamedTuple):
    """A step with which a listener comes to a number, and the move that has to leave it first.

    ``own``: one device's, which needs no save in between.
    """

    move: int
    step: int
    why: str
    own: bool
