import asyncio
from collections.abc import Sequence

from mocks.in_memory import InMemory
from orchestrator.actions.find import Heard, by_announcement, by_registry
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.nmos.discovery import Asking
from orchestrator.adapters.nmos.dns_sd import NODE, QUERY, REGISTER
from orchestrator.facility.discovered import Service
from tests.mocks.nmos.test_registry import AT, a_world

WORLD = a_world(3)
ASKING = Asking(network=InMemory(WORLD), patience=Patience(attempts=1))


def service(kind: str, address: str, priority: str = "10", **text: str) -> Service:
    """An announcement."""
    return Service(
        kind=kind,
        name=f"{kind} at {address}",
        addresses=(address,) if address else (),
        port=8080,
        text={"api_proto": "http", "pri": priority, **text},
    )


def heard(*services: Service) -> Heard:
    """What comes of such announcements."""

    async def browse() -> Sequence[Service]:
        return services

    return asyncio.run(by_announcement(browse, ASKING))


def serials(found: Heard) -> list[str]:
    """Who was heard of."""
    return sorted(node.identity.serial for node in found.nodes)


def test_a_registry_by_its_url() -> None:
    """All that it knows."""
    found = asyncio.run(by_registry(f"http://{AT}:8080", ASKING))
    assert serials(found) == ["SW-1", "SW-2", "SW-3"]


def test_an_announced_registry_is_asked() -> None:
    """And what was announced is told, the ones that can't be asked too."""
    there = (service(QUERY, AT), service(REGISTER, AT))
    found = heard(*there)
    assert serials(found) == ["SW-1", "SW-2", "SW-3"]
    assert found.services == there
    assert found.no_help == ()


def test_the_first_that_answers_counts() -> None:
    """By priority, the lowest first; who does not answer is named."""
    found = heard(service(QUERY, AT, "20"), service(QUERY, "127.44.3.99", "1"))
    assert serials(found) == ["SW-1", "SW-2", "SW-3"]
    (said,) = found.no_help
    assert "127.44.3.99" in said


def test_a_registry_for_development_is_not_asked() -> None:
    """Priorities from 100 on (AMWA IS-04, "Discovery"); nor one that wants a sign-in."""
    assert heard(service(QUERY, AT, "100")).nodes == ()
    assert heard(service(QUERY, AT, api_auth="true")).nodes == ()
    assert heard(service(QUERY, "")).nodes == ()


def test_nodes_that_stand_alone_are_asked_themselves() -> None:
    """Where there is no registry they announce themselves; one that a registry told of is one."""
    found = heard(service(NODE, "127.44.3.1"), service(NODE, "127.44.3.98"))
    assert serials(found) == ["SW-1"]
    assert len(found.no_help) == 1
    both = heard(service(QUERY, AT), service(NODE, "127.44.3.1"))
    assert serials(both) == ["SW-1", "SW-2", "SW-3"]
