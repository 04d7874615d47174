import json

import pytest

from mocks.restconf.errors import STATUS, Refused
from orchestrator.adapters.http.answers import own_words
from orchestrator.adapters.http.messages import Response
from orchestrator.adapters.restconf.errors import PASSING, TAGS, errors_in, passes, said

LOCKED = {
    "ietf-restconf:errors": {
        "error": [
            {
                "error-type": "protocol",
                "error-tag": "lock-denied",
                "error-message": "Lock failed, lock already held",
            }
        ]
    }
}
"""The example of RFC 8040, section 7.1, as this project's notes have it."""


def test_the_standards_example_is_told_whole() -> None:
    """Type, tag, its meaning and the message."""
    assert said(LOCKED) == (
        "lock-denied (somebody else has locked it, in the protocol): Lock failed, lock already held"
    )


@pytest.mark.parametrize("tag", sorted(STATUS))
def test_every_tag_of_the_standard_has_words(tag: str) -> None:
    """RFC 8040, section 7: none of its tags is shown bare."""
    words = said(Refused(tag, "because", "/ietf-interfaces:interfaces").response.json)
    assert words.startswith(f"{tag} ({TAGS[tag]}, on the device): because at /ietf-interfaces")


def test_a_tag_that_is_not_known_is_shown_as_it_is() -> None:
    """A maker may have tags of its own, and an error may lack everything."""
    made = {"ietf-restconf:errors": {"error": [{"error-tag": "odd"}, {}, {"error-message": "x"}]}}
    assert said(made) == "odd; an error; an error: x"


def test_the_errors_of_a_yang_patch_are_found_where_they_stand() -> None:
    """RFC 8072, section 2.3: for the whole patch, or for each edit."""
    error = LOCKED["ietf-restconf:errors"]
    for inside in (
        {"errors": error},
        {"edit-status": {"edit": [{"errors": error}, {"ok": [None]}]}},
    ):
        status = {"ietf-yang-patch:yang-patch-status": {"patch-id": "1", **inside}}
        assert errors_in(status) == error["error"]
    fine = {"ietf-yang-patch:yang-patch-status": {"patch-id": "1", "ok": [None]}}
    assert errors_in(fine) == []


@pytest.mark.parametrize("odd", [None, [], "x", {"ietf-restconf:errors": [1]}, {"a": 1}])
def test_what_is_no_error_document_has_no_errors(odd: object) -> None:
    """Nothing is made of it, and nothing breaks."""
    assert errors_in(odd) == []
    assert said(odd) == ""
    assert not passes(odd)


def test_only_what_another_client_holds_passes_by_itself() -> None:
    """A lock, and a commit that another client has not confirmed (RFC 8040, 1.4)."""
    assert passes(LOCKED)
    assert {"lock-denied", "in-use"} == PASSING
    assert not passes(Refused("data-exists", "x").response.json)
    both = {"ietf-restconf:errors": {"error": [{"error-tag": "in-use"}, {"error-tag": "too-big"}]}}
    assert not passes(both)


def test_many_errors_are_counted() -> None:
    """A line has an end."""
    made = {"ietf-restconf:errors": {"error": [{"error-tag": "odd"}] * 5}}
    assert said(made) == "odd; odd; odd; and 2 more"


def test_the_words_reach_whoever_reads_an_answer() -> None:
    """The one place that words answers knows the document too."""
    response = Response(status=409, body=json.dumps(LOCKED).encode())
    assert own_words(response) == said(LOCKED)
