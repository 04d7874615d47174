"""The contributor's guide says what the code says."""

import json
import re
from pathlib import Path

from orchestrator.documents.devices.build import build_description
from orchestrator.documents.devices.model import DescriptionModel
from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.schema import json_schema
from orchestrator.running import gate
from orchestrator.running.steps.life import table_text
from tests.cli.test_odd_devices import CASES

GUIDE = (Path(__file__).parent.parent / "DEVELOPERS.md").read_text(encoding="utf-8")


def test_the_life_of_a_step_is_printed_as_it_is() -> None:
    """The table in the guide is the table in the code."""
    printed = GUIDE.split("<!-- life:begin -->")[1].split("<!-- life:end -->")[0]
    assert printed.strip() == table_text().strip()


def test_a_go_no_go_point_is_printed_as_it_is() -> None:
    """So is its table."""
    printed = GUIDE.split("<!-- points:begin -->")[1].split("<!-- points:end -->")[0]
    assert printed.strip() == gate.table_text().strip()


def test_each_thing_that_a_device_can_do_has_its_row_and_its_case() -> None:
    """The table in the guide has the rows that are tested over sockets, and no other."""
    printed = GUIDE.split("<!-- odd:begin -->")[1].split("<!-- odd:end -->")[0]
    rows = [line.split("|")[1].strip() for line in printed.strip().splitlines()[2:]]
    assert rows == list(CASES)
    assert all(line.count("|") == 4 for line in printed.strip().splitlines())


def test_every_folder_that_the_map_names_is_there() -> None:
    """The map of the house names only rooms that exist."""
    top = Path(__file__).parent.parent
    rows = [line for line in GUIDE.splitlines() if line.startswith("| `")]
    named = [row.split("`")[1] for row in rows if "/" in row.split("`")[1]]
    assert named
    assert [name for name in named if not (top / name).exists()] == []


def test_the_description_in_the_guide_is_one() -> None:
    """What the guide shows step by step is, put together, a description without a fault."""
    chapter = GUIDE.split("## Describing a device")[1].split("\n## ")[0]
    first, signing, sources, batches = re.findall(r"```yaml\n(.*?)```", chapter, flags=re.DOTALL)
    tree, problems = yaml_reader.read(f"{first}{sources}{signing}{batches}".encode(), "guide.yaml")
    description, faults = build_description(DescriptionModel.model_validate(tree.plain()))
    assert (problems, faults) == ((), ())
    assert set(description.reads) == {"identity", "sources"}
    assert description.session is not None
    assert [batch.most for batch in description.traits.batches] == [8]


def test_the_guide_names_only_what_a_description_knows() -> None:
    """Every key in the code of that chapter is one of the format, or an example's own."""
    chapter = GUIDE.split("## Describing a device")[1].split("\n## ")[0]
    schema = json.dumps(json_schema("device"))
    shown = re.findall(r"```yaml\n(.*?)```", chapter, flags=re.DOTALL)
    shown += re.findall(r"`([^`]+)`", re.sub(r"```.*?```", "", chapter, flags=re.DOTALL))
    code = re.sub(r"#.*", "", "\n".join(shown))
    named = set(re.findall(r"(?:^|[{ ])([a-z_]+):(?=\s|$)", code, re.MULTILINE))
    others = {"channel", "user", "password", "speaks", "credentials", "true", "false"}
    others |= {"mute", "set"}
    assert {"whole", "if_match", "within", "first", "session", "content_type"} <= named
    assert {name for name in named if f'"{name}"' not in schema} <= others
