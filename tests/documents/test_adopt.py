"""What a run made true gets into the plan, and nothing else in the file changes."""

from collections.abc import Callable, Sequence
from difflib import ndiff
from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from orchestrator.documents.adopt import adopt
from orchestrator.documents.plans.plan_reader import read_plan
from orchestrator.errors import CallError, DocumentError
from orchestrator.facility.edit import (
    Edit,
    SetAddress,
    SetBlocks,
    SetDestination,
    SetNumbers,
    SetSerial,
    SetSource,
    Unassigned,
    edited,
)
from orchestrator.facility.plan import ListensTo, Ref

Write = Callable[..., Path]
N = "north-engine"


def changed(before: str, after: str) -> list[str]:
    """The lines that a rewriting took out (``- ``) and put in (``+ ``)."""
    lines = ndiff(before.splitlines(), after.splitlines())
    return [line[0] + line[2:].strip() for line in lines if line[0] in "-+"]


def adopted(folder: Path, edits: Sequence[Edit]) -> tuple[list[str], str]:
    """Adopt ``edits``; the lines changed and what was said."""
    file = folder / "plan.yaml"
    before = file.read_text(encoding="utf-8")
    meant = edited(read_plan(before.encode(), "plan.yaml"), edits)
    said = adopt(file, edits)
    after = file.read_text(encoding="utf-8")
    assert read_plan(after.encode(), "plan.yaml") == meant
    return changed(before, after), said


def test_an_address_changes_one_line(facility: Write) -> None:
    """The device's address is replaced where it stands; the summary says what it was."""
    lines, said = adopted(facility(), [SetAddress(N, "main", "127.44.3.33")])
    assert lines == ["-address: 127.44.3.31", "+address: 127.44.3.33"]
    assert said == "north-engine: address 127.44.3.33, was 127.44.3.31"


def test_an_address_among_interfaces_changes_there(facility: Write) -> None:
    """A device that names its interfaces keeps doing so."""
    lines, _ = adopted(facility(), [SetAddress("south-engine", "main", "127.44.3.42")])
    assert lines == [
        "-main: {network: media, address: 127.44.3.41}",
        "+main: {network: media, address: 127.44.3.42}",
    ]


def test_blocks_numbers_and_serial(facility: Write) -> None:
    """What is given is replaced, what is new is added to the device."""
    edits: list[Edit] = [
        SetBlocks(N, (33, 34)),
        SetSerial(N, "CV-4711"),
        SetNumbers("alert-inserter", (613,)),
        SetSerial("alert-inserter", "0815"),
    ]
    lines, _ = adopted(facility(), edits)
    assert "+blocks: [33, 34]" in lines
    assert "+serial: CV-4711" in lines
    assert "+numbers: [613]" in lines
    assert "+serial: '0815'" in lines
    assert len(lines) == 7


def test_a_source_keeps_its_comment_and_quotes(facility: Write) -> None:
    """The comment at the end of a changed line stays."""
    lines, _ = adopted(facility(), [SetSource(device=N, source="program-1", number=321)])
    assert lines == [
        "-program-1: {number: 311, label: N-PGM-1, enabled: true}  # the main one",
        "+program-1: {number: 321, label: N-PGM-1, enabled: true}  # the main one",
    ]


def test_all_of_a_range_moved_together_stays_one_entry(facility: Write) -> None:
    """Four neighbours with four new neighbouring numbers are still one line."""
    edits = [
        SetSource(device=N, source=f"mix-minus-{index}", number=320 + index)
        for index in range(1, 5)
    ]
    lines, _ = adopted(facility(), edits)
    assert [line for line in lines if line[0] == "+"] == ["+mix-minus-{1..4}: {number: 321-324}"]


def test_a_range_is_split_only_where_it_has_to_be(facility: Write) -> None:
    """One member that differs stands alone; its neighbours stay together on either side."""
    lines, _ = adopted(facility(), [SetSource(device=N, source="mix-minus-2", number=329)])
    assert "-mix-minus-{1..4}: {number: 312-315}" in lines
    assert [line for line in lines if line[0] == "+"] == [
        "+mix-minus-1: {number: 312}",
        "+mix-minus-2: {number: 329}",
        "+mix-minus-{3..4}: {number: 314-315}",
    ]


def test_a_value_that_the_type_gives_is_written_for_the_device_alone(facility: Write) -> None:
    """Types are other devices' too: the device's own entry says what differs."""
    folder = facility()
    before = (folder / "plan.yaml").read_text(encoding="utf-8")
    edits = [SetSource(device="south-engine", source="mix-minus-1", number=412, enabled=True)]
    lines, said = adopted(folder, edits)
    assert lines == ["+mix-minus-1: {number: 412, enabled: true}"]
    assert "types:" in before
    assert said.splitlines()[0] == "south-engine/mix-minus-1: number 412"


