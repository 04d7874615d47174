"""The command that rehearses."""

from tests.cli.stage import Stage


def test_a_rehearsal_from_a_saved_survey_sends_nothing(small: Stage) -> None:
    """At a desk, without a device: the same seeds give the same words."""
    saved = str(small.folder / "as-found.json")
    small.run("survey", "--out", saved)
    asked = sum(small.world.requests(name) for name in small.world.names)
    told = small.run("rehearse", "--as-found", saved, "--times", "4")
    assert told.status == 0, told.said
    assert "Finished by itself: 4 of 4." in told.said
    assert "No safety rule was broken" in told.said
    assert sum(small.world.requests(name) for name in small.world.names) == asked
    assert small.run("rehearse", "--as-found", saved, "--times", "4").out == told.out
    assert not (small.folder / "runs").exists()


def test_a_work_order_is_rehearsed_as_it_is(small: Stage) -> None:
    """Its own sequence and digest; one that is no longer true is refused."""
    order = str(small.folder / "order.json")
    made = small.run("dry-run", "--out", order, "--json").json
    told = small.run("rehearse", order, "--times", "2", "--faults", "0", "--json")
    assert told.status == 0
    assert told.json["schema"] == "cutsheet/rehearsal/1"
    assert told.json["digest"] == made["digest"]
    assert [each["faults"] for each in told.json["rehearsals"]] == [""]
    assert small.writes() == 0
    saved = str(small.folder / "as-found.json")
    small.run("survey", "--out", saved)
    text = (small.folder / "as-found.json").read_text(encoding="utf-8")
    (small.folder / "as-found.json").write_text(text.replace("S-PGM-1", "OTHER"), encoding="utf-8")
    stale = small.run("rehearse", order, "--as-found", saved)
    assert stale.status == 1
    assert "no longer true" in stale.said


def test_chosen_faults(small: Stage) -> None:
    """A device that goes away pauses the run, which is no fault of the tool: status 0."""
    told = small.run(
        "rehearse", "--times", "3", "--fault", "studio-south-engine=goes-away", "--json"
    )
    assert told.status == 0
    (only,) = told.json["rehearsals"]
    assert only["faults"] == "studio-south-engine=goes-away"
    assert only["finished"] < 3
    assert {each["device"] for each in only["paused_on"]} == {"studio-south-engine"}


def test_a_fault_that_is_none(small: Stage) -> None:
    """Named with the kinds that there are, or with the devices that can have it."""
    told = small.run("rehearse", "--fault", "studio-south-engine=tired")
    assert told.status == 2
    assert "goes-away" in told.said
    told = small.run("rehearse", "--fault", "master-control=slow")
    assert told.status == 2
    assert "does not touch master-control" in told.said


def test_nothing_to_rehearse(small: Stage) -> None:
    """Everything as wanted: said, with status 0. A hazard that stops: said, with status 1."""
    playbook = small.folder / "playbooks" / "programme-numbers.yaml"
    text = playbook.read_text(encoding="utf-8")
    playbook.write_text(text[: text.index("accepts:")], encoding="utf-8")
    told = small.run("rehearse")
    assert told.status == 1
    assert "listener:rack-codec/output-2" in told.said
    playbook.unlink()
    told = small.run("rehearse")
    assert told.status == 0
    assert "nothing to rehearse" in told.said
    assert small.run("rehearse", "--json").json["schema"] == "cutsheet/nothing-written/1"
