import asyncio
import sys
from unittest.mock import patch

import pytest

from orchestrator.adapters.nmos.dns_sd import NODE, QUERY, REGISTER, browse
from orchestrator.errors import CallError
from orchestrator.facility.discovered import Service
from tests.adapters.announcing import LOOPBACK, announced, needs_multicast

TEXT = {"api_ver": "v1.2,v1.3", "api_proto": "http", "pri": "10", "api_auth": "false"}


def a_service(kind: str, name: str, port: int) -> Service:
    """A service as AMWA IS-04 has it announced."""
    return Service(kind=kind, name=name, addresses=("127.44.3.90",), port=port, text=TEXT)


@needs_multicast
def test_what_is_announced_is_heard() -> None:
    """Each of the three kinds, with its address, port and text; another kind is not listened to."""
    there = (
        a_service(QUERY, "cutsheet-test-query", 8080),
        a_service(REGISTER, "cutsheet-test-register", 8081),
        a_service(NODE, "cutsheet-test-node", 8082),
    )

    async def heard() -> tuple[Service, ...]:
        async with announced(*there, a_service("_http._tcp", "cutsheet-test-page", 8083)):
            return await browse(1.5, LOOPBACK)

    found = {one for one in map(_plain, asyncio.run(heard())) if one[1].startswith("cutsheet-test")}
    assert found == {_plain(one) for one in there}


def _plain(service: Service) -> tuple[str, str, tuple[str, ...], int, tuple[tuple[str, str], ...]]:
    text = tuple(sorted(service.text.items()))
    return service.kind, service.name, service.addresses, service.port, text


def test_without_the_package_it_says_what_to_install() -> None:
    """Or to name a registry, which needs none."""
    with patch.dict(sys.modules, {"zeroconf": None}), pytest.raises(CallError) as why:
        asyncio.run(browse(0.1))
    assert "cutsheet[dns-sd]" in why.value.fix
    assert "--registry" in why.value.fix


@pytest.mark.parametrize("interface", ["192.0.2.1", "no address"])
def test_an_interface_that_is_not_there(interface: str) -> None:
    """It is said, with the option."""
    with pytest.raises(CallError, match=interface) as why:
        asyncio.run(browse(0.1, interface))
    assert "--interface" in why.value.fix
