"""Trying a credential on its devices."""

import asyncio

from mocks.faults import Fault, Kind
from orchestrator.actions.credentials.sign_in_test import devices_of, test_sign_in
from tests.actions.desks import desk_of
from tests.cli.stage import Stage

test_sign_in.__test__ = False  # type: ignore[attr-defined]  # a function of the tool, no test


def test_which_devices(stage: Stage) -> None:
    """Those of the plan that name the credential and are spoken to."""
    desk = desk_of(stage)
    assert "master-control" in devices_of(desk, "corvid-units")
    assert devices_of(desk, "no-such") == ()
    both = {*devices_of(desk, "corvid-units"), *devices_of(desk, "tamarisk-units")}
    assert "alert-inserter" not in both


def test_each_says_for_itself(stage: Stage) -> None:
    """Signed in, refused, or not there; one that fails hides no other; nothing is written."""
    stage.world.add_fault("talks-engine", Fault(Kind.SIGN_IN, always=True, status=403))
    results = asyncio.run(test_sign_in(desk_of(stage), "corvid-units"))
    said = {device: (words, good) for device, words, good in results}
    assert said["master-control"] == ("signed in at 127.44.3.81 (CE-40 serial CV-20401)", True)
    assert "refused the sign-in" in said["talks-engine"][0]
    assert "does not answer" in said["studio-north-engine"][0]
    assert not said["talks-engine"][1]
    assert stage.writes() == 0
