"""The simulated devices' patches against the standards' own examples."""

import json
from typing import Any

import pytest

from mocks.makes.patches import merged, patched
from mocks.messages import Problem

# RFC 7396, Appendix A: original, patch, result.
RFC_7396_APPENDIX_A = """
{"a":"b"} {"a":"c"} {"a":"c"}
{"a":"b"} {"b":"c"} {"a":"b","b":"c"}
{"a":"b"} {"a":null} {}
{"a":"b","b":"c"} {"a":null} {"b":"c"}
{"a":["b"]} {"a":"c"} {"a":"c"}
{"a":"c"} {"a":["b"]} {"a":["b"]}
{"a":{"b":"c"}} {"a":{"b":"d","c":null}} {"a":{"b":"d"}}
{"a":[{"b":"c"}]} {"a":[1]} {"a":[1]}
["a","b"] ["c","d"] ["c","d"]
{"a":"b"} ["c"] ["c"]
{"a":"foo"} null null
{"a":"foo"} "bar" "bar"
{"e":null} {"a":1} {"e":null,"a":1}
[1,2] {"a":"b","c":null} {"a":"b"}
{} {"a":{"bb":{"ccc":null}}} {"a":{"bb":{}}}
"""


@pytest.mark.parametrize("line", RFC_7396_APPENDIX_A.strip().splitlines())
def test_merge_patch_appendix_a(line: str) -> None:
    """RFC 7396, Appendix A, each of its fifteen cases."""
    original, patch, result = map(json.loads, line.split(" "))
    before = json.dumps(original)
    assert merged(original, patch) == result
    assert json.dumps(original) == before


# RFC 6902, Appendix A: number, document, patch, result.
RFC_6902_APPENDIX_A: list[tuple[str, Any, Any, Any]] = [
    ("A.1", {"foo": "bar"}, [{"op": "add", "path": "/baz", "value": "qux"}],
     {"baz": "qux", "foo": "bar"}),
    ("A.2", {"foo": ["bar", "baz"]}, [{"op": "add", "path": "/foo/1", "value": "qux"}],
     {"foo": ["bar", "qux", "baz"]}),
    ("A.3", {"baz": "qux", "foo": "bar"}, [{"op": "remove", "path": "/baz"}], {"foo": "bar"}),
    ("A.4", {"foo": ["bar", "qux", "baz"]}, [{"op": "remove", "path": "/foo/1"}],
     {"foo": ["bar", "baz"]}),
    ("A.5", {"baz": "qux", "foo": "bar"}, [{"op": "replace", "path": "/baz", "value": "boo"}],
     {"baz": "boo", "foo": "bar"}),
    ("A.6", {"foo": {"bar": "baz", "waldo": "fred"}, "qux": {"corge": "grault"}},
     [{"op": "move", "from": "/foo/waldo", "path": "/qux/thud"}],
     {"foo": {"bar": "baz"}, "qux": {"corge": "grault", "thud": "fred"}}),
    ("A.7", {"foo": ["all", "grass", "cows", "eat"]},
     [{"op": "move", "from": "/foo/1", "path": "/foo/3"}],
     {"foo": ["all", "cows", "eat", "grass"]}),
    ("A.8", {"baz": "qux", "foo": ["a", 2, "c"]},
     [{"op": "test", "path": "/baz", "value": "qux"}, {"op": "test", "path": "/foo/1", "value": 2}],
     {"baz": "qux", "foo": ["a", 2, "c"]}),
    ("A.10", {"foo": "bar"}, [{"op": "add", "path": "/child", "value": {"grandchild": {}}}],
     {"foo": "bar", "child": {"grandchild": {}}}),
    ("A.11", {"foo": "bar"}, [{"op": "add", "path": "/baz", "value": "qux", "xyz": 123}],
     {"foo": "bar", "baz": "qux"}),
    ("A.14", {"/": 9, "~1": 10}, [{"op": "test", "path": "/~01", "value": 10}],
     {"/": 9, "~1": 10}),
    ("A.16", {"foo": ["bar"]}, [{"op": "add", "path": "/foo/-", "value": ["abc", "def"]}],
     {"foo": ["bar", ["abc", "def"]]}),
]  # fmt: skip


@pytest.mark.parametrize(("number", "document", "patch", "result"), RFC_6902_APPENDIX_A)
def test_json_patch_appendix_a(number: str, document: Any, patch: Any, result: Any) -> None:
    """RFC 6902, Appendix A: what can be done gives what is printed there."""
    before = json.dumps(document)
    assert patched(document, patch) == result, number
    assert json.dumps(document) == before


@pytest.mark.parametrize(
    ("number", "document", "patch", "status"),
    [
        ("A.9", {"baz": "qux"}, [{"op": "test", "path": "/baz", "value": "bar"}], 409),
        ("A.12", {"foo": "bar"}, [{"op": "add", "path": "/baz/bat", "value": "qux"}], 409),
        ("A.15", {"/": 9, "~1": 10}, [{"op": "test", "path": "/~01", "value": "10"}], 409),
        ("section 5", {"a": 1}, [{"op": "replace", "path": "/a/b", "value": 1}], 409),
        ("section 4", {"a": 1}, [{"op": "spam", "path": "/a"}], 400),
        ("section 4", {"a": 1}, [{"op": "add"}], 400),
        ("section 4", {"a": 1}, [{"op": "remove", "path": "a"}], 400),
        ("section 3", {"a": 1}, {"op": "remove", "path": "/a"}, 400),
        ("4.1", {"a": [1]}, [{"op": "add", "path": "/a/9", "value": 1}], 409),
    ],
)
def test_json_patch_errors(number: str, document: Any, patch: Any, status: int) -> None:
    """RFC 6902: what can't be done is an error, and nothing has changed."""
    before = json.dumps(document)
    with pytest.raises(Problem) as caught:
        patched(document, patch)
    assert caught.value.response.status == status, number
    assert json.dumps(document) == before


def test_a_failing_test_undoes_what_came_before_it() -> None:
    """RFC 6902, section 5: all or nothing."""
    held = {"a": 1, "b": 2}
    with pytest.raises(Problem):
        patched(
            held,
            [
                {"op": "replace", "path": "/a", "value": 9},
                {"op": "test", "path": "/b", "value": True},
            ],
        )
    assert held == {"a": 1, "b": 2}


def test_the_whole_document_can_be_meant() -> None:
    """RFC 6901: the empty pointer is the whole document; copies are apart from their originals."""
    assert patched({"a": 1}, [{"op": "replace", "path": "", "value": [1]}]) == [1]
    made = patched(
        {"a": {"x": 1}},
        [
            {"op": "copy", "from": "/a", "path": "/b"},
            {"op": "add", "path": "/b/x", "value": 2},
        ],
    )
    assert made == {"a": {"x": 1}, "b": {"x": 2}}


def test_values_are_compared_as_json() -> None:
    """RFC 6902, 4.6: 1 is not true, members have no order, a list has one."""
    held = {"a": {"x": 1, "y": [1, 2]}}
    same = {"y": [1, 2], "x": 1}
    assert patched(held, [{"op": "test", "path": "/a", "value": same}]) == held
    for other in ({"x": True, "y": [1, 2]}, {"x": 1, "y": [2, 1]}, {"x": 1}, 1):
        with pytest.raises(Problem):
            patched(held, [{"op": "test", "path": "/a", "value": other}])
