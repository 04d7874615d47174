from ipaddress import IPv4Network

from mocks.site import Network, Site, Span, addresses_of

MEDIA = Network("media", IPv4Network("127.44.3.0/24"), transit_numbers=(Span(2990, 2999),))
BENCH = Network("bench", IPv4Network("127.44.3.128/25"), bench=True)
SITE = Site((MEDIA, BENCH))


def test_narrowest_network_wins() -> None:
    """An address belongs to the narrowest subnet that holds it; elsewhere it is on none."""
    assert SITE.network("127.44.3.5") is MEDIA
    assert SITE.network("127.44.3.200") is BENCH
    assert SITE.network("127.44.4.5") is None


def test_a_bench_is_not_the_facility() -> None:
    """What stands on a bench, or nowhere, is on no facility network."""
    assert SITE.facility("127.44.3.5") is MEDIA
    assert SITE.facility("127.44.3.200") is None
    assert SITE.facility("127.44.4.5") is None


def test_spans_hold_both_ends() -> None:
    """Both ends of a range belong to it."""
    assert [MEDIA.is_transit_number(n) for n in (2989, 2990, 2999, 3000)] == [
        False,
        True,
        True,
        False,
    ]
    first = (127 << 24) + (44 << 16) + (3 << 8) + 230
    network = Network("m", MEDIA.subnet, transit_addresses=(Span(first, first + 1),))
    assert list(addresses_of(network.transit_addresses)) == ["127.44.3.230", "127.44.3.231"]
    assert network.is_transit_address("127.44.3.231")
    assert not network.is_transit_address("127.44.3.232")
