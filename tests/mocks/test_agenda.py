from collections.abc import Callable

from mocks.agenda import Agenda


def test_does_what_is_due_in_order() -> None:
    """Acts are done once, the earliest first, each told when it was due; the rest waits."""
    agenda, done = Agenda(), list[float]()
    for due in (3.0, 1.0, 2.0):
        agenda.add(due, done.append)
    assert agenda.next_due() == 1.0
    agenda.run(2.5)
    assert done == [1.0, 2.0]
    agenda.run(9.0)
    assert done == [1.0, 2.0, 3.0]
    assert agenda.next_due() is None


def test_equal_times_keep_their_order() -> None:
    """Of two acts due at one time, the one put down first is done first."""
    agenda, done = Agenda(), list[str]()

    def noting(word: str) -> Callable[[float], None]:
        return lambda _at: done.append(word)

    agenda.add(1.0, noting("first"))
    agenda.add(1.0, noting("second"))
    agenda.run(1.0)
    assert done == ["first", "second"]


def test_an_act_that_looks_again_does_not_jump_the_queue() -> None:
    """An act that runs the agenda itself does not have later acts done before it ends."""
    agenda, done = Agenda(), list[str]()

    def outer(_at: float) -> None:
        agenda.run(9.0)
        done.append("outer")

    agenda.add(1.0, outer)
    agenda.add(2.0, lambda _at: done.append("inner"))
    agenda.run(9.0)
    assert done == ["outer", "inner"]
