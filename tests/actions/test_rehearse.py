"""Rehearsing from a desk."""

import asyncio

from orchestrator.actions.propose import Choice, propose
from orchestrator.actions.rehearse import Wish, rehearse
from orchestrator.ledger.store import ledger_path
from orchestrator.running.rehearsed import Fault, Trouble
from tests.actions.desks import desk_of
from tests.cli.stage import Stage


def test_nothing_is_written_to_a_device_or_a_ledger(stage: Stage) -> None:
    """Rehearsals of the programme numbers: every one finishes, and the devices never know."""
    desk = desk_of(stage)
    found = asyncio.run(desk.survey())
    sequence = propose(desk, found, Choice()).sequence
    calm, troubled = rehearse(desk, found, sequence, Choice(), Wish(times=4))
    assert len(calm.finished) == 4
    assert calm.calm
    assert not troubled.calm
    assert not calm.broken
    assert not troubled.broken
    assert stage.writes() == 0
    assert not ledger_path(stage.folder).exists()
    assert "studio-south-engine/program-1" in calm.worst


def test_sorts_of_trouble() -> None:
    """Without a wish both: none, and one each time; what is wished alone otherwise."""
    fault = Fault("a", Trouble.SLOW)
    assert Wish().sorts == (0, 1)
    assert Wish(faults=(fault,)).sorts == (0,)
    assert Wish(faults=(fault,), drawn=2).sorts == (2,)
    assert Wish(drawn=0).sorts == (0,)
