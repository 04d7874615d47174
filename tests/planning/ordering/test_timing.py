from dataclasses import replace

import pytest

from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect, Traits
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.ordering.timing import REQUESTS_OF_A_WRITE, estimate, estimate_all
from tests.planning.scenes import Box, address, scene

K = StepKind


def _draft(device: str, seconds: float = 1.0, kind: StepKind = K.SAVE, phase: int = 0) -> Draft:
    return Draft(
        kind=kind,
        device=device,
        room="north",
        at=address(31),
        as_found=None,
        wanted=None,
        seconds=seconds,
        phase=phase,
    )


def _graph(*drafts: Draft) -> Graph:
    graph = Graph()
    for draft in drafts:
        graph.add(draft)
    return graph


def test_a_step_takes_its_requests_at_the_measured_pace() -> None:
    """Five requests a write, a readdress too, two and the settling a confirm, a save its time."""
    where = scene({"a": Box(31)}, response_s=0.2)
    traits = replace(where.traits["a"], settle_s=8.0, save_s=3.0)
    where = replace(where, traits={"a": traits})
    seconds = {kind: estimate(where, _draft("a", kind=kind)) for kind in StepKind}
    assert seconds[K.RENUMBER] == pytest.approx(0.2 * REQUESTS_OF_A_WRITE)
    assert seconds[K.READDRESS] == pytest.approx(1.0)
    assert seconds[K.CONFIRM] == pytest.approx(0.4 + 8.0)
    assert seconds[K.SAVE] == pytest.approx(1.0 + 3.0)
    assert seconds[K.BY_HAND] == 0.0


def test_a_device_that_was_not_found_has_no_pace() -> None:
    """Nothing is known of it, so only its traits count."""
    where = scene({"a": Box(31, absent=True)})
    where = replace(where, traits={"a": Traits(can=frozenset(StepKind), save_s=2.0)})
    assert estimate(where, _draft("a", kind=K.SAVE)) == 2.0


def test_traits_say_how_many_requests_a_step_takes() -> None:
    """A device that has more to read takes longer."""
    where = scene({"a": Box(31)}, response_s=0.2)
    traits = replace(where.traits["a"], requests={K.SAVE: 13})
    where = replace(where, traits={"a": traits})
    assert estimate(where, _draft("a", kind=K.SAVE)) == pytest.approx(2.6)
    assert estimate(where, _draft("a", kind=K.ENABLE)) == pytest.approx(1.0)


def test_what_orders_is_rounded_and_what_is_told_is_not() -> None:
    """52 ms and 98 ms order alike; they are told as they were measured."""
    for pace in (0.052, 0.098):
        where = scene({"a": Box(31)}, response_s=pace)
        assert estimate(where, _draft("a", kind=K.ENABLE)) == pytest.approx(0.5)
        told = estimate(where, _draft("a", kind=K.ENABLE), steady=False)
        assert told == pytest.approx(5 * pace)


def test_each_draft_is_told_what_it_takes_alone() -> None:
    """All kinds, labels and settings with and without effects, of devices unlike one another."""
    where = scene({name: Box(31 + place) for place, name in enumerate("abc")}, response_s=0.2)
    quick, slow = where.traits["a"], replace(where.traits["a"], save_s=3.0, settle_s=9.0)
    slow = replace(slow, effects={"rate": Effect.REBOOTS}, requests={K.ENABLE: 7})
    where = replace(where, traits={"a": quick, "b": slow, "c": slow})
    drafts = [_draft(name, kind=kind) for name in "abc" for kind in StepKind]
    for name in "abc":
        drafts += [replace(_draft(name, kind=K.SET), setting=setting) for setting in ("rate", "x")]
        drafts.append(replace(_draft(name, kind=K.SET), source="s", setting="rate"))
    for steady in (True, False):
        estimate_all(where, drafts, steady=steady)
        alone = [round(estimate(where, draft, steady=steady), 3) for draft in drafts]
        assert [draft.seconds for draft in drafts] == alone
