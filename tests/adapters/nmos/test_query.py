import json
from typing import Any

import pytest

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.http.messages import Party, Request, Response
from orchestrator.adapters.nmos.query import QueryApi, heard_of, party_of
from orchestrator.errors import Broken, CallError
from orchestrator.facility.discovered import HeardOf
from orchestrator.facility.found import Identity
from tests.adapters.makes import played
from tests.amwa import STANDARDS, needs_schemas
from tests.mocks.nmos.test_registry import AT, a_world, ask

PARTY = Party(device="the registry", address=AT)
V13 = "/x-nmos/query/v1.3"


def a_node(number: int, **more: Any) -> dict[str, Any]:
    """A node as a registry tells of it."""
    return {
        "id": f"00000000-0000-4000-8000-{number:012}",
        "label": f"node-{number}",
        "tags": {
            "urn:x-nmos:tag:asset:product/v1.0": ["SN-2"],
            "urn:x-nmos:tag:asset:instance-id/v1.0": [f"SW-{number}"],
        },
        "api": {"versions": ["v1.3"], "endpoints": [{"host": f"127.44.3.{number}", "port": 80}]},
        **more,
    }


def simulated(nodes: int) -> Any:
    """Answers as the simulated registry does."""
    world = a_world(nodes)

    def answer(request: Request) -> Response:
        found = ask(world, request.path)
        assert found.status < 300 or found.status in request.also_fine
        return Response(status=found.status, headers=dict(found.headers), body=found.body)

    return answer


@pytest.mark.parametrize("count", [0, 1, 10, 11, 23])
def test_every_node_is_found_once(count: int) -> None:
    """However many pages there are; who it is and where it answers are the node's own words."""
    nodes, asked = played(QueryApi(PARTY).nodes(), simulated(count))
    assert sorted(node.identity.serial for node in nodes) == sorted(
        f"SW-{n}" for n in range(1, count + 1)
    )
    assert all(node.hosts == (f"127.44.3.{node.label.removeprefix('node-')}",) for node in nodes)
    assert all(request.reads for request in asked)
    assert asked[0].path == "/x-nmos/query/"


def answering(by_path: dict[str, Any]) -> Any:
    """Answers by path: a value, or a status."""

    def answer(request: Request) -> Response:
        held = by_path[request.path]
        if isinstance(held, Response):
            assert held.status < 300 or held.status in request.also_fine, request
            return held
        return Response(status=200, body=json.dumps(held).encode())

    return answer


def test_one_that_can_not_page_is_asked_plainly() -> None:
    """It answers 501 to the attempt, as the standard wants; older versions are asked for too."""
    held: dict[str, Any] = {
        f"{V13}/nodes{query}": Response(status=501)
        for query in (
            "?paging.order=create&paging.since=0:0&query.downgrade=v1.0",
            "?paging.order=create&paging.since=0:0",
            "?query.downgrade=v1.0",
        )
    }
    held |= {f"{V13}/nodes": [a_node(1)]}
    nodes, asked = played(QueryApi(PARTY, V13).nodes(), answering(held))
    assert [node.id for node in nodes] == [a_node(1)["id"]]
    assert len(asked) == 4


def test_the_newest_version_is_asked() -> None:
    """As numbers, not as text: v1.10 is newer than v1.3; another major version is another API."""
    held = {"/x-nmos/query/": ["v1.3/", "v1.10/", "v2.0/", "other"]}
    asked = []

    def answer(request: Request) -> Response:
        asked.append(request.path)
        return Response(status=200, body=json.dumps(held.get(request.path, [])).encode())

    played(QueryApi(PARTY).nodes(), answer)
    assert asked[1].startswith("/x-nmos/query/v1.10/nodes?")