def test_a_source_without_a_number_loses_the_line(facility: Write) -> None:
    """Unassigned is no number: the plan does not say one any more."""
    edits = [SetSource(device="south-engine", source="program-1", number=Unassigned())]
    lines, _ = adopted(facility(), edits)
    assert lines[1] == "+program-1: {also_heard_by: [the lobby speaker]}"


def test_what_a_destination_listens_to(facility: Write) -> None:
    """A number, a group, a source or nothing, each as a person would write it."""
    edits: list[Edit] = [
        SetDestination("transmitter-feed", "output-1", ListensTo(number=321)),
        SetDestination("transmitter-feed", "output-2", ListensTo(group="239.194.1.66:5004")),
        SetDestination(N, "codec-1", ListensTo()),
        SetDestination(N, "codec-2", ListensTo(source=Ref("south-engine", "program-1"))),
    ]
    lines, _ = adopted(facility(), edits)
    assert "+output-1: {listens_to: 321}" in lines
    assert '+output-2: {listens_to: "239.194.1.66:5004"}' in lines
    assert "+codec-1: {listens_to: nothing}" in lines
    assert "+codec-2: {listens_to: south-engine/program-1}" in lines


def test_lines_that_are_not_meant_stay_byte_for_byte(
    facility: Write, texts: dict[str, str]
) -> None:
    """Odd spacing, blank lines, trailing blanks and Windows line ends survive beside an edit."""
    odd = texts["plan.yaml"].replace(
        "  rack: {site: point, network: media}", "  rack:   { site: point,network: media }   # odd"
    )
    odd = odd.replace("devices:\n", "\n\n# below: the devices\ndevices:\n").replace("\n", "\r\n")
    folder = facility(plan=odd)
    adopt(folder / "plan.yaml", [SetAddress(N, "main", "127.44.3.33")])
    after = (folder / "plan.yaml").read_bytes().decode()
    assert after == odd.replace("address: 127.44.3.31", "address: 127.44.3.33")


def test_nothing_to_write_leaves_the_file_alone(facility: Write) -> None:
    """An edit that the plan says already is no edit."""
    folder = facility()
    stamp = (folder / "plan.yaml").stat().st_mtime_ns
    said = adopt(folder / "plan.yaml", [SetSource(device=N, source="program-1", number=311)])
    assert said.startswith("nothing to write")
    assert (folder / "plan.yaml").stat().st_mtime_ns == stamp


def test_what_would_not_come_out_as_meant_is_not_written(facility: Write) -> None:
    """A label that reads as a range can't be said in the plan: it is told, the file stays."""
    folder = facility()
    before = (folder / "plan.yaml").read_bytes()
    with pytest.raises(DocumentError) as caught:
        adopt(folder / "plan.yaml", [SetSource(device=N, source="program-1", label="A{1..2}")])
    assert "as it is laid out" in " ".join(p.what for p in caught.value.problems)
    assert (folder / "plan.yaml").read_bytes() == before


def test_a_device_that_the_plan_does_not_have(facility: Write) -> None:
    """Adopting is no way to add devices."""
    with pytest.raises(CallError, match="no device 'ghost'"):
        adopt(facility() / "plan.yaml", [SetSerial("ghost", "1")])


def test_nothing_is_left_beside_the_plan(facility: Write) -> None:
    """The file written beside the plan is gone after it took its place, with its rights."""
    folder = facility()
    (folder / "plan.yaml").chmod(0o640)
    adopt(folder / "plan.yaml", [SetSerial(N, "CV-2")])
    assert sorted(item.name for item in folder.iterdir()) == ["devices", "plan.yaml", "playbooks"]
    assert (folder / "plan.yaml").stat().st_mode & 0o777 == 0o640


@settings(
    max_examples=25, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
@given(
    numbers=st.dictionaries(st.integers(1, 4), st.integers(1, 2900), max_size=4),
    enabled=st.dictionaries(st.integers(1, 4), st.booleans(), max_size=4),
    labels=st.dictionaries(st.integers(1, 4), st.sampled_from(["A", "on", "1", "MM 7", "x: y"])),
)
def test_any_edits_of_a_range_come_out_as_meant(
    facility: Write, numbers: dict[int, int], enabled: dict[int, bool], labels: dict[int, str]
) -> None:
    """However a range is cut up, the plan read back is the old plan so edited."""
    edits = [
        SetSource(
            device=N,
            source=f"mix-minus-{index}",
            number=numbers.get(index),
            enabled=enabled.get(index),
            label=labels.get(index),
        )
        for index in range(1, 5)
    ]
    adopted(facility(), edits)
