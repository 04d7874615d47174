import copy
from dataclasses import FrozenInstanceError, dataclass, field, replace

import pytest

from orchestrator.facility.quick import changed, maker, quick


@quick
@dataclass(frozen=True, slots=True)
class Pair:
    """Two values in order, one with a default that is made anew."""

    one: int
    other: list[int] = field(default_factory=list)


@quick
@dataclass(frozen=True, slots=True, kw_only=True)
class Named:
    """Values by name only."""

    first: str
    last: str = "none"


def test_values_are_as_given_or_by_default() -> None:
    """In order and by name; what is made by default is each value's own."""
    assert (Pair(1, [2]).other, Pair(1).other) == ([2], [])
    assert Pair(1).other is not Pair(1).other
    assert (Named(first="a").last, Named(last="b", first="a").last) == ("none", "b")


def test_what_is_missing_or_too_much_is_refused() -> None:
    """Just as a dataclass does."""
    for wrong in (lambda: Pair(other=[]), lambda: Pair(1, [], 3), lambda: Named(last="b")):  # type: ignore[call-arg]
        with pytest.raises(TypeError):
            wrong()
    with pytest.raises(TypeError):
        Named("a")  # type: ignore[call-arg]


def test_a_value_stays_frozen() -> None:
    """Its class is its own, and nothing about it can be set."""
    value = Named(first="a")
    assert type(value) is Named
    with pytest.raises(FrozenInstanceError):
        value.first = "b"  # type: ignore[misc]


def test_values_are_equal_and_copied_as_before() -> None:
    """Equality, hash, text, replace, and copy are the dataclass's."""
    value = Named(first="a", last="b")
    assert replace(Named(first="a"), last="b") == value == copy.deepcopy(value)
    assert hash(value) == hash(Named(first="a", last="b"))
    assert repr(value) == "Named(first='a', last='b')"


def test_a_value_is_changed_as_by_replace() -> None:
    """The old one stays, the new one is frozen, and a field that is none is refused."""
    value = Pair(1, [2])
    assert changed(value, {"one": 3}) == replace(value, one=3) == Pair(3, [2])
    assert value == Pair(1, [2])
    with pytest.raises(FrozenInstanceError):
        changed(value, {}).one = 4  # type: ignore[misc]
    with pytest.raises(AttributeError):
        changed(value, {"none": 4})


def test_only_plain_frozen_classes_can_be() -> None:
    """One without slots of its own, or that does something more when it is made, is refused."""

    class After:
        """A value that works something out."""

        __slots__ = ()

        def __post_init__(self) -> None:
            """Do something."""

    with pytest.raises(TypeError, match="After"):
        quick(After)
    with pytest.raises(TypeError, match="object"):
        quick(object)


def test_a_value_is_made_of_all_its_fields_in_order() -> None:
    """Whether they are given by name otherwise or not; it is frozen, and none may be left out."""
    assert maker(Named)("a", "b") == Named(first="a", last="b")
    assert maker(Pair)(1, [2]) == Pair(1, [2])
    assert type(maker(Pair)(1, [2])) is Pair
    with pytest.raises(FrozenInstanceError):
        maker(Named)("a", "b").first = "c"  # type: ignore[misc]
    with pytest.raises(TypeError):
        maker(Pair)(1)
