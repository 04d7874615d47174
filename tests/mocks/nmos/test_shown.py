from typing import Any

import pytest

from mocks.nmos import shown
from tests.amwa import conforms, needs_schemas
from tests.mocks.nodes import NOW, SINGLE, a_node, ask, place, staging

ROOTS = {
    "/x-nmos/node/v1.3": ("is-04", "nodeapi-base"),
    "/x-nmos/connection/v1.1": ("is-05", "connectionapi-base"),
    "/x-nmos/connection/v1.1/bulk": ("is-05", "connectionapi-bulk"),
    SINGLE: ("is-05", "connectionapi-single"),
    f"{SINGLE}/senders": ("is-05", "sender-receiver-base"),
    f"{SINGLE}/receivers": ("is-05", "sender-receiver-base"),
}
ENDS = {
    "senders": {
        "": "connectionapi-sender",
        "/constraints": "constraints-schema",
        "/staged": "sender-response-schema",
        "/active": "sender-response-schema",
        "/transporttype": "transporttype-response-schema",
    },
    "receivers": {
        "": "connectionapi-receiver",
        "/constraints": "constraints-schema",
        "/staged": "receiver-response-schema",
        "/active": "receiver-response-schema",
        "/transporttype": "transporttype-response-schema",
    },
}


@needs_schemas
@pytest.mark.parametrize("path", ROOTS)
@pytest.mark.parametrize("slash", ["", "/"])
def test_the_roots_conform(path: str, slash: str) -> None:
    """Each names what stands below it, with a slash; both forms of its path answer."""
    conforms(ask(a_node(), "GET", path + slash).json, *ROOTS[path])


@needs_schemas
@pytest.mark.parametrize("kind", ENDS)
@pytest.mark.parametrize("legs", [1, 2])
def test_every_answer_of_a_stream_conforms(kind: str, legs: int) -> None:
    """Before and after an activation, of one that was never activated too."""
    node = a_node(legs=legs)
    labels = {"senders": ("PGM", "Spare"), "receivers": ("MON", "codec")}[kind]
    for label in labels:
        where = place(node, kind, label)
        for _ in range(2):
            for end, schema in ENDS[kind].items():
                conforms(ask(node, "GET", where + end).json, "is-05", schema)
            assert staging(node, where, {"activation": NOW}).status == 200


REFUSED: list[tuple[str, str, int]] = [
    ("GET", "/x-nmos/node/v1.2/self", 404),
    ("GET", "/x-nmos/node/v1.3/things", 404),
    ("GET", "/x-nmos/node/v1.3//self", 404),
    ("GET", "/x-nmos/node/v1.3/self/x", 404),
    ("GET", "/x-nmos/node/v1.3/senders/x", 404),
    ("GET", f"{SINGLE}/senders/x/active", 404),
    ("GET", f"{SINGLE}/things", 404),
    ("GET", "/elsewhere", 404),
    ("PATCH", f"{SINGLE}/senders/x/staged", 404),
    ("PATCH", f"{SINGLE}/things/x/staged", 404),
    ("DELETE", "/x-nmos/node/v1.3/self", 405),
    ("GET", "/x-nmos/connection/v1.1/bulk/senders", 405),
    ("POST", "/x-nmos/connection/v1.1/bulk/senders", 400),
]


@pytest.mark.parametrize(("method", "path", "status"), REFUSED)
def test_refusals(method: str, path: str, status: int) -> None:
    """Each with a code, an error and what may help to find it."""
    body: Any = {} if method == "POST" else None
    found = ask(a_node(), method, path, body)
    assert found.status == found.json["code"] == status


@needs_schemas
@pytest.mark.parametrize(("method", "path", "status"), REFUSED)
@pytest.mark.parametrize("standard", ["is-04", "is-05"])
def test_refusals_conform(method: str, path: str, status: int, standard: str) -> None:
    """To the error schema that both standards share."""
    found = ask(a_node(), method, path, {} if method == "POST" else None)
    conforms(found.json, standard, "error")
    assert found.json["code"] == status


def test_below_a_stream() -> None:
    """A receiver has no transport file; nothing stands below what does."""
    node = a_node()
    sender, receiver = place(node, "senders", "PGM"), place(node, "receivers", "MON")
    own = receiver.rpartition("/")[2]
    for path in (f"{receiver}/transportfile", f"{sender}/active/x"):
        assert ask(node, "GET", path).status == 404
    assert ask(node, "GET", f"/x-nmos/node/v1.3/receivers/{own}/x").status == 404
    target = f"/x-nmos/node/v1.3/receivers/{own}/target"
    for method, status in (("PUT", 501), ("OPTIONS", 200), ("GET", 405)):
        assert ask(node, method, target).status == status
    assert ask(node, "PUT", "/x-nmos/node/v1.3/receivers/x/target").status == 404
    assert ask(node, "PUT", f"{sender}/staged", {}).status == 405


def test_the_transport_file() -> None:
    """A session description, as plain text of its own type."""
    node = a_node()
    found = ask(node, "GET", f"{place(node, 'senders', 'PGM')}/transportfile")
    assert dict(found.headers)["content-type"] == "application/sdp"
    assert b"c=IN IP4 239.194.1.155/32" in found.body


def test_slots_by_id() -> None:
    """Only of senders and receivers."""
    node = a_node()
    own = place(node, "senders", "PGM").rpartition("/")[2]
    known = node.shown(8080)
    assert shown.slot_of(known, "senders", own) == "program"
    with pytest.raises(shown.Refused):
        shown.slot_of(known, "receivers", own)
