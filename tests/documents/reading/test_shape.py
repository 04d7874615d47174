"""A document against a model: everything that does not fit, in our own words."""

from typing import Annotated

from pydantic import Field

from orchestrator.documents.reading import fields, yaml_reader
from orchestrator.documents.reading.shape import Shape, fit, nearest
from orchestrator.documents.reading.tree import Fault


class Inner(Shape):
    """A part."""

    room: fields.Name
    blocks: list[fields.HostPart] | None = Field(None, min_length=1)


class Outer(Shape):
    """A document."""

    parts: dict[fields.Name, Inner]
    several: Annotated[list[fields.Name], fields.OneOrMore] = Field([])
    anything: object = None


def faults(text: str) -> list[Fault]:
    """What is wrong with a document."""
    tree, _ = yaml_reader.read(text.encode(), "x.yaml")
    _, found = fit(tree, Outer, free=lambda path: path[:1] == ("anything",))
    return list(found)


def one(text: str) -> Fault:
    """The one thing that is wrong."""
    (found,) = faults(text)
    return found


def test_a_right_document_gives_a_value() -> None:
    """One value stands for a list of one; null is let through only where it means something."""
    tree, _ = yaml_reader.read(b"parts: {a: {room: x}}\nseveral: y\n", "x.yaml")
    value, found = fit(tree, Outer)
    assert found == ()
    assert value is not None
    assert (value.parts["a"].room, value.several) == ("x", ["y"])
    assert faults("parts: {}\nanything: {a: null}\n") == []


def test_unknown_keys() -> None:
    """With the nearest known one; the rest of the document is given all the same."""
    fault = one("parts: {a: {room: x, blcoks: [1]}}\n")
    assert (fault.path, fault.at_key) == (("parts", "a", "blcoks"), True)
    assert fault.fix == "write 'blocks'"
    assert one("parts: {}\nzzz: 1\n").fix == "remove it, or use one of: anything, parts, several"
    tree, _ = yaml_reader.read(b"parts: {a: {room: x, zzz: 1}}\n", "x.yaml")
    value, _ = fit(tree, Outer)
    assert value is not None
    assert value.parts["a"].room == "x"


def test_kinds_of_misfit() -> None:
    """Each with its path, and a fix that says what to write."""
    assert one("parts: {a: {}}\n").what == "'room' is missing"
    assert one("parts: {a: }\n").what == "'a' has no value"
    assert one("parts: [a]\n").what == "a list stands where keys and values are expected"
    assert one("parts: {a: {room: x, blocks: 1}}\n").what == "'1' stands where a list is expected"
    assert one("parts: {a: {room: x, blocks: []}}\n").what == "'blocks' names none"
    assert one("parts: {}\nseveral: [a, null]\n").what == "an empty list entry"
    name = one("parts: {a b: {room: x}}\n")
    assert (name.path, name.at_key) == (("parts", "a b"), True)
    assert one("parts: {a: {room: x, blocks: [1, x]}}\n").path == ("parts", "a", "blocks", 1)


def test_several_at_once() -> None:
    """Nothing hides behind another fault."""
    found = faults("parts: {a: {rom: x}, b: {room: }, c: 5}\n")
    assert sorted(fault.what for fault in found) == [
        "'5' stands where keys and values are expected",
        "'rom' is not a key here",
        "'room' has no value",
        "'room' is missing",
    ]


def test_the_nearest_word() -> None:
    """Near enough, or a list of what there is, cut short."""
    assert nearest("adress", ["address", "network"]) == "write 'address'"
    assert nearest("x", []) == "remove it"
    assert nearest("q", map(str, range(100))).endswith(", ...")
