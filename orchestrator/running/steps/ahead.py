"""A look at a device while the intent that it belongs to goes to disk.

To look changes nothing on a device, so it need not wait for the disk; a write does. What is seen
counts only once the intent is stored, and not at all if that took so long that it is no news.
"""

from dataclasses import dataclass

from orchestrator.running.operations import Operation, Outcome, Read, Store, Stored
from orchestrator.running.steps.life import Stage
from orchestrator.running.steps.together import Together


@dataclass(slots=True)
class Ahead:
    """What a device's steps are once what is being stored is on disk, and the look they want then.

    ``after`` are all of them, ``left`` those that are not over then, ``seen`` what these are after
    the look; None until it has been answered.
    """

    after: Together
    left: Together
    look: Read
    seen: Together | None = None

    def see(self, outcome: Outcome) -> None:
        """Take note of what came of the look.

        Raises:
            OutOfTurn: a look can't come to that; nothing was changed.
        """
        self.seen = self.left.told(outcome)

    def once(self, stored: Stored) -> Together | None:
        """What is in hand once the intent is ``stored``; None while the look is being answered."""
        return self.left if stored.stale and self.seen is not None else self.seen


def ahead_of(together: Together, operation: Operation) -> Ahead | None:
    """The look that may go along with ``operation``, which is the next of ``together``.

    There is one where an intent is stored whose step begins with a look. A step whose write may
    have landed before a resume, and one of a person's, wait for the disk.
    """
    if not isinstance(operation, Store) or not together.intending:
        return None
    after = together.told(Stored())
    left = after.left
    if left is None or any(hand.stage is not Stage.LOOKING for hand in left.hands):
        return None
    look = left.operation()
    return Ahead(after, left, look) if isinstance(look, Read) else None