def test_pages_are_asked_of_the_registry_that_was_meant() -> None:
    """Whichever host its links name; the walk ends where a page brings nothing new."""
    first = f"{V13}/nodes?paging.order=create&paging.since=0:0&query.downgrade=v1.0"
    link = f'<http://192.0.2.9:99{V13}/nodes/?paging.since=0:1>; rel="next", <x>; rel="prev"'
    page = json.dumps([a_node(1)]).encode()
    held = {
        first: Response(status=200, headers={"link": link}, body=page),
        f"{V13}/nodes/?paging.since=0:1": Response(
            status=200, headers={"link": link}, body=json.dumps([a_node(2)]).encode()
        ),
    }
    nodes, asked = played(QueryApi(PARTY, V13).nodes(), answering(held))
    assert len(nodes) == 2
    assert len(asked) == 3
    assert all(request.port is None for request in asked)


@pytest.mark.parametrize(
    "held",
    [
        {"/x-nmos/query/": {}},
        {"/x-nmos/query/": ["v2.0/"]},
        {"/x-nmos/query/": Response(status=200, body=b"<html>")},
    ],
)
def test_what_is_no_registry_is_broken(held: dict[str, Any]) -> None:
    """It is said where."""
    with pytest.raises(Broken, match="/x-nmos/query/"):
        played(QueryApi(PARTY).nodes(), answering(held))


@pytest.mark.parametrize(
    "page",
    [
        Response(status=200, body=b"{}"),
        Response(status=200, body=b'[{"id": 7}]'),
        Response(
            status=200,
            headers={"link": '</etc/elsewhere>; rel="next"'},
            body=json.dumps([a_node(1)]).encode(),
        ),
    ],
)
def test_nodes_that_make_no_sense_are_broken(page: Response) -> None:
    """No list, no node, a next page that is something else."""
    path = f"{V13}/nodes?paging.order=create&paging.since=0:0&query.downgrade=v1.0"
    with pytest.raises(Broken):
        played(QueryApi(PARTY, V13).nodes(), answering({path: page}))


def test_a_node_is_where_its_endpoints_say() -> None:
    """Each host once; an older one that tells no endpoints by its href."""
    one = a_node(1, href="http://127.44.3.9:80/")
    assert heard_of(one, "x").hosts == ("127.44.3.1", "127.44.3.9")
    assert heard_of(a_node(1, api={}, href="http://127.44.3.9/"), "x") == HeardOf(
        id=one["id"],
        identity=Identity(serial="SW-1", model="SN-2"),
        label="node-1",
        hosts=("127.44.3.9",),
        told_by="x",
    )
    assert heard_of(a_node(1, api={}, href="http://[/"), "x").hosts == ()
    with pytest.raises(Unusable):
        heard_of([], "x")


@needs_schemas
def test_the_published_example_is_read() -> None:
    """The nodes of AMWA IS-04 v1.3, queryapi-nodes-get-200."""
    text = (STANDARDS / "is-04" / "examples" / "queryapi-nodes-get-200.json").read_text("utf-8")
    found = [heard_of(node, "x") for node in json.loads(text)]
    assert [node.id for node in found] == [node["id"] for node in json.loads(text)]
    assert all(node.hosts for node in found)


@pytest.mark.parametrize(
    ("url", "found"),
    [
        ("http://127.44.3.90:8080", ("http", 8080, "")),
        ("https://registry.example/x-nmos/query/v1.3/", ("https", 443, "/x-nmos/query/v1.3/")),
        ("http://127.44.3.90/", ("http", 80, "/")),
    ],
)
def test_urls(url: str, found: tuple[str, int, str]) -> None:
    """With a port or the usual one, with a path or without."""
    party, *rest = party_of(url)
    assert tuple(rest) == found
    assert party.address in url


@pytest.mark.parametrize(
    "url",
    [
        "",
        "127.44.3.90:80",
        "ftp://x/",
        "http://",
        "http://me:word@x/",
        "http://x:y/",
        "http://x/?a=b",
    ],
)
def test_what_is_no_url(url: str) -> None:
    """It is refused with the form to write; nobody signs in by a URL."""
    with pytest.raises(CallError):
        party_of(url)
