"""The cautions that the tool shows before anything is altered, and in every sheet on paper."""

from typing import NamedTuple


class Caution(NamedTuple):
    """One caution: what it is about, and what to do."""

    about: str
    text: str


HEARING = Caution(
    "Hearing",
    "Headphones off and monitors down, in every room that listens, before a source is switched "
    "on. A wrong source or a clock fault can arrive at full level. Bring levels up by hand, "
    "slowly. No tool does that for you.",
)
ALERT = Caution(
    "Alert and transmitter chains",
    "Do not touch what carries emergency alerts or feeds a transmitter without the licensee's "
    "written approval. The tool protects only what the plan marks. Local rules and the "
    "responsible engineer decide.",
)
ON_AIR = Caution(
    "Who is on air",
    "Ask now, by voice, in every room concerned. Listeners that the tool can't see are not in "
    "its lists and times.",
)
CLOCK = Caution(
    "Clock",
    "If the clock leader (grandmaster) of the network changes after a unit joins: stop, pull "
    "that unit's media cables, and find out why before going on.",
)
TWO_UNITS = Caution(
    "Two units with one identity",
    "Before a new unit takes the address and numbers of an old one, pull every cable of the old "
    "one and tag them.",
)
WAY_BACK = Caution(
    "The way back",
    "Have the rollback notes on paper or on another computer, and the last time to turn back in "
    "sight.",
)

CAUTIONS = (HEARING, ALERT, ON_AIR, CLOCK, TWO_UNITS, WAY_BACK)
"""All of them, in the order in which they are shown."""
