from orchestrator.planning.scheduling.packing import pack
from orchestrator.planning.scheduling.parts import parts_of
from orchestrator.planning.scheduling.solving import Solver
from orchestrator.planning.scheduling.tasks import Tasks
from tests.planning.scheduling.problems import problem

PAIR = 2


def _pairs(count: int, width: int, phase: int = 0) -> Tasks:
    """So many parts of two devices, both busy for 10."""
    lines: list[tuple[str, int, tuple[int, ...]]] = []
    for number in range(count):
        lines.append((f"a{number}", 5, ()))
        lines.append((f"b{number}", 10, (len(lines) - 1,)))
        lines.append((f"a{number}", 10, (len(lines) - 2,)))
    return problem(*lines, width=width, phase=(phase,) * len(lines))


def _packed(tasks: Tasks) -> tuple[list[int], dict[int, tuple[int, ...]]]:
    solver = Solver(0)
    solved = [solver.solve(part, 0) for part in parts_of(tasks)]
    behind = pack(tasks, solved)
    return [one.at for one in solved], behind


def test_where_there_is_room_nothing_is_put_off() -> None:
    """Three parts of two devices, and six may be spoken to."""
    assert _packed(_pairs(3, 6)) == ([0, 0, 0], {})


def test_parts_come_one_after_another() -> None:
    """Two may be spoken to: each part begins where the one before leaves room, behind its end."""
    at, behind = _packed(_pairs(3, 2))
    assert at == [0, 15, 30]
    assert set(behind) == {3, 6}
    assert set(behind[3]) <= {1, 2}


def test_a_part_begins_beside_another() -> None:
    """Three may be spoken to: a part of one device fits beside one of two, and a second after it.

    A third part of two devices has to wait for the first.
    """
    lines: list[tuple[str, int, tuple[int, ...]]] = [("a", 1, ()), ("b", 20, (0,)), ("a", 20, (0,))]
    lines += [("x", 6, ()), ("y", 5, ()), ("p", 1, ()), ("q", 8, (5,)), ("p", 8, (5,))]
    assert _packed(problem(*lines, width=3))[0] == [0, 0, 6, 21]


def test_parts_too_wide_come_by_themselves() -> None:
    """One part of four devices where two may be spoken to: it is not put off for ever."""
    lines: list[tuple[str, int, tuple[int, ...]]] = [("a", 1, ())]
    lines += [(name, 5, (0,)) for name in "bcd"]
    lines += [("x", 3, ()), ("y", 3, (4,))]
    at, _ = _packed(problem(*lines, width=PAIR))
    assert min(at) == 0
    assert max(at) < 20
