"""Things: what is held by one owner at a time.

A thing is a number, a group or an address on one network, as a plain tuple: ``("number",
"media", 311)``, ``("group", "media", "239.194.1.55:5004")``, ``("address", "media",
"10.44.3.31")``. What stands on a bench holds nothing of the facility, so it has no things.
"""

from collections.abc import Iterable, Sequence

from orchestrator.facility.found import SourceState

Thing = tuple[str, str, int | str]


def each_thing(
    networks: Sequence[str | None], number: int | None, groups: Sequence[str | None]
) -> list[Thing]:
    """What a source holds that has ``number`` and ``groups`` (one a leg) on ``networks``, by leg.

    A number stands twice where two legs are on one network.
    """
    things: list[Thing] = []
    for leg, net in enumerate(networks):
        if net is None:
            continue
        if number is not None:
            things.append(("number", net, number))
        group = groups[leg] if leg < len(groups) else None
        if group is not None:
            things.append(("group", net, group))
    return things


def source_things(
    networks: Sequence[str | None], number: int | None, groups: Sequence[str | None]
) -> tuple[Thing, ...]:
    """What a source holds that has ``number`` and ``groups`` (one a leg) on ``networks``; once."""
    things = each_thing(networks, number, groups)
    return tuple(things if len(networks) == 1 else dict.fromkeys(things))


def things_of(networks: Sequence[str | None], source: SourceState) -> tuple[Thing, ...]:
    """What a source in the state ``source`` holds on ``networks``, each thing once."""
    return source_things(networks, source.number, source.groups)


def heard_things(networks: Iterable[str | None], hears: int | str | None) -> tuple[Thing, ...]:
    """The things that a destination pointed at ``hears`` would hear, on its ``networks``."""
    if hears is None:
        return ()
    kind = "number" if isinstance(hears, int) else "group"
    return tuple([(kind, net, hears) for net in networks if net is not None])


def thing_words(thing: Thing) -> str:
    """A thing in words: ``number 311 on media``."""
    kind, network, value = thing
    return f"{kind} {value} on {network}"
