import json

from orchestrator.facility.configuration import PutBack
from orchestrator.reports.put_back import as_json, text

WELL = PutBack(path="root", status=200)
NOTED = PutBack(path="root.manager", status=200, said=("serialNumber: it stays",))
FAILED = PutBack(path="root.gain", status=400, said=("not restored", "gain: low"))


def test_what_is_on_comes_first() -> None:
    """Then what was not done, with its own words."""
    shown = text("r1", "rack-node", (WELL,), (WELL, NOTED, FAILED), came_on=("PGM",))
    assert shown.startswith("On now: PGM of rack-node.")
    assert "put back 2 of 3 objects" in shown
    assert "root.gain 400 not restored; gain: low" in " ".join(shown.split())
    assert "serialNumber: it stays" in shown
    assert "cutsheet audit" in shown


def test_nothing_was_written() -> None:
    """It is said first, with what would be done."""
    shown = text("r1", "rack-node", (WELL, FAILED), None, why="it was only asked")
    assert shown.startswith("Nothing was written to rack-node: it was only asked.")
    assert "would put back 1 of 2" in shown
    assert "audit" not in shown


def test_as_json() -> None:
    """As the module says."""
    document = json.loads(json.dumps(as_json("r1", "rack-node", (WELL,), None, why="x")))
    assert document == {
        "schema": "cutsheet/put-back/1",
        "run": "r1",
        "device": "rack-node",
        "written": False,
        "why": "x",
        "tried": [{"path": "root", "status": 200, "said": []}],
        "done": [],
        "came_on": [],
    }
