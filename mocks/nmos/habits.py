"""Habits of a simulated NMOS node: what real nodes were seen to do within the standards, or nearly.

A world file gives a node some by name: ``habits: [unsorted, file-as-json]``.
"""

from enum import StrEnum


class Habit(StrEnum):
    """One habit."""

    UNSORTED = "unsorted"  # its lists come in another order than the one before
    UNRESOLVED = "unresolved"  # a sender that was never activated shows auto, and has no file (404)
    NO_FILE_WHILE_OFF = "no-file-while-off"  # no transport file (404) while it is switched off
    FILE_AS_JSON = "file-as-json"  # the transport file as JSON, unless application/sdp is asked for
    BAD_FILE_IS_500 = "bad-file-is-500"  # a bad transport file is answered 500, not 400
    NO_BULK = "no-bulk"  # it takes no bulk requests (404)
    SLASHED = "slashed"  # a path is answered 301 to the one with a slash at its end, when read
