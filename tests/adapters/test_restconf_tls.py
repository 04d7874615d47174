"""RESTCONF as RFC 8040, section 2.1, has it: over TLS, to a simulated host on a socket."""

import asyncio
import dataclasses
import gc
from pathlib import Path

import pytest

from mocks.server import serve
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.open import make_opener
from orchestrator.adapters.trust import Trust
from orchestrator.errors import DeviceError, Untrusted
from orchestrator.facility.found import DeviceState
from orchestrator.facility.plan import Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.trust import Tls
from tests.adapters.hosts import ADDRESS, GATEWAY, a_world
from tests.adapters.makes import a_plan
from tests.adapters.papers import authority, issued, pem_of

PLANT = authority()


def trusting(tls: Tls) -> Plan:
    """A plan in which the host speaks RESTCONF, as ever by https where nothing else is said."""
    plan = a_plan(speaks=("restconf",))
    device = dataclasses.replace(plan.devices["rack-node"], tls=tls)
    return dataclasses.replace(plan, devices={"rack-node": device})


def read(plan: Plan, folder: Path) -> tuple[DeviceState, int]:
    """What the host says, and how many requests have reached it."""
    world = a_world()
    paper = issued(PLANT, ADDRESS).server(folder)
    trust = Trust(authorities={"plant.pem": pem_of(PLANT)})

    async def whole(connect: dict[str, str]) -> DeviceState:
        secret = Secret("", "invented-word")
        opener = make_opener(
            plan, {}, lambda _: secret, connect, trust=trust, patience=Patience(attempts=1)
        )
        adapter = opener("rack-node", ADDRESS)
        try:
            return await adapter.read()
        finally:
            await adapter.close()

    with serve(world, connect_map=True, tls={"rack-node": paper}) as running:
        try:
            state = asyncio.run(whole({ADDRESS: running.connect_map[ADDRESS]}))
        except DeviceError:
            assert world.requests("rack-node") == 0
            raise
        return state, world.requests("rack-node")


def test_a_host_is_read_over_tls_by_the_plants_own_authority(tmp_path: Path) -> None:
    """The certificate names the address that the plan has."""
    state, requests = read(trusting(Tls(authority="plant.pem")), tmp_path)
    assert state.identity.serial == "SW-7"
    assert [(one.address, one.gateway) for one in state.interfaces.values()] == [(ADDRESS, GATEWAY)]
    assert requests == 4


def test_nothing_is_left_open(tmp_path: Path) -> None:
    """Though nobody waits for the host's own word that it closes; what is collected is an error."""
    read(trusting(Tls(authority="plant.pem")), tmp_path)
    gc.collect()


def test_a_host_that_is_not_trusted_is_told_nothing(tmp_path: Path) -> None:
    """This computer's authorities do not know the plant's: no request and no secret get there."""
    with pytest.raises(Untrusted):
        read(trusting(Tls()), tmp_path)
