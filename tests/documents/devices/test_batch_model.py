"""The shape of a batch in a device description."""

import pytest

from tests.documents.devices.test_model import MINIMUM, what

BATCH = "most: 4, method: POST, path: /m, body: '{each}', each: {disable: {on: 0}}"


def test_the_least_of_a_batch() -> None:
    """All or nothing, unless the answer tells of each."""
    assert what(f"{MINIMUM}batches: [{{{BATCH}}}]\n") == []


@pytest.mark.parametrize(
    ("old", "new", "said"),
    [
        ("most: 4", "most: 1", "1 is not between 2 and 1000"),
        ("method: POST", "method: DELETE", "'DELETE' can't stand here"),
        ("disable: {", "save: {", "'save' is not a key here"),
        ("each: {d", "answer: {entries: x, at: /y, done: [1]}, each: {d", "'x' is no JSON Pointer"),
        ("each: {d", "answer: {entries: /x, at: /y}, each: {d", "'done' is missing"),
        ("/m,", "/factory-reset,", "a factory reset may not be listed"),
        ("disable: {on: 0}", "disable: {to: factory-reset}", "a factory reset may not be listed"),
    ],
)
def test_what_does_not_fit(old: str, new: str, said: str) -> None:
    """Each with one message."""
    assert said in what(f"{MINIMUM}batches: [{{{BATCH.replace(old, new)}}}]\n")
