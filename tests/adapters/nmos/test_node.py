import json
from typing import Any

import pytest

from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.nmos import node as node_of
from orchestrator.adapters.nmos.node import Place
from orchestrator.facility.found import Identity
from tests.adapters.nodes import ADDRESS, BASE, CONTROL, DEVICE, NODE_API, SENDERS, answers, stream
from tests.amwa import STANDARDS, needs_schemas

HOSTS = frozenset({ADDRESS})
APIS = {DEVICE: Place(BASE, 8088)}
TAG = "urn:x-nmos:tag:asset:"
OWN_ID = "3b8be755-08ff-452b-b217-c9151eb21193"


def example(name: str) -> Any:
    """A published example of AMWA IS-04 v1.3."""
    path = STANDARDS / "is-04" / "examples" / f"nodeapi-{name}-get-200.json"
    return json.loads(path.read_text(encoding="utf-8"))


def test_identity_by_its_tags() -> None:
    """Instance-id is the serial and product the model, by BCP-002-02."""
    found = node_of.identity(answers()[f"{NODE_API}/self"])
    assert found == Identity(serial="SW-7", model="SN-2")


def test_the_worked_example_of_the_tags() -> None:
    """The placeholder words of BCP-002-02 v1.0.0."""
    tags = {
        f"{TAG}manufacturer/v1.0": ["Acme"],
        f"{TAG}product/v1.0": ["Widget Pro"],
        f"{TAG}instance-id/v1.0": ["XYZ123-456789"],
    }
    found = node_of.identity({"id": OWN_ID, "label": "x", "tags": tags})
    assert found == Identity(serial="XYZ123-456789", model="Widget Pro")


@pytest.mark.parametrize(
    "tags",
    [
        None,
        [],
        {},
        {f"{TAG}product/v1.0": ["SN-2"]},
        {f"{TAG}product/v1.0": ["SN-2"], f"{TAG}instance-id/v1.0": []},
        {f"{TAG}product/v1.0": ["SN-2"], f"{TAG}instance-id/v1.0": ["a", "b"]},
        {f"{TAG}product/v1.0": ["SN-2"], f"{TAG}instance-id/v1.0": "SW-7"},
        {f"{TAG}product/v1.0": ["SN-2"], f"{TAG}instance-id/v1.0": [7]},
        {f"{TAG}product/v1.0": ["SN-2"], f"{TAG}instance-id/v1.0": [" "]},
    ],
)
def test_without_both_tags_it_is_known_by_its_id(tags: Any) -> None:
    """Which it keeps for all time; each tag has just one value."""
    found = node_of.identity({"id": OWN_ID, "label": "Rack node", "tags": tags})
    assert found == Identity(serial=OWN_ID, model="Rack node")


def test_a_node_without_a_label_has_a_model_still() -> None:
    """A label may be empty."""
    assert node_of.identity({"id": OWN_ID, "label": ""}).model == "NMOS node"


@pytest.mark.parametrize("node", [None, [], "x", {}, {"id": 5, "label": ""}, {"id": OWN_ID}])
def test_a_node_without_id_or_label_is_unusable(node: Any) -> None:
    """Both are required in IS-04."""
    with pytest.raises(Unusable):
        node_of.identity(node)


def test_its_own_hosts() -> None:
    """Those of its endpoints, and its name; what makes no sense is passed over."""
    api = {"endpoints": [{"host": "192.0.2.1"}, {"host": 5}, "x", {}]}
    assert node_of.own_hosts({"api": api, "hostname": "Rack.local"}) == {"192.0.2.1", "rack.local"}
    assert node_of.own_hosts({"api": [], "hostname": None}) == frozenset()
    assert node_of.own_hosts({"api": {"endpoints": None}}) == frozenset()


def test_interface_names() -> None:
    """In the node's order; a node may tell none."""
    assert node_of.interface_names({"interfaces": [{"name": "b"}, {"name": "a"}]}) == ("b", "a")
    assert node_of.interface_names({}) == ()
    with pytest.raises(Unusable):
        node_of.interface_names({"interfaces": [{}]})


@pytest.mark.parametrize(
    ("href", "place"),
    [
        (f"http://{ADDRESS}/x/", Place("/x/", 80)),
        (f"http://{ADDRESS}:8088/x", Place("/x", 8088)),
        (f"http://{ADDRESS}/x?a=b", Place("/x?a=b", 80)),
        (f"https://{ADDRESS}/x", None),
        ("http://192.0.2.9/x", None),
        (f"http://{ADDRESS}@192.0.2.9/x", None),
        (f"http://user@{ADDRESS}/x", None),
        (f"http://{ADDRESS}:many/x", None),
        (f"http://{ADDRESS}:70000/x", None),
        ("http://[::1/x", None),
        ("/x", None),
        ("", None),
    ],
)
def test_places_on_the_node_itself(href: str, place: Place | None) -> None:
    """Plain HTTP, and no other host; the default port is 80 (RFC 9110, 4.2.1)."""
    assert node_of.own_place(href, HOSTS) == place


@pytest.mark.parametrize(
    ("location", "place"),
    [
        ("/x/y/", Place("/x/y/", 80)),
        ("z", Place("/x/z", 80)),
        (f"//{ADDRESS}:81/z", Place("/z", 81)),
        ("//192.0.2.9/z", None),
        ("//[::1/z", None),
        ("", None),
    ],
)
def test_where_a_redirect_leads(location: str, place: Place | None) -> None:
    """Absolute or relative, and nowhere but to the node itself."""
    assert node_of.moved_to(f"http://{ADDRESS}/x/y", location, HOSTS) == place


