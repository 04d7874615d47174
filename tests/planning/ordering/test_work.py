from orchestrator.facility.step import StepKind
from orchestrator.planning.aims.listeners import listeners
from orchestrator.planning.aims.targets import targets
from orchestrator.planning.ordering.moves import moves
from orchestrator.planning.ordering.work import Work
from tests.planning import hand
from tests.planning.scenes import address, scene


def _work() -> Work:
    boxes = hand.readdress()
    boxes["a"].wants["s"] = (318, None)
    where = scene(boxes)
    heard = listeners(where, targets(where).states)
    return Work(where, heard.states, moves(where, heard.states), heard)


def test_moves_are_indexed_by_device() -> None:
    """Device a is renumbered and readdressed, b readdressed."""
    work = _work()
    assert {name: len(found) for name, found in work.moves_of.items()} == {"a": 2, "b": 1}


def test_a_step_is_added_where_its_device_was_found() -> None:
    """Room and address come from the scene; the index stands under its device."""
    work = _work()
    index = work.add("b", StepKind.SAVE)
    draft = work.graph.drafts[index]
    assert (draft.room, draft.at, draft.after) == ("north", address(32), {})
    assert work.of_device == {"b": [index]}
    assert work.traits("b") is work.scene.traits["b"]
