import json
from collections.abc import Callable
from typing import Any

import pytest

from mocks.nmos.node import Nmos as MockNode
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.adapters.nmos.config import ConfigurationApi
from orchestrator.adapters.nmos.dialect import Nmos
from orchestrator.adapters.nmos.node import Place
from orchestrator.errors import Broken, Rejected
from orchestrator.facility.configuration import PutBack
from tests.adapters.makes import played
from tests.adapters.nodes import PARTY, answer_of
from tests.amwa import conforms, needs_schemas
from tests.mocks.nmos.test_configured import a_configurable_node
from tests.mocks.nodes import a_node

API = ConfigurationApi(PARTY, Place("/x-nmos/configuration/v1.0", 8088))


def taken(node: MockNode) -> dict[str, Any]:
    """Its whole configuration."""
    found, _ = played(Nmos(PARTY).configuration(), answer_of(node))
    return found


def answering(status: int, body: Any) -> Callable[[Request], Response]:
    """One answer to everything."""
    return lambda _: Response(status=status, body=json.dumps(body).encode())


@needs_schemas
def test_a_configuration_is_had_and_put_back() -> None:
    """What is sent conforms to AMWA IS-14 v1.0; to try is PATCH, to do is PUT."""
    node = a_configurable_node()
    ((device, data_set),) = taken(node).items()
    paths = [one["path"] for one in data_set["values"]]
    assert paths[:2] == [["root"], ["root", "DeviceManager"]]
    for only_try, method, name in ((True, "PATCH", "patch"), (False, "PUT", "put")):
        talk = Nmos(PARTY).put_back(device, data_set, only_try=only_try)
        results, asked = played(talk, answer_of(node))
        assert [one.path for one in results] == [".".join(path) for path in paths]
        assert all(one.done for one in results)
        assert [request.method for request in asked if not request.reads] == [method]
        conforms(asked[-1].body, "is-14", f"bulkProperties-{name}-request")


def test_a_node_that_offers_none() -> None:
    """It is asked for none, and takes none."""
    assert taken(a_node()) == {}
    with pytest.raises(Rejected, match="takes no configuration"):
        played(Nmos(PARTY).put_back("x", {}, only_try=True), answer_of(a_node()))


def test_each_object_has_its_own_status() -> None:
    """200 outside, and one that failed inside; the others are done. Notices are its own words."""
    held = {
        "status": 200,
        "value": [
            {"path": ["root"], "status": 200, "notices": [], "statusMessage": None},
            {
                "path": ["root", "gain"],
                "status": 400,
                "notices": [{"id": {}, "name": "gain", "noticeType": 400, "noticeMessage": "low"}],
                "statusMessage": "not restored",
            },
        ],
    }
    results, _ = played(API.put_back({}, only_try=False), answering(200, held))
    assert results == (
        PutBack(path="root", status=200),
        PutBack(path="root.gain", status=400, said=("not restored", "gain: low")),
    )


@pytest.mark.parametrize("inside", [400, 417, 500])
def test_the_status_inside_counts(inside: int) -> None:
    """Whatever stands outside, with its own words."""
    answer = answering(200, {"status": inside, "errorMessage": "the set is too old"})
    with pytest.raises(Rejected) as why:
        played(API.put_back({}, only_try=False), answer)
    assert why.value.said == f"{inside}: the set is too old"


@pytest.mark.parametrize(
    "body",
    [
        [],
        {},
        {"status": "200"},
        {"status": 200},
        {"status": 200, "value": {"values": []}},
        {"status": 200, "value": [7]},
        {"status": 200, "value": [{"path": "root", "status": 200}]},
        {"status": 200, "value": [{"path": ["root"]}]},
    ],
)
def test_what_makes_no_sense_is_broken(body: Any) -> None:
    """A backup without objects is none; of a restore, each object has to be told."""
    with pytest.raises(Broken):
        played(API.backup(), answering(200, body))
    with pytest.raises(Broken):
        played(API.put_back({}, only_try=False), answering(200, body))
