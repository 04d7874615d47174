from urllib.parse import unquote

import pytest
from hypothesis import given
from hypothesis import strategies as st

from orchestrator.adapters.declared.template import fill_body, fill_path, names_in, scalar_text
from orchestrator.adapters.declared.values import Unwritable
from orchestrator.facility.description import Json


def test_names_are_found_everywhere() -> None:
    """In paths, texts, lists, members and their names."""
    body = {"a": ["{one}", {"x-{two}": "{three}/{four}"}], "n": 1, "{five}": None}
    assert names_in(body) == {"one", "two", "three", "four", "five"}
    assert names_in("/api/tx/{key}") == {"key"}
    assert names_in(None) == frozenset()


def test_a_whole_placeholder_is_the_value_itself() -> None:
    """A number stays a number, null stays null; inside a text they are text."""
    values = {"number": 311, "gateway": None, "address": "127.0.0.1", "prefix": 24, "on": False}
    body = {"n": "{number}", "gw": "{gateway}", "a": "{address}/{prefix}", "t": ["{on}", "is {on}"]}
    assert fill_body(body, values) == {
        "n": 311,
        "gw": None,
        "a": "127.0.0.1/24",
        "t": [False, "is false"],
    }


def test_what_is_no_placeholder_stays() -> None:
    """Figures, null and braces of another kind are the body's own."""
    assert fill_body({"a": 1, "b": None, "c": "{}", "d": "{ x }"}, {}) == {
        "a": 1,
        "b": None,
        "c": "{}",
        "d": "{ x }",
    }


def test_a_value_is_not_filled_again() -> None:
    """A label that looks like a placeholder is a label."""
    assert fill_body({"name": "{label}"}, {"label": "{secret}", "secret": "x"}) == {
        "name": "{secret}"
    }


def test_a_missing_value_is_named() -> None:
    """The error names what the description asks for."""
    with pytest.raises(Unwritable, match="'number'"):
        fill_body({"n": "{number}"}, {})
    with pytest.raises(Unwritable, match="'gateway' can't stand inside a text"):
        fill_body("via {gateway}", {"gateway": None})


@pytest.mark.parametrize(
    ("key", "path"),
    [
        ("1", "/api/tx/1"),
        (7, "/api/tx/7"),
        ("mic 1", "/api/tx/mic%201"),
        ("a/b", "/api/tx/a%2Fb"),
        ("a?b#c", "/api/tx/a%3Fb%23c"),
        ("50%", "/api/tx/50%25"),
        ("é", "/api/tx/%C3%A9"),
        ("...", "/api/tx/..."),
    ],
)
def test_a_key_is_one_path_segment(key: str | int, path: str) -> None:
    """Percent-encoded in UTF-8 (RFC 3986, section 2.1 and 2.5), whatever a device calls things."""
    assert fill_path("/api/tx/{key}", {"key": key}) == path


@given(st.text(alphabet=st.characters(exclude_categories=["Cs"]), min_size=1))
def test_no_key_leaves_its_segment(key: str) -> None:
    """No key adds a segment, a query or a fragment, and decoding gives the key back."""
    if key in (".", "..") or "factory-reset" in key.lower():
        return
    path = fill_path("/api/{key}", {"key": key})
    assert path.count("/") == 2
    assert not set(path) & set("?#\\ \r\n")
    assert unquote(path.rpartition("/")[2]) == key


@pytest.mark.parametrize("key", ["", ".", "..", None, ["x"], {"x": 1}])
def test_keys_that_are_no_segment(key: object) -> None:
    """An empty key or a dot segment (RFC 3986, 5.2.4) would lead elsewhere; nothing is sent."""
    with pytest.raises(Unwritable):
        fill_path("/api/tx/{key}", {"key": key})


@pytest.mark.parametrize(
    "path", ["api", "@127.0.0.9/x", "", "/ops/factory-reset", "/x/Factory-Reset/now"]
)
def test_paths_that_are_never_asked_for(path: str) -> None:
    """No slash in front, or the operation of RFC 8808 that wipes a device."""
    with pytest.raises(Unwritable, match="no path that may be asked for"):
        fill_path(path, {})


def test_no_key_makes_a_factory_reset() -> None:
    """Nor does a device that calls a slot so."""
    with pytest.raises(Unwritable):
        fill_path("/ops/{key}", {"key": "factory-reset"})


@pytest.mark.parametrize(("value", "text"), [("x", "x"), (5, "5"), (True, "true"), (1.5, "1.5")])
def test_single_values_as_texts(value: Json, text: str) -> None:
    """Figures and truths as JSON writes them."""
    assert scalar_text("n", value) == text


@pytest.mark.parametrize("value", [None, [], {}])
def test_what_is_no_single_value(value: Json) -> None:
    """Nothing is made a text of that is none."""
    with pytest.raises(Unwritable, match="'n' can't stand inside a text"):
        scalar_text("n", value)
