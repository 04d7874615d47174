import pytest

from mocks.restconf.errors import STATUS, Refused, answered
from tests.yang_models import check_message

ALLOWED = {
    "in-use": {409},
    "lock-denied": {409},
    "resource-denied": {409},
    "data-exists": {409},
    "data-missing": {409},
    "invalid-value": {400, 404, 406},
    "too-big": {400, 413},
    "missing-attribute": {400},
    "bad-attribute": {400},
    "unknown-attribute": {400},
    "missing-element": {400},
    "bad-element": {400},
    "unknown-element": {400},
    "unknown-namespace": {400},
    "access-denied": {401, 403},
    "rollback-failed": {500},
    "operation-not-supported": {405, 501},
    "operation-failed": {412, 500},
    "partial-operation": {500},
    "malformed-message": {400},
}
"""The table of RFC 8040, section 7."""


def test_each_tag_has_a_status_of_the_standards_table() -> None:
    """RFC 8040, section 7."""
    assert STATUS.keys() - ALLOWED.keys() == set()
    assert all(STATUS[tag] in ALLOWED[tag] for tag in STATUS)


@pytest.mark.parametrize("tag", sorted(STATUS))
def test_an_error_document_is_the_standards(tag: str) -> None:
    """By the module ietf-restconf (RFC 8040, section 8), with a path and without."""
    for path in ("", "/ietf-interfaces:interfaces"):
        refused = Refused(tag, "because", path)
        assert refused.response.status == STATUS[tag]
        document = refused.response.json
        assert document["ietf-restconf:errors"]["error"][0].get("error-path", "") == path
        check_message(document)


def test_an_answer_without_a_body_says_no_type() -> None:
    """204 carries nothing (RFC 9110, 15.3.5)."""
    assert answered(204, None).headers == ()
