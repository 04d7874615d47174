import copy
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from mocks.makes.patches import merged
from orchestrator.adapters.declared.whole import differing, entity_tag, put_in
from orchestrator.adapters.http.json_pointer import Unusable

HELD = {"slots": [None, {"no": "CH-0421", "fmt": {"rate": 48, "bits": 24}}], "a/b": {"~": 1}}


@pytest.mark.parametrize(
    ("pointer", "members", "path", "value"),
    [
        ("/slots/1", {"no": "CH-0001"}, ["slots", 1, "no"], "CH-0001"),
        ("/slots/1", {"fmt": {"rate": 96}}, ["slots", 1, "fmt"], {"rate": 96, "bits": 24}),
        ("/slots/1", {"fmt": None}, ["slots", 1, "fmt"], None),
        ("/slots/1", {"new": [1, 2]}, ["slots", 1, "new"], [1, 2]),
        ("/a~1b", {"~": 2}, ["a/b", "~"], 2),
        ("", {"slots": []}, ["slots"], []),
    ],
)
def test_members_are_put_in_and_all_else_stays(
    pointer: str, members: Any, path: list[Any], value: Any
) -> None:
    """The one place is changed; everything beside it goes back as it was read."""
    before = copy.deepcopy(HELD)
    made = put_in(HELD, pointer, members)
    assert before == HELD
    expected: Any = copy.deepcopy(HELD)
    holder = expected
    for step in path[:-1]:
        holder = holder[step]
    holder[path[-1]] = value
    assert made == expected


JSON = st.recursive(
    st.integers() | st.text(max_size=3),
    lambda inner: st.dictionaries(st.text(max_size=2), inner, max_size=3) | st.lists(inner),
    max_leaves=8,
)


@given(st.dictionaries(st.text(max_size=2), JSON), st.dictionaries(st.text(max_size=2), JSON))
def test_without_null_it_is_what_a_merge_patch_does(held: Any, members: Any) -> None:
    """RFC 7396, as the simulated devices read it; null alone differs: it is put in, not taken."""
    assert put_in(held, "", members) == merged(held, members)
    assert put_in({"a": 1}, "", {"a": None}) == {"a": None}


@pytest.mark.parametrize("pointer", ["/slots/2", "/none", "/slots/-", "slots"])
def test_nothing_is_put_where_nothing_is(pointer: str) -> None:
    """An entry that is gone is not made anew."""
    with pytest.raises(Unusable):
        put_in(HELD, pointer, {"a": 1})


@pytest.mark.parametrize("tag", ['"xyzzy"', '""', '"a b"', 'W/"xyzzy"', "xyzzy", ""])
def test_only_a_strong_tag_stands_in_if_match(tag: str) -> None:
    """RFC 9110, 8.8.3 (its three examples and others) and 13.1.1: the comparison is strong."""
    if tag in ('"xyzzy"', '""'):
        assert entity_tag({"etag": tag}) == tag
    else:
        with pytest.raises(Unusable, match="ETag"):
            entity_tag({"etag": tag})


@pytest.mark.parametrize("tag", ['"a"\r\nX-Evil: 1', '"a", "b"', '"caf\u00e9"', '"a', "*"])
def test_a_tag_brings_no_header_of_its_own(tag: str) -> None:
    """What a device sends as its tag goes into one header, and ends there."""
    with pytest.raises(Unusable):
        entity_tag({"etag": tag})


def test_no_tag_is_told() -> None:
    """The description asks for something that the device does not give."""
    with pytest.raises(Unusable, match="has no ETag"):
        entity_tag({})


def test_what_differs_is_neither_found_nor_wanted() -> None:
    """A change that is half done is still ours; another value is another hand's."""
    found, wanted = {"number": 1, "group": "a"}, {"number": 2, "group": "b"}
    assert differing({"number": 1, "group": "a"}, found, wanted) == []
    assert differing({"number": 2, "group": "a"}, found, wanted) == []
    assert differing({"number": 3, "group": "c"}, found, wanted) == ["group", "number"]
    assert differing({"enabled": 1}, {"enabled": True}, {"enabled": False}) == ["enabled"]
    assert differing({"label": "x"}, {}, {}) == []