def test_the_connection_api_is_taken_from_the_controls() -> None:
    """The first of that very version that is on the node; a slash at the end may be there."""

    def found(*controls: Any) -> Place | None:
        devices = [{"id": DEVICE, "controls": list(controls)}]
        return node_of.apis_of(devices, HOSTS)[DEVICE]

    own = {"type": CONTROL, "href": f"http://{ADDRESS}:8088{BASE}/"}
    old = {"type": CONTROL.replace("1.1", "1.0"), "href": f"http://{ADDRESS}/old"}
    away = {"type": CONTROL, "href": "http://192.0.2.9/x-nmos/connection/v1.1"}
    assert found(old, away, own) == Place(BASE, 8088)
    assert found({**own, "type": f"{CONTROL}/"}) == Place(BASE, 8088)
    assert found(old, away, "x", {"href": "x"}, {"type": 5}) is None
    assert found() is None
    assert node_of.apis_of([{"id": DEVICE}], HOSTS) == {DEVICE: None}


@pytest.mark.parametrize(
    "devices", [{}, [[]], [{}], [{"id": DEVICE, "controls": [{"type": CONTROL}]}]]
)
def test_devices_that_make_no_sense(devices: Any) -> None:
    """No list, no object, no id, a control that leads nowhere."""
    with pytest.raises(Unusable):
        node_of.apis_of(devices, HOSTS)


def names(listed: Any, **own_names: str) -> dict[str, str]:
    """The ids of senders by the names that they get."""
    found = node_of.streams(listed, "senders", APIS, own_names)
    return {name: one.id for name, one in found.items()}


def test_streams_go_by_label_or_id() -> None:
    """The plan may name either; without a label, or with a shared one, it is the id."""
    two = [stream(SENDERS[0], "PGM"), stream(SENDERS[1], "Spare")]
    assert names(two) == {"PGM": SENDERS[0], "Spare": SENDERS[1]}
    assert names(two, air=SENDERS[0], b="Spare") == {"air": SENDERS[0], "b": SENDERS[1]}
    same = [stream(SENDERS[0], "PGM"), stream(SENDERS[1], "PGM")]
    assert names(same) == {own: own for own in SENDERS}
    assert names(same, air=SENDERS[1]) == {SENDERS[0]: SENDERS[0], "air": SENDERS[1]}
    assert names([stream(SENDERS[0], "")]) == {SENDERS[0]: SENDERS[0]}


def test_no_stream_is_lost_behind_anothers_name() -> None:
    """A plan's name that is another's label is said, not swallowed."""
    two = [stream(SENDERS[0], "PGM"), stream(SENDERS[1], "air")]
    with pytest.raises(Unusable, match="two of its senders go by the name 'air'"):
        names(two, air="PGM")


def test_a_stream_knows_where_it_is_managed() -> None:
    """Below the Connection API of its device."""
    listed = [stream(SENDERS[0], "PGM", interface_bindings=["eth0", "eth1", 5])]
    one = node_of.streams(listed, "senders", APIS, {})["PGM"]
    assert one.place == Place(f"{BASE}/single/senders/{SENDERS[0]}", 8088)
    assert one.place.at("active").path == f"{BASE}/single/senders/{SENDERS[0]}/active"
    assert (one.label, one.bindings) == ("PGM", ("eth0", "eth1"))


def test_other_transports_are_passed_over() -> None:
    """They hold no group, even where their device has no Connection API."""
    other = stream(SENDERS[0], "x", transport="urn:x-nmos:transport:mqtt", device_id="none")
    assert names([other]) == {}


@pytest.mark.parametrize(
    "entry",
    [
        {},
        stream(SENDERS[0], "x", device_id="another"),
        stream("../../x", "x"),
        stream(SENDERS[0], "x") | {"label": None},
        "x",
    ],
)
def test_streams_that_make_no_sense(entry: Any) -> None:
    """One that can't be read is not left out: it would hold a group that nobody sees."""
    with pytest.raises(Unusable):
        names([entry])


@needs_schemas
def test_the_published_examples_are_read() -> None:
    """The examples of AMWA IS-04 v1.3."""
    node = example("self")
    assert node_of.identity(node) == Identity(serial=node["id"], model=node["label"])
    hosts = node_of.own_hosts(node)
    assert hosts
    assert {one["id"] for one in example("devices")} == set(
        node_of.apis_of(example("devices"), hosts)
    )
    apis: dict[str, Place | None] = {
        one["device_id"]: Place(BASE) for kind in ("senders", "receivers") for one in example(kind)
    }
    for kind in ("senders", "receivers"):
        rtp = {one["id"] for one in example(kind) if "rtp" in one["transport"]}
        assert {one.id for one in node_of.streams(example(kind), kind, apis, {}).values()} == rtp


def test_over_tls_only_what_is_over_tls() -> None:
    """BCP-003-01: neither way is left for the other; without a port, it is the scheme's own."""
    href = f"https://{ADDRESS}/x-nmos/connection/v1.1/"
    assert node_of.own_place(href, HOSTS) is None
    assert node_of.own_place(href, HOSTS, "https") == Place("/x-nmos/connection/v1.1/", 443)
    assert node_of.own_place(href.replace("https", "http"), HOSTS, "https") is None
    moved = node_of.moved_to(f"https://{ADDRESS}/a", "/a/", HOSTS)
    assert moved == Place("/a/", 443)
    assert node_of.moved_to(f"https://{ADDRESS}/a", f"http://{ADDRESS}/a/", HOSTS) is None
