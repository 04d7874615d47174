"""The look round at a go/no-go point, over sockets."""

import asyncio
from collections.abc import Sequence

from orchestrator.actions.apply import Ended, apply, order_of
from orchestrator.actions.driving.look_round import known_before, looking_round
from orchestrator.actions.driving.perform import LookRound
from orchestrator.actions.propose import Choice, propose
from orchestrator.ledger.store import SqliteLedger
from tests.actions.desks import attended, desk_of
from tests.cli.stage import Stage


async def told(look: LookRound) -> Sequence[str]:
    """What a look round says."""
    return await look(1)


def test_every_device_is_read_and_held_against_the_run(stage: Stage) -> None:
    """Clean after a finished run; a switch thrown by another hand is found."""
    desk = desk_of(stage)

    async def whole() -> Ended:
        found = await desk.survey()
        known, absent = known_before(desk, found)
        assert any(name.startswith("duplicate:") for name in known)
        assert set(absent) == {"studio-north-engine", "talks-io"}, "on the bench: no playbook"
        order = order_of("A change", propose(desk, found, Choice()), found)
        return await apply(desk, order, attended()[0])

    ended = asyncio.run(whole())
    assert ended.finished
    assert ended.run is not None
    with SqliteLedger(desk.folder) as ledger:
        look = looking_round(desk, ledger, ledger.record(ended.run))
        before = stage.world.requests("master-control")
        assert asyncio.run(told(look)) == ()
        assert stage.world.requests("master-control") > before, "devices beside the run are read"
        stage.world.another_hand("talks-engine").set_source("program-1", enabled=False)
        (said,) = asyncio.run(told(look))
        assert said == "talks-engine/program-1 is off, and should be on now"
