"""Broken documents: each has one fault, and gives one message that says where and what to do."""

import json
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import pytest

from orchestrator.documents.folder import load, load_checked
from orchestrator.errors import DocumentError, Problem, problem_words

Write = Callable[..., Path]


@dataclass(frozen=True)
class Broken:
    """A fault: in which file ``old`` becomes ``new``, where it is told, and with what words.

    ``at`` is the text in the file, after the change, that line and column have to point to.
    """

    name: str
    file: str
    old: str
    new: str
    at: str
    what: str
    fix: str


TABLE = [
    Broken(**case)
    for case in json.loads(
        (Path(__file__).parent / "broken_documents.json").read_text(encoding="utf-8")
    )
]


def place(text: str, part: str) -> tuple[int, int]:
    """Line and column, from 1, of the one ``part`` in ``text``."""
    assert text.count(part) == 1, (part, text.count(part))
    before = text[: text.index(part)]
    return before.count("\n") + 1, len(before) - (before.rfind("\n") + 1) + 1


def problems(folder: Path) -> tuple[Problem, ...]:
    """All that ``load_checked`` has against a facility."""
    with pytest.raises(DocumentError) as caught:
        load_checked(folder)
    return caught.value.problems


def test_the_table_is_long_enough() -> None:
    """Thirty kinds of fault at the least, and no two of one name."""
    assert len({case.name for case in TABLE}) == len(TABLE) >= 30


@pytest.mark.parametrize("case", TABLE, ids=lambda case: case.name)
def test_one_fault_gives_one_message_at_its_place(
    facility: Write, texts: dict[str, str], case: Broken
) -> None:
    """File, line, column, the line itself, what is wrong, and the fix; nothing else is told."""
    (name,) = [name for name in texts if Path(name).stem.replace("-", "_") == case.file]
    assert texts[name].count(case.old) == 1, case.old
    broken = texts[name].replace(case.old, case.new)
    found = problems(facility(**{case.file: broken}))
    assert len(found) == 1, "\n".join(map(problem_words, found))
    (problem,) = found
    assert problem.file == name
    assert (problem.line, problem.column) == place(broken, case.at), problem_words(problem)
    assert case.what in problem.what
    assert case.fix in problem.fix
    if case.name != "control":
        assert problem.excerpt == broken.split("\n")[problem.line - 1]


@pytest.mark.parametrize(
    ("data", "what", "line"),
    [
        (b"", "holds nothing", 0),
        (b"# only a comment\n", "holds nothing", 0),
        (b"- a\n", "not a mapping", 1),
        (b"facility: \xff\n", "byte 0xff is not UTF-8", 1),
        ("facility: Köln\n".encode("utf-16"), "not UTF-8", 1),
        (b"".join(b" " * n + b"a:\n" for n in range(80)), "more than 32 levels", 33),
        (b"a: " + b"[" * 100_000, "more than 32 levels", 1),
        (b"a: 1" + b"0" * 5000, "too long", 1),
        (b"%YAML 1.1\n---\na: 1\n", "directive", 1),
        (b"a: *b\n", "*b is an alias", 1),
    ],
)
def test_files_that_are_no_plan(facility: Write, data: bytes, what: str, line: int) -> None:
    """Whatever a file holds, what comes of it is a located problem."""
    found = [problem for problem in problems(facility(plan=data)) if what in problem.what]
    assert len(found) == 1
    assert (found[0].file, found[0].line) == ("plan.yaml", line)


def test_everything_is_told_at_once(facility: Write, texts: dict[str, str]) -> None:
    """Text, shape and agreement, in four files, in one go; an unknown key hides nothing else."""
    plan = (
        texts["plan.yaml"]
        .replace("rack\n    speaks", "rak\n    speaks")
        .replace("blocks:", "blokcs:")
    )
    found = problems(
        facility(
            plan=plan,
            north=texts["playbooks/north.yaml"].replace("unit: fresh", "unit: new"),
            corvid_engine="a: [",
            tamarisk_node=texts["devices/tamarisk-node.yaml"].replace(
                "saves: on_save", "saves: no"
            ),
        )
    )
    told = [(problem.file, problem.what) for problem in found]
    assert [file for file, _ in told] == [
        "devices/corvid-engine.yaml",
        "devices/tamarisk-node.yaml",
        "plan.yaml",
        "plan.yaml",
        "playbooks/north.yaml",
    ]
    assert "'blokcs' is not a key here" in told[2][1]
    assert "there is no room 'rak'" in told[3][1]


def test_a_secret_in_a_document_is_not_repeated(facility: Write, texts: dict[str, str]) -> None:
    """A line that could hold a secret is not shown; the place is told all the same."""
    plan = texts["plan.yaml"].replace("serial: TM-118", "password: hunter2")
    (problem,) = problems(facility(plan=plan))
    assert "hunter2" not in problem_words(problem)
    assert problem.line > 0


def test_a_document_of_another_ending_is_told(facility: Write) -> None:
    """A playbook that would silently be passed over is told."""
    folder = facility()
    (folder / "playbooks" / "south.yml").write_text("playbook: x\n", encoding="utf-8")
    (problem,) = problems(folder)
    assert problem.file == "playbooks/south.yml"
    assert "south.yaml" in problem.fix


def test_a_missing_plan_is_a_wrong_document(tmp_path: Path) -> None:
    """A folder without a plan is told as such."""
    with pytest.raises(DocumentError) as caught:
        load(tmp_path)
    assert "can't be read" in caught.value.problems[0].what
