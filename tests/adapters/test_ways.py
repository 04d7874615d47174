import asyncio
from dataclasses import replace

import httpx
import pytest

from orchestrator.adapters.nmos.dialect import TRAITS
from orchestrator.adapters.open import make_opener
from orchestrator.adapters.ways import BUILT_IN, described_way, table, ways_of
from orchestrator.errors import CallError, DeviceError
from orchestrator.facility.plan import Device, Reach
from orchestrator.facility.secret import Secret
from orchestrator.running.protocols import EVERYTHING, Part
from tests.adapters.makes import CORVID, TAMARISK, a_plan
from tests.adapters.ways_made import way


def device(*speaks: str) -> Device:
    """The node of the plan, speaking so."""
    return a_plan(speaks=speaks).devices["rack-node"]


def test_a_description_goes_before_a_plug_in_and_both_before_what_is_built_in() -> None:
    """The facility's own folder has the last word."""
    plug_in = way("nmos")
    assert table({})["nmos"].traits is TRAITS
    assert table({}, {"nmos": plug_in})["nmos"] is plug_in
    assert table({"nmos": TAMARISK}, {"nmos": plug_in})["nmos"].traits is TAMARISK.traits
    assert set(table({"tamarisk-node": TAMARISK}, {"gull": way("gull")})) == {
        *BUILT_IN,
        "tamarisk-node",
        "gull",
    }


def test_a_device_has_the_ways_that_the_plan_names_in_its_order() -> None:
    """Each once; a name that nobody knows is left out, which the check of the documents tells."""
    ways = table({"tamarisk-node": TAMARISK})
    names = [each.name for each in ways_of(device("tamarisk-node", "gull", "nmos", "nmos"), ways)]
    assert names == ["tamarisk-node", "nmos"]


@pytest.mark.parametrize(("speaks", "words"), [((), "not spoken to"), (("a", "b"), "a or b")])
def test_a_device_without_a_way_is_told_with_the_fix(speaks: tuple[str, ...], words: str) -> None:
    """Nobody says how, or nobody knows what is said."""
    with pytest.raises(CallError, match=words) as caught:
        ways_of(device(*speaks), table({}))
    assert caught.value.fix


def test_a_description_says_which_parts_it_reads() -> None:
    """Those with a read, and settings if it has any."""
    assert described_way("node", TAMARISK).reads == EVERYTHING
    assert Part.UNSAVED not in described_way("engine", CORVID).reads
    assert Part.SETTINGS not in described_way("e", replace(CORVID, settings={})).reads


def test_each_way_knows_the_port_at_which_it_is_spoken_to() -> None:
    """A description's own; an NMOS node's is the plan's, or 80."""
    assert described_way("node", TAMARISK).port(device()) == 8080
    assert BUILT_IN["nmos"].port(device()) == 80
    assert BUILT_IN["nmos"].port(replace(device(), port=8081)) == 8081


@pytest.mark.parametrize(
    ("reach", "port"),
    [
        (Reach(), 443),
        (Reach(scheme="http"), 80),
        (Reach(port=8443), 8443),
        (Reach(scheme="http", port=8043), 8043),
    ],
)
def test_restconf_is_where_the_plan_says_or_at_its_schemes_own_port(
    reach: Reach, port: int
) -> None:
    """RFC 8040, 2.1, asks for TLS, so that is what a plan that says nothing gets."""
    assert BUILT_IN["restconf"].port(replace(device(), restconf=reach)) == port


@pytest.mark.parametrize(
    ("secret", "credentials", "header"),
    [
        (Secret("engineer", "word"), "nodes", "Basic ZW5naW5lZXI6d29yZA=="),
        (Secret("", "word"), "nodes", "Bearer word"),
        (Secret("", "unasked"), None, None),
    ],
)
def test_restconf_signs_in_as_the_credential_is(
    secret: Secret, credentials: str | None, header: str | None
) -> None:
    """With a user by Basic (RFC 7617), with a word alone as bearer (RFC 6750), or not at all."""
    seen: list[tuple[str, str | None]] = []

    def answer(request: httpx.Request) -> httpx.Response:
        seen.append((str(request.url), request.headers.get("authorization")))
        return httpx.Response(404)

    plan = a_plan(speaks=("restconf",), credentials=credentials)
    network = httpx.MockTransport(answer)
    opener = make_opener(plan, {}, lambda _: secret, {}, network=network)

    async def whole() -> None:
        adapter = opener("rack-node", "127.44.3.71")
        with pytest.raises(DeviceError, match="tells no serial"):
            await adapter.identify()
        await adapter.close()

    asyncio.run(whole())
    assert {used for _, used in seen} == {header}
    assert seen[0][0] == "https://127.44.3.71/.well-known/host-meta"
