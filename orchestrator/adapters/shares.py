"""A device that speaks several ways: which way does what, and what that makes of its traits.

Each part of its state is read and written by one way: the first, in the plan's order, that can
write it; where none can, the first that can read it. So an NMOS node's streams are NMOS's and its
addresses RESTCONF's, in whichever order the plan names the two.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace

from orchestrator.adapters.way import Way
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Batch, Saves, Traits
from orchestrator.running.protocols import Part

WRITTEN_BY: Mapping[Part, frozenset[StepKind]] = {
    Part.INTERFACES: frozenset({StepKind.READDRESS}),
    Part.SOURCES: frozenset({StepKind.DISABLE, StepKind.ENABLE, StepKind.RENUMBER}),
    Part.DESTINATIONS: frozenset({StepKind.REPOINT}),
    Part.SETTINGS: frozenset({StepKind.SET}),
}
"""What writes each part; a source's label, which is set too, goes with the sources."""

_ANY = frozenset({StepKind.CONFIRM, StepKind.BY_HAND})


def shares(ways: Sequence[Way]) -> dict[Part, Way]:
    """Which way reads and writes each part. A part that no way can tell is not there."""
    found: dict[Part, Way] = {}
    for part, kinds in WRITTEN_BY.items():
        telling = [way for way in ways if part in way.reads]
        writing = [way for way in telling if kinds & way.traits.can]
        if telling:
            found[part] = (writing or telling)[0]
    return found


def part_of(kind: StepKind, *, of_source: bool) -> Part:
    """The part that a step writes; ``of_source``: the step is about a source."""
    if kind is StepKind.SET:
        return Part.SOURCES if of_source else Part.SETTINGS
    return next((part for part, kinds in WRITTEN_BY.items() if kind in kinds), Part.UNSAVED)


def saving(ways: Sequence[Way]) -> tuple[Way, ...]:
    """The ways by which something is written that the device keeps only once it is saved."""
    used = shares(ways).values()
    return tuple(way for way in ways if way in used and way.traits.saves is Saves.ON_SAVE)


def traits_of_several(ways: Sequence[Way]) -> Traits:
    """What a device can do that speaks all the ``ways``, of which there is at least one.

    The slower of two times, the narrower of two gates and the stricter of two ways to save count.
    Its models are left out: each way's own are looked at where its identity is read.
    """
    if len(ways) == 1:
        return ways[0].traits
    share, each = shares(ways), [way.traits for way in ways]
    streams = share.get(Part.SOURCES, ways[0]).traits
    ears = share.get(Part.DESTINATIONS, ways[0]).traits
    settings = share.get(Part.SETTINGS, ways[0]).traits
    can = _ANY | _what_is_shared(share) | {StepKind.SAVE for _ in saving(ways)}
    return replace(
        streams,
        can=can,
        saves=Saves.ON_SAVE if saving(ways) else Saves.AT_ONCE,
        hears=ears.hears,
        holds_sender_address=ears.holds_sender_address,
        asks_source=ears.asks_source,
        gives_configuration=any(traits.gives_configuration for traits in each),
        effects=settings.effects,
        settle_s=max(traits.settle_s for traits in each),
        late_s=max(traits.late_s for traits in each),
        save_s=sum(way.traits.save_s for way in saving(ways)),
        requests_at_once=min(traits.requests_at_once for traits in each),
        models=(),
        tried_with=tuple(dict.fromkeys(word for traits in each for word in traits.tried_with)),
        cannot=_of_what_is_left(can, share, ways, lambda traits: traits.cannot),
        instead=_of_what_is_left(can, share, ways, lambda traits: traits.instead),
        sets_labels=StepKind.SET in streams.can and streams.sets_labels,
        read_only=settings.read_only
        if StepKind.SET in settings.can
        else frozenset(settings.effects) | settings.read_only,
        makes_gateway=share.get(Part.INTERFACES, ways[0]).traits.makes_gateway,
        batches=_batches(share),
    )


def _batches(share: Mapping[Part, Way]) -> tuple[Batch, ...]:
    """The batches of each way, of the kinds that only it writes."""
    found = []
    ways: list[Way] = []
    ways.extend(way for way in share.values() if way not in ways)
    for way in ways:
        kinds = {kind for part in share if share[part] is way for kind in WRITTEN_BY[part]}
        if share.get(Part.SOURCES) is not share.get(Part.SETTINGS):
            kinds.discard(StepKind.SET)  # a label is set by one way, a setting by another
        found += [replace(each, kinds=each.kinds & kinds) for each in way.traits.batches]
    return tuple(each for each in found if each.kinds)


def _what_is_shared(share: Mapping[Part, Way]) -> frozenset[StepKind]:
    kinds = {kind for part, way in share.items() for kind in WRITTEN_BY[part] & way.traits.can}
    sources = share.get(Part.SOURCES)
    if sources is not None:
        kinds |= {StepKind.SET} & sources.traits.can
    return frozenset(kinds)


def _of_what_is_left(
    can: frozenset[StepKind],
    share: Mapping[Part, Way],
    ways: Sequence[Way],
    words: Callable[[Traits], Mapping[StepKind, str]],
) -> dict[StepKind, str]:
    """What is said of the kinds that it can't do: by the way that has the part, else by any."""
    found: dict[StepKind, str] = {}
    for kind in StepKind:
        owner = share.get(part_of(kind, of_source=False))
        asked = [owner.traits] if owner is not None else []
        said = (words(traits) for traits in [*asked, *(way.traits for way in ways)])
        told = next((each[kind] for each in said if kind in each), None)
        if kind not in can and told is not None:
            found[kind] = told
    return found
