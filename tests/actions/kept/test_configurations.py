"""Whole configurations; the whole way, with devices and a person, is in ``tests/cli``."""

import asyncio
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

from orchestrator.actions.desk import Desk
from orchestrator.actions.kept.configurations import Taken, take
from orchestrator.errors import Broken
from orchestrator.facility.configuration import PutBack
from orchestrator.facility.description import Json
from orchestrator.facility.found import Found, Identity
from tests.actions.kept.test_notes import RECORD
from tests.adapters.ways_made import NOBODY_CAN, WHOLE, Answering

GIVES = replace(NOBODY_CAN, gives_configuration=True)


class Giving(Answering):
    """Gives its configuration, or fails."""

    broken = False

    async def configuration(self) -> dict[str, Json]:
        """The one that it has."""
        if self.broken:
            raise Broken("giving", "127.44.3.71", "asking for its configuration", "no sense")
        return {"own-id": {"values": [1]}}

    async def put_back(self, parts: Any, *, only_try: bool) -> tuple[PutBack, ...]:
        """Not asked here."""
        raise AssertionError((parts, only_try))


def taken(**adapters: Answering) -> Taken:
    """What is had of these devices, before a run that touches them all."""
    traits = {name: adapter.traits for name, adapter in adapters.items()}
    desk = cast(
        "Desk", SimpleNamespace(open_adapter=lambda name, _at: adapters[name], traits=traits)
    )
    before = {name: Found(at="127.44.3.71", state=WHOLE, response_s=0.0) for name in adapters}
    return asyncio.run(take(desk, replace(RECORD, before=before)))


def test_each_that_offers_one_is_asked() -> None:
    """Under its serial and the run; of the others, not even the way is opened."""
    giving, plain, silent = Giving(GIVES), Answering(NOBODY_CAN), Answering(GIVES)
    found = taken(giving=giving, plain=plain, silent=silent)
    assert set(found.configurations) == {"giving"}
    one = found.configurations["giving"]
    assert (one.serial, one.run, one.parts) == ("TM-118", RECORD.id, {"own-id": {"values": [1]}})
    assert found.as_recorded == {"giving": None}
    assert (giving.asked[-1], plain.asked, silent.asked) == ("close", [], ["close"])


def test_one_that_fails_stops_nothing() -> None:
    """It is recorded why; so is another unit that answers by now."""
    broken = Giving(GIVES)
    broken.broken = True
    other = replace(WHOLE, identity=Identity(serial="TM-9", model="TN-8"))
    found = taken(broken=broken, giving=Giving(GIVES), stranger=Giving(GIVES, other))
    recorded = found.as_recorded
    assert recorded["giving"] is None
    assert "no sense" in str(recorded["broken"])
    assert "TM-9" in str(recorded["stranger"])
