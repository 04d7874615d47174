"""Sign-ins that go over the network in the clear, said wherever devices are spoken to."""

from collections.abc import Sequence

from orchestrator.reports.layout import wrap

_MOST_NAMED = 6


def text(devices: Sequence[str]) -> str:
    """The warning for ``devices`` that are signed in to over plain HTTP; empty for none."""
    if not devices:
        return ""
    named = ", ".join(devices[:_MOST_NAMED])
    more = len(devices) - _MOST_NAMED
    rest = f" and {more} more" if more > 0 else ""
    return "\n".join(
        wrap(
            f"In the clear: the sign-in of {named}{rest} goes over plain HTTP, where whoever "
            "listens on that network can read it. Keep such units on a network of their own."
        )
    )
