"""Things: what is held by one owner at a time.

A thing is a number, a group or an address on one network, as a plain tuple: ``("number",
"media", 311)``, ``("group", "media", "239.194.1.55:5004")``, ``("address", "media",
"10.44.3.31")``. What stands on a bench holds nothing of the facility, so it has no things.
"""

from collections.abc import Iterable

from orchestrator.facility.found import SourceState

Thing = tuple[str, str, int | str]


def source_things(
    networks: Iterable[str | None], number: int | None, groups: Iterable[str | None]
) -> frozenset[Thing]:
    """What a source holds that has ``number`` and ``groups`` (one a leg) on ``networks``."""
    legs = tuple(networks)
    things: list[Thing] = []
    if number is not None:
        things += [("number", net, number) for net in legs if net is not None]
    for net, group in zip(legs, groups, strict=False):
        if net is not None and group is not None:
            things.append(("group", net, group))
    return frozenset(things)


def things_of(networks: Iterable[str | None], source: SourceState) -> frozenset[Thing]:
    """What a source in the state ``source`` holds on ``networks``."""
    return source_things(networks, source.number, source.groups)


def heard_things(networks: Iterable[str | None], hears: int | str | None) -> tuple[Thing, ...]:
    """The things that a destination pointed at ``hears`` would hear, on its ``networks``."""
    if hears is None:
        return ()
    kind = "number" if isinstance(hears, int) else "group"
    return tuple((kind, net, hears) for net in networks if net is not None)


def thing_words(thing: Thing) -> str:
    """A thing in words: ``number 311 on media``."""
    kind, network, value = thing
    return f"{kind} {value} on {network}"
