from typing import Any

import pytest

from mocks.clock import HandClock
from mocks.messages import Request, Response
from mocks.nmos.registry import KINDS, MOST
from mocks.world import World
from tests.amwa import conforms, needs_schemas

AT = "127.44.3.90"
QUERY = "/x-nmos/query/v1.3"
HEAD = "networks: {media: {subnet: 127.44.3.0/24}}\ndevices:\n"
UNIT = 'model: RG-1, firmware: "1.0", prefix: 24'


def a_world(nodes: int) -> World:
    """A world with a registry and some nodes of one sender and one receiver each."""
    lines = [f"  registry: {{make: nmos-registry, serial: RG-1, address: {AT}, {UNIT}}}"]
    lines += [
        f"  node-{n}: {{make: nmos, serial: SW-{n}, address: 127.44.3.{n}, {UNIT}, "
        "sources: {program: {label: PGM}}, destinations: {monitor: {}}}"
        for n in range(1, nodes + 1)
    ]
    return World.from_text(HEAD + "\n".join(lines), HandClock())


def ask(world: World, path: str, method: str = "GET") -> Response:
    """Ask the registry something."""
    request = Request(method, path, {"host": f"{AT}:8080"})
    begun = world.begin(AT, request)
    assert begun is not None
    response = world.finish(begun).response
    assert response is not None
    return response


def labels(response: Response) -> list[str]:
    """The labels of what came."""
    return [one["label"] for one in response.json]


@needs_schemas
@pytest.mark.parametrize("kind", KINDS)
def test_every_list_and_resource_conforms(kind: str) -> None:
    """To the schemas of AMWA IS-04 v1.3, and one by its id is as it stands in the list."""
    world = a_world(2)
    listed = ask(world, f"{QUERY}/{kind}").json
    conforms(listed, "is-04", kind)
    assert len(listed) == 2
    for one in listed:
        found = ask(world, f"{QUERY}/{kind}/{one['id']}").json
        assert found == one
        conforms(found, "is-04", kind.removesuffix("s"))


@needs_schemas
def test_its_roots_and_errors_conform() -> None:
    """The list of what it offers, and a refusal."""
    world = a_world(1)
    conforms(ask(world, f"{QUERY}/").json, "is-04", "queryapi-base")
    missing = ask(world, f"{QUERY}/nodes/00000000-0000-4000-8000-000000000000")
    assert missing.status == 404
    conforms(missing.json, "is-04", "error")


def test_it_says_what_the_node_says() -> None:
    """Who each is, and where it answers: the same as the node's own API."""
    world = a_world(1)
    node = world.machine("node-1").handle(
        Request("GET", "/x-nmos/node/v1.3/self", {"host": "127.44.3.1:8080"})
    )
    assert ask(world, f"{QUERY}/nodes").json == [node.json]


def test_who_has_no_cable_is_not_there() -> None:
    """As where the heartbeats of a node have ended."""
    world = a_world(2)
    world.pull_cable("node-1")
    assert labels(ask(world, f"{QUERY}/nodes")) == ["node-2"]


def test_many_come_in_pages() -> None:
    """Ten at most, newest first; the link to the older ones leads through them all."""
    world = a_world(23)
    seen: list[str] = []
    path = f"{QUERY}/nodes?paging.limit=500&paging.order=create"
    while page := labels(response := ask(world, path)):
        assert len(page) <= MOST
        headers = dict(response.headers)
        assert headers["x-paging-limit"] == str(MOST)
        seen += page
        prev = next(one for one in headers["link"].split(", ") if 'rel="prev"' in one)
        path = prev[prev.index("/x-nmos") : prev.index(">")]
    assert seen == [f"node-{n}" for n in range(23, 0, -1)]


@pytest.mark.parametrize(
    ("query", "found"),
    [
        ("label=node-2", ["node-2"]),
        ("label=nobody", []),
        ("no_such_attribute=1", []),
        ("api.endpoints.host=127.44.3.1", ["node-1"]),
        ("label=node-1&api.endpoints.port=8080", ["node-1"]),
    ],
)
def test_basic_queries(query: str, found: list[str]) -> None:
    """By any attribute, inside objects and lists too ("APIs: Query Parameters", Basic Queries)."""
    assert labels(ask(a_world(2), f"{QUERY}/nodes?{query}")) == found


@pytest.mark.parametrize(
    ("path", "method", "status"),
    [
        (f"{QUERY}/nodes?query.downgrade=v1.2", "GET", 501),
        (f"{QUERY}/nodes?query.rql=eq(label,x)", "GET", 501),
        (f"{QUERY}/nodes?paging.since=5:0&paging.until=4:0", "GET", 400),
        (f"{QUERY}/nodes?paging.since=then", "GET", 400),
        (f"{QUERY}/nodes?paging.limit=some", "GET", 400),
        (f"{QUERY}/subscriptions", "POST", 501),
        (f"{QUERY}/nodes", "POST", 405),
        (f"{QUERY}/gadgets", "GET", 404),
        ("/x-nmos/query/v1.2/nodes", "GET", 404),
    ],
)
def test_what_it_does_not_do(path: str, method: str, status: int) -> None:
    """It says so by the status that the standard has for it."""
    assert ask(a_world(1), path, method).status == status


def test_no_subscriptions_are_open() -> None:
    """It offers none, so none are listed."""
    found: Any = ask(a_world(1), f"{QUERY}/subscriptions").json
    assert found == []
