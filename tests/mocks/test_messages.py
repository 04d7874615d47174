import pytest

from mocks.messages import Problem, Request, answer


@pytest.mark.parametrize(
    ("path", "segments"),
    [
        ("/streams", ("streams",)),
        ("/streams/a%2Fb", ("streams", "a/b")),
        ("/a%20b?x=1/2", ("a b",)),
        ("/", ("",)),
    ],
)
def test_segments_are_decoded_one_by_one(path: str, segments: tuple[str, ...]) -> None:
    """RFC 3986, 2.4: a path is split before it is decoded; the query is no part of it."""
    assert Request("GET", path).segments == segments


def test_what_writes() -> None:
    """RFC 9110, 9.2.1: GET, HEAD and OPTIONS are safe; the rest may change something."""
    assert [m for m in ("GET", "HEAD", "OPTIONS", "PUT", "POST") if Request(m, "/").writes] == [
        "PUT",
        "POST",
    ]


def test_answers_are_json() -> None:
    """An answer says that it is JSON, and a problem is an answer too."""
    assert answer(200, {"a": 1}).json == {"a": 1}
    problem = Problem(409, "no", (("allow", "GET"),)).response
    assert (problem.status, problem.json) == (409, {"problem": "no"})
    assert dict(problem.headers) == {"content-type": "application/json", "allow": "GET"}
