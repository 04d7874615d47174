"""The word by which a simulated device is signed in to: it can be changed, saved, and locked out.

A device that keeps changes at once boots with the new word; another one goes back, in a power
cycle, to the word that was there at the last save.
"""

import hmac

from mocks.messages import Problem

SHORTEST = 8
"""Characters that a new word has to have."""


class Access:
    """One device's word. ``locks_after`` wrong tries in a row nobody gets in (None: never)."""

    def __init__(self, word: str) -> None:
        self.word = word
        self.saved = word
        self.locks_after: int | None = None
        self.wrong = 0
        self.most_wrong = 0

    def __repr__(self) -> str:
        return f"Access({self.wrong} wrong)"

    @property
    def locked(self) -> bool:
        """Whether there were too many wrong tries."""
        return self.locks_after is not None and self.wrong >= self.locks_after

    def tried(self, written: str, wanted: str) -> bool:
        """Whether a try is right. ``wanted`` is the word as this sign-in writes it.

        A request without any sign-in is no try.
        """
        if not written or self.locked:
            return False
        if hmac.compare_digest(written.encode(), wanted.encode()):
            self.wrong = 0
            return True
        self.wrong += 1
        self.most_wrong = max(self.wrong, self.most_wrong)
        return False

    def change(self, was: object, will: object, *, saved: bool) -> None:
        """Change the word, which whoever asks has to know.

        Raises:
            Problem: the old word is wrong (403), or the new one is none that is taken (422).
        """
        if not isinstance(was, str) or not hmac.compare_digest(was.encode(), self.word.encode()):
            raise Problem(403, "the old word is wrong")
        if not isinstance(will, str) or len(will) < SHORTEST or not will.isprintable():
            raise Problem(422, f"a word has {SHORTEST} characters at least")
        self.word = will
        if saved:
            self.save()

    def save(self) -> None:
        """Boot with the word that is taken now."""
        self.saved = self.word

    def reboot(self) -> None:
        """Take the word that was saved; wrong tries are forgotten."""
        self.word, self.wrong = self.saved, 0
