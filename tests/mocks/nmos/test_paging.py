"""The worked examples are those of AMWA IS-04 v1.3, "APIs: Query Parameters", Pagination."""

import pytest

from mocks.nmos.paging import Entry, Instant, instant_of, page, written

ENTRIES = [Entry((0, number), {"at": number}) for number in range(1, 21)]
LIMIT = 10


def shown(
    entries: list[Entry], newest: int, limit: int = LIMIT, **bounds: Instant
) -> tuple[list[int], str, str]:
    """What a page holds, and its two bounds, as the examples write them."""
    found = page(entries, (0, newest), limit, **bounds)
    return [one["at"] for one in found.resources], written(found.since), written(found.until)


@pytest.mark.parametrize(
    ("limit", "bounds", "held", "since", "until"),
    [
        pytest.param(10, {}, range(20, 10, -1), "0:10", "0:20", id="example 1"),
        pytest.param(5, {}, range(20, 15, -1), "0:15", "0:20", id="example 2"),
        pytest.param(10, {"since": (0, 4)}, range(14, 4, -1), "0:4", "0:14", id="example 3"),
        pytest.param(10, {"until": (0, 16)}, range(16, 6, -1), "0:6", "0:16", id="example 4"),
        pytest.param(
            10,
            {"since": (0, 4), "until": (0, 16)},
            range(14, 4, -1),
            "0:4",
            "0:14",
            id="example 5",
        ),
    ],
)
def test_published_examples(
    limit: int, bounds: dict[str, Instant], held: range, since: str, until: str
) -> None:
    """Examples 1 to 5: what is held, in which order, and the bounds that are told."""
    assert shown(ENTRIES, 20, limit, **bounds) == (list(held), since, until)


def test_published_edge_cases() -> None:
    """Edge cases 1 to 4: before the first, after the last, and with a filter."""
    late = [Entry((0, 21), {"at": 21}), Entry((0, 22), {"at": 22})]
    assert shown(late, 22, until=(0, 20)) == ([], "0:0", "0:20")
    assert shown(ENTRIES[-2:], 20, since=(0, 20)) == ([], "0:20", "0:20")
    assert shown([ENTRIES[14]], 20) == ([15], "0:0", "0:20")
    assert shown([], 20) == ([], "0:0", "0:20")


def test_published_headers() -> None:
    """The headers of example 1, and of edge case 3 with its filter."""
    url = "http://api.example.com/x-nmos/query/v1.1/nodes/"
    headers = dict(page(ENTRIES, (0, 20), LIMIT).headers(url, {}))
    assert headers["link"] == (
        f'<{url}?paging.since=0:20&paging.limit=10>; rel="next", '
        f'<{url}?paging.until=0:10&paging.limit=10>; rel="prev"'
    )
    assert headers["x-paging-limit"] == "10"
    assert (headers["x-paging-since"], headers["x-paging-until"]) == ("0:10", "0:20")
    filtered = dict(page([ENTRIES[14]], (0, 20), LIMIT).headers(url, {"label": "My Node"}))
    assert f"<{url}?label=My+Node&paging.since=0:20&paging.limit=10>" in filtered["link"]


def test_to_walk_back_gives_each_once() -> None:
    """By the older bound of each page, until one comes empty."""
    seen: list[int] = []
    until = (0, 20)
    while until > (0, 0):
        held = page(ENTRIES, (0, 20), 7, until=until)
        seen += [one["at"] for one in held.resources]
        until = held.since
    assert seen == list(range(20, 0, -1))


@pytest.mark.parametrize("text", ["", "7", "7:", ":7", "a:b", "-1:0", "1:2:3", "\u0661:\u0662"])
def test_no_instant(text: str) -> None:
    """What is no seconds:nanoseconds is refused."""
    with pytest.raises(ValueError, match="no seconds:nanoseconds"):
        instant_of(text)
