"""Asking a node for what stands at a place."""

from typing import Any

import pytest

from orchestrator.adapters.http.messages import Exchange, Request, Response
from orchestrator.adapters.nmos.asking import Asking
from orchestrator.adapters.nmos.node import Place
from orchestrator.errors import Broken, Rejected
from tests.adapters.makes import played
from tests.adapters.nodes import ADDRESS, PARTY


class Asker(Asking):
    """Asks for one place."""

    def at(self, path: str) -> Exchange[Any]:
        """What stands there, or None for a 404."""
        return self._get(Place(path, 8080), "asking", frozenset({404}))


def asked(*answers: Response) -> tuple[Any, list[Request]]:
    """What comes of the answers, one after the other, and what was asked for."""
    left = list(answers)
    return played(Asker(PARTY).at("/x-nmos"), lambda _: left.pop(0))


def moved(location: str) -> Response:
    """A redirect."""
    return Response(status=301, headers={"location": location})


def test_what_stands_there() -> None:
    """JSON; or nothing, where a status says so that was asked for."""
    found, requests = asked(Response(status=200, body=b'["node/"]'))
    assert (found, requests[0].port) == (["node/"], 8080)
    assert asked(Response(status=404, body=b"{}"))[0] is None


def test_a_redirect_is_followed_on_the_node_itself() -> None:
    """To the same port where it names none; never to another host, and not in circles."""
    _, requests = asked(moved("/x-nmos/"), Response(status=200, body=b"[]"))
    assert [(one.path, one.port) for one in requests] == [("/x-nmos", 8080), ("/x-nmos/", 8080)]
    found = moved(f"http://{ADDRESS}:81/a"), Response(status=200, body=b"[]")
    assert asked(*found)[1][-1].port == 81
    with pytest.raises(Rejected, match="elsewhere"):
        asked(moved("http://127.44.3.99/x-nmos/"))
    with pytest.raises(Broken, match="circles"):
        asked(*[moved("/x-nmos/")] * 3)


def test_nonsense_is_named_with_its_path() -> None:
    """So that whoever mends it finds it."""
    with pytest.raises(Broken) as why:
        asked(Response(status=200, body=b"<"))
    assert why.value.said == "GET /x-nmos: the answer is no JSON"
