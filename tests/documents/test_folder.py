"""A facility's folder: found and read."""

from collections.abc import Callable
from pathlib import Path

import pytest

from orchestrator.documents.folder import find_folder, load, load_checked
from orchestrator.errors import CallError, DocumentError

Write = Callable[..., Path]
EXAMPLE = Path(__file__).parents[2] / "playbooks"


def test_the_nearest_folder_with_a_plan(facility: Write, tmp_path: Path) -> None:
    """The folder itself or one above it; the nearest wins."""
    folder = facility()
    inner = folder / "playbooks"
    assert find_folder(folder) == find_folder(inner) == folder
    (inner / "plan.yaml").write_text("", encoding="utf-8")
    assert find_folder(inner) == inner
    assert tmp_path == folder


def test_no_folder_with_a_plan(tmp_path: Path) -> None:
    """Told with the ways out."""
    with pytest.raises(CallError) as caught:
        find_folder(tmp_path)
    assert "no plan.yaml" in caught.value.what
    assert "--facility" in caught.value.fix


def test_everything_is_read(facility: Write) -> None:
    """Plan, playbooks in the order of their names, descriptions by theirs."""
    folder = facility()
    other = "playbook: other\ndevices: {}\n"
    (folder / "playbooks" / "a-first.yaml").write_text(other, encoding="utf-8")
    (folder / "playbooks" / ".hidden.yaml").write_text("[", encoding="utf-8")
    (folder / "playbooks" / "notes.txt").write_text("[", encoding="utf-8")
    documents = load(folder)
    assert documents.folder == folder
    assert documents.plan.facility == "Tern Point Radio"
    assert [item.file for item in documents.playbooks] == [
        "playbooks/a-first.yaml",
        "playbooks/north.yaml",
    ]
    assert set(documents.descriptions) == {"corvid-engine", "tamarisk-node"}
    assert load_checked(folder).plan == documents.plan


def test_playbooks_may_be_named(facility: Write, tmp_path_factory: pytest.TempPathFactory) -> None:
    """Only those are read, from anywhere; one outside the folder keeps its whole name."""
    folder = facility()
    outside = tmp_path_factory.mktemp("outside") / "b.yaml"
    outside.write_text("playbook: b\ndevices: {}\n", encoding="utf-8")
    assert [item.file for item in load(folder, [outside]).playbooks] == [str(outside)]
    assert load(folder, []).playbooks == ()
    with pytest.raises(CallError, match="no playbook"):
        load(folder, [folder / "playbooks" / "none.yaml"])


def test_a_facility_without_playbooks_or_descriptions(
    facility: Write, texts: dict[str, str]
) -> None:
    """The plan is enough, where no device is spoken to."""
    plan = texts["plan.yaml"].replace("    speaks: corvid-engine\n", "")
    plan = plan.replace("    speaks: tamarisk-node\n", "")
    folder = facility(plan=plan)
    for path in [*folder.glob("playbooks/*"), *folder.glob("devices/*")]:
        path.unlink()
    for name in ("playbooks", "devices"):
        (folder / name).rmdir()
    assert load_checked(folder).descriptions == {}


def test_two_descriptions_of_one_name(facility: Write, texts: dict[str, str]) -> None:
    """Nobody could tell which of the two is spoken by."""
    text = texts["devices/corvid-engine.yaml"]
    with pytest.raises(DocumentError) as caught:
        load(facility(tamarisk_node=text))
    (problem,) = caught.value.problems
    assert (problem.file, problem.line) == ("devices/tamarisk-node.yaml", 1)
    assert "describes 'corvid-engine' too" in problem.what


def test_a_plug_ins_name_may_be_spoken(facility: Write, texts: dict[str, str]) -> None:
    """Whoever knows the plug-ins says so."""
    folder = facility(plan=texts["plan.yaml"].replace("speaks: tamarisk-node", "speaks: mine"))
    with pytest.raises(DocumentError):
        load_checked(folder)
    assert load_checked(folder, others={"mine"}).plan.devices["transmitter-feed"].speaks == (
        "mine",
    )


def test_documents_that_do_not_agree_can_still_be_read(
    facility: Write, texts: dict[str, str]
) -> None:
    """Without a check; checked, it is told where they disagree."""
    plan = texts["plan.yaml"].replace("address: 127.44.3.61", "address: 127.44.3.71")
    folder = facility(plan=plan)
    assert load(folder).plan.devices
    with pytest.raises(DocumentError) as caught:
        load_checked(folder)
    (problem,) = caught.value.problems
    assert (problem.file, problem.excerpt) == ("plan.yaml", "    address: 127.44.3.71")


def test_the_example_facility_is_right() -> None:
    """What people start from has nothing wrong in it."""
    documents = load_checked(EXAMPLE)
    assert documents.plan.devices
    assert documents.playbooks
    assert documents.descriptions


@pytest.mark.parametrize(
    ("place", "text", "what", "fix"),
    [
        ("playbooks/p.yaml", "facility: X\nnetworks: {}\n", "a plan, not a playbook", "plan.yaml"),
        ("devices/d.yaml", "playbook: X\ndevices: {}\n", "a playbook, not a device", "playbooks"),
        ("playbooks/d.yaml", "device: x\nreads: {}\n", "a device description, not a", "devices"),
    ],
)
def test_a_document_in_the_wrong_place_is_one_sentence(
    facility: Write, place: str, text: str, what: str, fix: str
) -> None:
    """Instead of a complaint for each of its keys."""
    folder = facility()
    (folder / place).write_text(text, encoding="utf-8")
    with pytest.raises(DocumentError) as caught:
        load(folder)
    (problem,) = [each for each in caught.value.problems if each.file == place]
    assert what in problem.what
    assert fix in problem.fix
    assert problem.line == 1
