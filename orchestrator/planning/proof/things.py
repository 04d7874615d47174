"""H1, H2 and H9: no two owners hold one thing at one time, nor would after a power cycle."""

from collections.abc import Iterator
from itertools import combinations, pairwise

from orchestrator.facility.hazard import Hazard
from orchestrator.planning.proof.case import Case, broken, label, over
from orchestrator.planning.proof.held import Held, Span


class Things:
    """Looks at every pair of times in which two owners hold one thing."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.scene = case.scene
        self.plan = case.scene.plan
        self.order = case.order
        self.replay = case.replay

    def found(self) -> Iterator[Hazard]:
        """No two owners hold one thing at one time."""
        apart: list[Span] = []
        for held in self.replay.held:
            spans = held.spans
            if len(spans) == 2:  # noqa: PLR2004 - one pair, by far the most there are
                if _same(spans, apart):
                    continue  # a source's number and its group are let go and taken together
                if (clash := self._clash(held, *spans)) is None:
                    apart = spans
                else:
                    yield clash
            elif len(spans) > 1 and not self._in_turn(spans):
                for one, other in combinations(spans, 2):
                    if (clash := self._clash(held, one, other)) is not None:
                        yield clash

    def _in_turn(self, spans: list[Span]) -> bool:
        """Whether each holder has let go before the next one takes: then all are apart.

        A number lent many times over has as many holders; so it takes one look at each, not one
        at each pair.
        """
        line = sorted(spans, key=self._place)
        return all(
            self._gone(one, other) == "" and self._taken_first(other)
            for one, other in pairwise(line)
        )

    def _place(self, span: Span) -> int:
        return -1 if span.taken is None else self.order.place[span.taken.id]

    def _taken_first(self, span: Span) -> bool:
        """Whether a holder surely takes before it lets go, where it does both."""
        if span.taken is None or span.proved is None:
            return True
        return self.order.before(span.taken, span.proved)

    def _clash(self, held: Held, one: Span, other: Span) -> Hazard | None:
        """The rule that two holders break, unless they are surely apart."""
        if one.owner == other.owner or (one.taken is None and other.taken is None):
            return None
        if not (first := self._gone(one, other)) or not (then := self._gone(other, one)):
            return None
        rules = {first, then}
        rule = "H9" if "H9" in rules else "H2" if held.kind == "address" else "H1"
        holder, taker = (one, other) if self._takes_last(one, other) else (other, one)
        step = taker.taken
        what = f"{held.kind} {held.value} on {held.network}"
        tail = " and saved it" if rule == "H9" else ""
        return broken(
            rule,
            f"{label(step) if step else taker.owner} takes {what} before {holder.owner} has surely "
            f"let go of it{tail}",
            (step.id if step else taker.owner, holder.owner),
        )

    def _takes_last(self, one: Span, other: Span) -> bool:
        """Whether ``other`` is the one that takes what ``one`` holds, not the other way round."""
        if one.taken is None or other.taken is None:
            return other.taken is not None
        return not self.order.before(other.taken, one.taken)

    def _gone(self, holder: Span, taker: Span) -> str:
        """``""`` if ``holder`` has let go for good before ``taker`` takes; else the rule broken."""
        if holder.released is None or holder.proved is None or taker.taken is None:
            return "held"
        if over(self.case, holder.device, holder.proved, taker.taken, taker.device):
            return ""
        # Let go of, if at all, only until the next power cycle.
        return "H9" if self.order.before(holder.proved, taker.taken) else "held"


def _same(pair: list[Span], other: list[Span]) -> bool:
    """Whether two pairs are of the very same times."""
    return bool(other) and pair[0] is other[0] and pair[1] is other[1]
