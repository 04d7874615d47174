"""Reading YAML: safely, with the same answer from either of the library's parsers."""

from pathlib import Path

import pytest
import yaml

from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.tree import Tree
from orchestrator.errors import DocumentError

EXAMPLE = sorted((Path(__file__).parents[3] / "playbooks").rglob("*.yaml"))


def refused(text: str) -> list[tuple[int, int, str]]:
    """Line, column and words of what is wrong with a text."""
    with pytest.raises(DocumentError) as caught:
        yaml_reader.read(text.encode(), "x.yaml")
    return [(problem.line, problem.column, problem.what) for problem in caught.value.problems]


def soft(text: str) -> list[tuple[int, int, str]]:
    """The same for what lets the rest be read."""
    _, problems = yaml_reader.read(text.encode(), "x.yaml")
    return [(problem.line, problem.column, problem.what) for problem in problems]


def test_no_tag_is_ever_obeyed(tmp_path: Path) -> None:
    """A tag that would run a command in an unsafe reader is text with a problem."""
    mark = tmp_path / "ran"
    found = soft(f"a: !!python/object/apply:os.system ['touch {mark}']\n")
    assert found[0][:2] == (1, 4)
    assert "is a tag" in found[0][2]
    assert not mark.exists()


def test_aliases_multiply_nothing() -> None:
    """The bomb of nested aliases is refused at once, each alias in its place."""
    lines = ["a: &a [x, x, x, x, x, x, x, x, x]"]
    lines += [
        f"{new}: &{new} [{', '.join([f'*{old}'] * 9)}]"
        for old, new in zip("abcdefgh", "bcdefghi", strict=True)
    ]
    found = refused("\n".join(lines))
    assert len(found) == 9 + 8 * 9
    assert (2, 8, "*a is an alias") in found


def test_several_faults_are_told_together() -> None:
    """Keys twice, anchors and tags do not hide one another, and the rest is read."""
    text = "a: 1\na: 2\nb: &x 3\nc: !y 4\n"
    assert [line for line, _, _ in soft(text)] == [2, 3, 4]
    tree, _ = yaml_reader.read(text.encode(), "x.yaml")
    assert tree.plain() == {"a": 1, "b": 3, "c": 4}


def test_keys_are_text_as_written() -> None:
    """A key is a name: true, 1 and 01 are three, and no number or flag."""
    tree, _ = yaml_reader.read(b"true: a\n1: b\n01: c\n'x y': d\n", "x.yaml")
    assert list(tree.plain()) == ["true", "1", "01", "x y"]


def test_quotes_make_text() -> None:
    """What stands in quotes or in a block is text, whatever it looks like."""
    tree, _ = yaml_reader.read(b"a: '1'\nb: \"true\"\nc: |\n  5\n", "x.yaml")
    assert tree.plain() == {"a": "1", "b": "true", "c": "5\n"}


def test_a_byte_order_mark_is_let_through() -> None:
    """YAML 1.2.2, section 5.2: it may stand at the beginning."""
    tree, _ = yaml_reader.read("\ufeffa: 1\n".encode(), "x.yaml")
    assert tree.plain() == {"a": 1}
    assert tree.place(("a",)) == (1, 4)


def test_a_file_too_large_is_not_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """The limit is told with the size."""
    monkeypatch.setattr(yaml_reader, "LARGEST", 10)
    assert "11 bytes" in refused("a: 12345678")[0][2]


def read_by(parser: object, data: bytes, monkeypatch: pytest.MonkeyPatch) -> Tree:
    """A document read by one of the library's two parsers."""
    monkeypatch.setattr(yaml_reader, "_PARSER", parser)
    return yaml_reader.read(data, "x.yaml")[0]


@pytest.mark.parametrize("file", EXAMPLE, ids=lambda file: file.stem)
def test_both_parsers_give_the_same_tree(file: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the library was built without its C parser, nothing changes but the time."""
    if not hasattr(yaml, "CSafeLoader"):
        pytest.skip("the library has no C parser here")
    data = file.read_bytes()
    trees = [read_by(kind, data, monkeypatch) for kind in (yaml.CSafeLoader, yaml.SafeLoader)]
    assert trees[0].root == trees[1].root


@pytest.mark.parametrize(
    "text", ["a: [1", "a: 'b", "a: b: c", "a:\n\t- b", "a: @b", "a: *b\n? [c]\n: d"]
)
def test_the_other_parser_s_words_are_ours_too(text: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """Faults are placed and worded without the C parser as well."""
    monkeypatch.setattr(yaml_reader, "_PARSER", yaml.SafeLoader)
    for line, column, what in refused(text):
        assert line > 0
        assert column > 0
        assert "found character" not in what
