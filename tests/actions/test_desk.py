"""The desk: what it knows of a facility before anything is sent."""

import asyncio
from datetime import UTC, timedelta
from pathlib import Path

import pytest
import yaml

from orchestrator.actions.desk import WallClock, open_desk
from orchestrator.errors import CallError, DocumentError, NoSecret
from orchestrator.facility.found import Found
from orchestrator.facility.secret import Secret
from tests.actions.desks import desk_of
from tests.cli.stage import Stage


def no_secret(name: str) -> Secret:
    """There is none."""
    raise NoSecret(f"no {name}", "add it")


def test_it_knows_rooms_traits_and_patience(stage: Stage) -> None:
    """Traits and patience only of devices that the tool speaks to."""
    desk = desk_of(stage)
    assert desk.rooms["rack-codec"] == "rack"
    assert set(desk.rooms) - set(desk.traits) == {"alert-inserter"}
    assert desk.patience["rack-codec"].late_s == desk.traits["rack-codec"].late_s
    assert stage.world.requests("rack-codec") == 0


def test_the_survey_asks_all(stage: Stage) -> None:
    """All but the units on the bench, of which no playbook here tells where they are."""
    found = asyncio.run(desk_of(stage).survey())
    missing = {name for name, entry in found.devices.items() if not isinstance(entry, Found)}
    assert missing == {"studio-north-engine", "talks-io"}


def test_without_secrets_nobody_is_asked(stage: Stage) -> None:
    """Both credentials are told in one error; each was asked for once."""
    asked: list[str] = []

    def secrets(name: str) -> Secret:
        asked.append(name)
        return no_secret(name)

    desk = open_desk(stage.folder, secrets=secrets)
    with pytest.raises(NoSecret, match=r"no corvid-units \(needed by .*\); no tamarisk-units"):
        asyncio.run(desk.survey())
    assert sorted(asked) == ["corvid-units", "tamarisk-units"]
    assert sum(stage.world.requests(name) for name in stage.world.names) == 0


def test_documents_are_checked_first(stage: Stage) -> None:
    """A desk is only opened on documents without a finding."""
    (stage.folder / "plan.yaml").write_text("rooms: {}\n", encoding="utf-8")
    with pytest.raises(DocumentError):
        open_desk(stage.folder, secrets=no_secret)


def test_a_playbook_that_is_not_there(stage: Stage) -> None:
    """It is named."""
    with pytest.raises((CallError, DocumentError)):
        open_desk(stage.folder, secrets=no_secret, playbooks=[Path("no-such.yaml")])


def test_the_wall_clock() -> None:
    """Its time has an offset, and sleeping lets it pass."""
    clock = WallClock()
    before = clock.now()
    asyncio.run(clock.sleep(0.01))
    assert clock.now() - before >= timedelta(seconds=0.01)
    assert before.astimezone(UTC) == before


def test_one_device_is_asked_alone_and_traced(stage: Stage) -> None:
    """Its requests and answers are told; only its own secret is asked for."""
    told: list[str] = []
    asked: list[str] = []

    def secrets(name: str) -> Secret:
        asked.append(name)
        return Secret("engineer", "invented-gull-on-a-wire")

    ways = yaml.safe_load(stage.map.read_text(encoding="utf-8"))
    desk = open_desk(stage.folder, secrets=secrets, connect=ways, trace=told.append)
    found = asyncio.run(desk.survey(only="studio-south-engine"))
    assert list(found.devices) == ["studio-south-engine"]
    assert asked == ["corvid-units"]
    assert any("GET /streams" in text for text in told)
    for name, words in (("nobody", "no device nobody"), ("alert-inserter", "not spoken to")):
        with pytest.raises(CallError, match=words):
            asyncio.run(desk.survey(only=name))
