"""How often Python looks for garbage while a command runs."""

import gc

BETWEEN_LOOKS = 20_000_000
"""New values between two looks at the new ones; by itself Python looks after 700."""
AT_OLDER = 1_000
"""Looks at the new ones between two at those that are older."""
IN_A_RUN = (20_000, 10, 10)
"""While devices are driven, which may take a night and leaves garbage behind all along."""


def look_seldom() -> None:
    """Look for values that only hold one another far more seldom than Python does by itself.

    A large facility is millions of small values that are needed to the end of the command. Looking
    through all of them again and again, for garbage that is hardly ever there, would take half of
    a large dry-run's time.
    """
    gc.set_threshold(BETWEEN_LOOKS, AT_OLDER, AT_OLDER)


def look_often() -> None:
    """Leave all that is there now out of the looks, and look often at what comes from now on."""
    gc.freeze()
    gc.set_threshold(*IN_A_RUN)
