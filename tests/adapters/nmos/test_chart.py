from orchestrator.adapters.nmos.chart import Chart, chart_of
from orchestrator.facility.plan import Device, Interface, Network, PlannedDestination, PlannedSource
from tests.adapters.makes import a_plan
from tests.planning.scenes import BENCH, MEDIA, group


def node(*interfaces: Interface) -> Device:
    """A node of the plan."""
    return Device(
        name="node",
        room="rack",
        interfaces=interfaces,
        sources={"a": PlannedSource(name="a", slot="PGM"), "b": PlannedSource(name="b")},
        destinations={"m": PlannedDestination(name="m", slot="MON")},
    )


def charted(*interfaces: Interface, networks: tuple[Network, ...] = (MEDIA, BENCH)) -> Chart:
    """What a plan with these networks says of a node."""
    plan = a_plan()
    object.__setattr__(plan, "networks", {network.name: network for network in networks})
    return chart_of(plan, node(*interfaces))


MAIN = Interface("main", "media", "127.44.3.41")


def test_the_plans_names_are_the_nodes_own_unless_it_says_otherwise() -> None:
    """A slot is a label or an id; without one, the plan's name is tried as such."""
    chart = charted(MAIN)
    assert chart.sources == {"a": "PGM", "b": "b"}
    assert chart.destinations == {"m": "MON"}
    assert chart.addresses == ("127.44.3.41",)


def test_numbers_are_those_of_its_network() -> None:
    """The inverse of the rule by which a number has its group."""
    assert charted(MAIN).number_of((group(411), group(411))) == 411
    assert charted(MAIN).number_of((None, "239.1.2.3:5004")) is None


def test_on_a_bench_numbers_are_those_of_the_network_it_is_planned_on() -> None:
    """A bench has no numbering of its own."""
    at_bench = Interface("main", "media", "127.0.2.41")
    assert charted(at_bench).number_of((group(411),)) == 411


def test_without_numbering_there_are_no_numbers() -> None:
    """Groups are shown alone then."""
    bench = Interface("main", "bench", "127.0.2.41")
    assert charted(bench, networks=(BENCH,)).number_of((group(411),)) is None
    assert charted(bench, networks=()).number_of((group(411),)) is None
    assert Chart().number_of((group(411),)) is None


def test_prefix_lengths_come_from_the_plan() -> None:
    """IS-04 tells none; an address on no network of the plan stands alone."""
    assert charted(MAIN).prefix_of("127.44.3.9") == 24
    assert charted(MAIN).prefix_of("192.0.2.9") == 32
    assert Chart().prefix_of("127.44.3.9") == 32
