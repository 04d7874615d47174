import pytest

from orchestrator.adapters.shares import part_of, saving, shares, traits_of_several
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Batch, Effect, Hears, Saves
from orchestrator.running.protocols import Part
from tests.adapters.ways_made import STREAMS, K, way

NODE = way(
    "node",
    *STREAMS,
    reads=frozenset({Part.INTERFACES, Part.SOURCES, Part.DESTINATIONS}),
    hears=Hears.GROUP,
    numbers_by_rule=True,
    cannot={K.READDRESS: "it has no way to", K.SET: "labels stay as they are"},
)
HOST = way(
    "host",
    K.READDRESS,
    reads=frozenset({Part.INTERFACES}),
    settle_s=20.0,
    requests_at_once=4,
    cannot={K.RENUMBER: "it knows no streams", K.SET: "it has no settings"},
)
FORM = way(
    "form",
    K.SET,
    K.SAVE,
    saves=Saves.ON_SAVE,
    save_s=2.0,
    effects={"ptp_domain": Effect.PLANT_WIDE},
    reads=frozenset({Part.SETTINGS, Part.UNSAVED}),
)


@pytest.mark.parametrize("ways", [(NODE, HOST), (HOST, NODE)])
def test_the_first_way_that_can_write_a_part_has_it(ways: tuple[object, ...]) -> None:
    """Both tell of interfaces and one alone can write them, whatever the plan's order."""
    pair = (NODE, HOST) if ways[0] is NODE else (HOST, NODE)
    assert {part: way.name for part, way in shares(pair).items()} == {
        Part.INTERFACES: "host",
        Part.SOURCES: "node",
        Part.DESTINATIONS: "node",
    }


def test_where_none_can_write_a_part_the_first_that_tells_it_has_it() -> None:
    """It is at least read; what nobody tells is nobody's."""
    assert shares([NODE])[Part.INTERFACES] is NODE
    assert Part.SETTINGS not in shares([NODE, HOST])


def test_the_order_decides_between_two_that_can() -> None:
    """The plan names first what is to be used first."""
    other = way("other", *STREAMS)
    assert shares([other, NODE])[Part.SOURCES] is other
    assert shares([NODE, other])[Part.SOURCES] is NODE


@pytest.mark.parametrize(
    ("kind", "of_source", "part"),
    [
        (K.DISABLE, True, Part.SOURCES),
        (K.RENUMBER, True, Part.SOURCES),
        (K.SET, True, Part.SOURCES),
        (K.SET, False, Part.SETTINGS),
        (K.REPOINT, False, Part.DESTINATIONS),
        (K.READDRESS, False, Part.INTERFACES),
        (K.SAVE, False, Part.UNSAVED),
    ],
)
def test_each_step_writes_a_part(*, kind: StepKind, of_source: bool, part: Part) -> None:
    """A label is set with the source that it is on, any other setting with the settings."""
    assert part_of(kind, of_source=of_source) is part


def test_the_traits_of_several_are_each_ways_own_share() -> None:
    """Streams by the one, addresses by the other; the slower and the narrower count."""
    both = traits_of_several([NODE, HOST])
    assert both.can == STREAMS | {K.READDRESS, K.CONFIRM, K.BY_HAND}
    assert (both.hears, both.numbers_by_rule) == (Hears.GROUP, True)
    assert (both.settle_s, both.requests_at_once, both.saves) == (20.0, 1, Saves.AT_ONCE)
    assert both.cannot == {K.SET: "labels stay as they are"}


def test_what_can_be_done_needs_no_reason_why_it_can_not() -> None:
    """NMOS alone can't readdress, and says why; beside a way that can it has nothing to say."""
    assert K.READDRESS in traits_of_several([NODE]).cannot
    assert K.READDRESS not in traits_of_several([NODE, HOST]).cannot
    assert K.RENUMBER not in traits_of_several([HOST, NODE]).cannot


def test_a_way_that_can_do_what_it_has_no_part_in_adds_nothing() -> None:
    """The second of two that know streams is not asked, so what it can do is nothing gained."""
    poor = way("poor", K.DISABLE, K.ENABLE)
    rich = way("rich", *STREAMS, K.SET)
    assert K.RENUMBER not in traits_of_several([poor, rich]).can


def test_saving_is_needed_if_one_that_is_used_needs_it() -> None:
    """A way with no part of its own has nothing to save."""
    three = traits_of_several([NODE, HOST, FORM])
    assert (three.saves, three.save_s) == (Saves.ON_SAVE, 2.0)
    assert {K.SAVE, K.SET} <= three.can
    assert three.effects == {"ptp_domain": Effect.PLANT_WIDE}
    idle = way("idle", K.SAVE, saves=Saves.ON_SAVE, reads=frozenset({Part.UNSAVED}))
    assert saving([NODE, idle]) == ()
    assert K.SAVE not in traits_of_several([NODE, idle]).can


def test_one_way_keeps_its_traits() -> None:
    """Nothing is worked out anew for the common case."""
    assert traits_of_several([NODE]) is NODE.traits


def test_models_are_each_ways_own_and_tried_firmware_is_everybodys() -> None:
    """Models are looked at by each way; firmware by the planning, so it has to know all."""
    one = way("one", *STREAMS, models=("A",), tried_with=("1",))
    two = way("two", K.READDRESS, models=("B",), tried_with=("1", "2"))
    both = traits_of_several([one, two])
    assert both.models == ()
    assert both.tried_with == ("1", "2")


def test_batches_are_each_ways_own() -> None:
    """What one way takes in one request says nothing of what another writes."""
    node = way("node", *STREAMS, batches=(Batch(frozenset({K.DISABLE, K.READDRESS, K.SET}), 8),))
    form = way("form", K.SET, batches=(Batch(frozenset({K.SET, K.RENUMBER}), 4),))
    host = way("host", K.READDRESS, K.SET, batches=(Batch(frozenset({K.READDRESS}), 2),))
    assert set(traits_of_several([node, host]).batches) == {
        Batch(frozenset({K.DISABLE}), 8),
        Batch(frozenset({K.READDRESS}), 2),
    }
    assert traits_of_several([node, form]).batches == (
        Batch(frozenset({K.DISABLE, K.READDRESS}), 8),
    )
