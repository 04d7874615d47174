import pytest

from mocks.load import WorldError, read_world, world_of
from mocks.site import Span
from mocks.state import Source

GOOD = {
    "networks": {"media": {"subnet": "127.44.3.0/24"}},
    "devices": {
        "north": {
            "make": "corvid",
            "model": "CE-40",
            "serial": "CV-1",
            "firmware": "4.1.2",
            "address": "127.44.3.31",
            "prefix": 24,
            "sign_in": {"user": "u", "secret": "s"},
        }
    },
}


def test_reads_the_small_world(world_text: str, net: str) -> None:
    """Everything that stands in the file stands in the world, with the defaults filled in."""
    file = read_world(world_text)
    north, _, node = file.devices[:3]
    assert (file.port, north.make, node.make) == (0, "corvid", "tamarisk")
    assert north.unit.settle_s == 0.15
    assert north.memory.running.lan.gateway == f"{net}.1"
    assert north.memory.running.sources["program-1"].group == "239.194.1.55:5004"
    assert north.memory.running.destinations["codec-1"].group == "239.194.1.165:5004"
    assert node.memory.running.settings == {"ptp_domain": 0, "ptp_priority": 128}
    assert file.site.networks[0].transit_numbers == (Span(2990, 2999),)
    assert file.site.meant == {"south/codec-1": frozenset({"fresh/program-1"})}
    assert file.site.on_air == {"feed/1"}


def test_the_least_world() -> None:
    """A world needs networks and devices; its port is 8080 unless it says otherwise."""
    assert world_of(GOOD).port == 8080
    assert world_of({}).devices == ()


def test_connector_names_mean_slots(world_text: str) -> None:
    """On a TN-8, output-1 is the receiver in slot 1 and input-1 the sender in slot 1."""
    text = world_text.replace("on_air: [feed/1]", "on_air: [feed/output-1]")
    text = text.replace("[fresh/program-1]", "[node/input-2]")
    site = read_world(text).site
    assert site.on_air == {"feed/1"}
    assert site.meant == {"south/codec-1": frozenset({"node/2"})}


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("port: 0", "port: -1", "no whole number"),
        ("port: 0", "port: [", "no YAML"),
        ("port: 0", "port: 0\nport: 1", "line 3: 'port' stands twice"),
        ("port: 0", "prot: 0", "did you mean 'port'"),
        ("port: 0", "zzz: 0", "known: port"),
        ("bench: true", "bench: 1", "neither true nor false"),
        (".0/25", ".1/25", "networks: media: subnet"),
        ("2990-2999", "many", "no range"),
        ("off_limits: [alert]", "off_limits: [elarm]", "no device 'elarm'"),
        ("off_limits: [alert]", "off_limits: alert", "a list is wanted"),
        ("on_air: [feed/1]", "on_air: [feed]", "no device/slot"),
        ("on_air: [feed/1]", "on_air: [feed/9]", "no destination '9'"),
        ("[fresh/program-1]", "[fresh/codec-1]", "no source 'codec-1'"),
        ("make: corvid", "make: other", "there are corvid, tamarisk, marram"),
        ("model: CE-40, serial: CV-1", "serial: CV-1", "'model' is missing"),
        ("firmware: 4.1.2", "firmware: 4.1", "put it in quotes"),
        ("prefix: 25", "prefix: 99", "no prefix length"),
        (".31,", ".131,", "gateway"),
        ("secret: north-secret", "sceret: x", "did you mean 'secret'"),
        ("number: 311", "number: x", "no whole number"),
        ("number: 311", "group: 10.0.0.1:5004", "no multicast"),
        ("number: 311", "number: 311, group: 239.9.9.9:5004", "derives its groups"),
        ('group: "239.194.1.55:5004"', "number: 5", "listens by group"),
        ("sources:", "settle_s: soon, sources:", "no number of seconds"),
        ("sources:", "settings: {ptp_domain: 200}, sources:", "from 0 to 127"),
        ("sources:", "settings: {colour: 1}, sources:", "unknown key 'colour'"),
        ("sources:", "settings: 5, sources:", "a mapping is wanted"),
    ],
)
def test_errors_say_where_and_what(world_text: str, old: str, new: str, says: str) -> None:
    """Each mistake is refused, in words that name the place and what is wrong."""
    assert old in world_text
    with pytest.raises(WorldError, match=r"^my\.yaml: ") as caught:
        read_world(world_text.replace(old, new, 1), "my.yaml")
    assert says in str(caught.value)


def test_address_on_no_network() -> None:
    """A device must stand on one of the world's networks."""
    with pytest.raises(WorldError, match="on no network"):
        world_of({**GOOD, "networks": {}})


def test_an_nmos_node_keeps_groups_alone() -> None:
    """A number in the file is its group; it needs no sign-in, and may have a second leg."""
    unit = "make: nmos, model: SN-2, serial: SW-7, firmware: '1', address: 127.44.3.41, prefix: 24"
    head = "networks: {media: {subnet: 127.44.3.0/24}}\ndevices:\n  node:\n"
    more = "second_leg: 127.45.3.41, sources: {a: {number: 311}}"
    (device,) = read_world(f"{head}    {{{unit}, {more}}}\n").devices
    assert device.memory.running.sources["a"] == Source(0, "239.194.1.55:5004")
    assert device.memory.running.kept == {"second_leg": "127.45.3.41"}
    other = unit.replace("nmos", "corvid") + ", sign_in: {user: u, secret: s}"
    with pytest.raises(WorldError, match="a corvid has one leg"):
        read_world(f"{head}    {{{other}, second_leg: 127.45.3.41}}\n")
