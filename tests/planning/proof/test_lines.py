from orchestrator.facility.step import Step, StepKind
from orchestrator.planning.proof.lines import by_device

K = StepKind


def _step(
    name: str, kind: StepKind, device: str, source: str | None = None, to: str | None = None
) -> Step:
    return Step(
        id=name,
        kind=kind,
        device=device,
        at="127.44.3.31",
        as_found=None,
        wanted=None,
        source=source,
        destination=to,
    )


def test_steps_are_sorted_by_device_kind_and_what_they_are_about() -> None:
    """Each list keeps the order of the line, and no step is lost."""
    line = [
        _step("1", K.DISABLE, "a", "s"),
        _step("2", K.DISABLE, "b", "s"),
        _step("3", K.REPOINT, "a", to="in"),
        _step("4", K.RENUMBER, "a", "s"),
        _step("5", K.READDRESS, "a"),
        _step("6", K.SAVE, "a"),
        _step("7", K.SET, "a"),
    ]
    own = by_device(line)
    assert {name: [s.id for s in each.steps] for name, each in own.items()} == {
        "a": ["1", "3", "4", "5", "6", "7"],
        "b": ["2"],
    }
    assert own["a"].of_source == {"s": [line[0], line[3]]}
    assert own["a"].of_destination == {"in": [line[2]]}
    assert (own["a"].moves, own["a"].saves) == ([line[4]], [line[5]])
    assert (own["a"].sets, own["b"].sets) == ([line[6]], [])
    assert (own["b"].moves, own["b"].saves) == ([], [])


def test_a_save_is_a_save_whatever_else_it_names() -> None:
    """A made-up step that names a source too is judged as both."""
    odd = _step("1", K.SAVE, "a", "s")
    own = by_device([odd])["a"]
    assert own.saves == [odd]
    assert own.of_source == {"s": [odd]}
