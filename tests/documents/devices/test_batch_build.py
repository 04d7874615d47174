"""What a device description says of several steps in one request."""

import pytest

from orchestrator.documents.reading.tree import Fault
from orchestrator.facility.description import BatchRule, Fates, WriteRule
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Batch
from tests.documents.devices.test_faults import built

K = StepKind
TEXT = """\
device: d
make: m
models: [x]
reads:
  identity: {get: /me, fields: {serial: /s}}
  sources: {get: /out, entries: /out, fields: {number: /no, enabled: /on}}
  destinations: {get: /in, entries: /in, fields: {hears: /from}}
writes:
  disable: {method: PATCH, path: "/out/{key}", body: {on: "{enabled}"}}
  renumber: {method: PATCH, path: "/out/{key}", body: {no: "{number}"}}
  repoint: {method: PATCH, path: "/in/{key}", body: {from: "{hears}"}}
batches:
  - most: 16
    method: POST
    path: /many
    body: {do: "{each}"}
    each:
      disable: {id: "{key}", on: "{enabled}"}
      renumber: {id: "{key}", no: "{number}", was: "{found_number}"}
    answer: {entries: /did, key: /id, at: /code, done: [200], busy: [423, 503], why: /said}
  - most: 4
    method: PATCH
    path: /in
    content_type: application/merge-patch+json
    body: {in: "{each}"}
    by_key: true
    each: {repoint: {from: "{hears}"}}
"""


def faults(*change: tuple[str, str]) -> list[Fault]:
    """What does not fit once the text is changed."""
    text = TEXT
    for old, new in change:
        assert old in text
        text = text.replace(old, new)
    return list(built(text)[1])


def test_what_is_written_comes_through() -> None:
    """As values, and as traits that planning looks at."""
    description, found = built(TEXT)
    assert found == ()
    one, other = description.batches
    assert one == BatchRule(
        rule=WriteRule(method="POST", path="/many", body={"do": "{each}"}),
        each={
            K.DISABLE: {"id": "{key}", "on": "{enabled}"},
            K.RENUMBER: {"id": "{key}", "no": "{number}", "was": "{found_number}"},
        },
        most=16,
        fates=Fates(
            entries="/did", key="/id", at="/code", done=(200,), busy=(423, 503), why="/said"
        ),
    )
    assert (other.by_key, other.fates) == (True, None)
    assert description.traits.batches == (
        Batch(frozenset({K.DISABLE, K.RENUMBER}), 16),
        Batch(frozenset({K.REPOINT}), 4),
    )


@pytest.mark.parametrize(
    ("old", "new", "what", "path"),
    [
        ("/many", "/many/{key}", "{key} means nothing here", ("batches", 0, "path")),
        ('{do: "{each}"}', "{do: all}", "does not hold {each} once", ("batches", 0, "body")),
        (
            '{do: "{each}"}',
            '{do: "all {each}"}',
            "can't stand inside a text",
            ("batches", 0, "body", "do"),
        ),
        (
            '{do: "{each}"}',
            '{do: "{each}", n: "{number}"}',
            "{number} means nothing here",
            ("batches", 0, "body", "n"),
        ),
        (
            'on: "{enabled}"}\n      renumber',
            'on: "{hears}"}\n      renumber',
            "{hears} means nothing here",
            ("batches", 0, "each", "disable", "on"),
        ),
        (
            "repoint: {from",
            "enable: {from",
            "'enable' has no write of its own",
            ("batches", 1, "each", "enable"),
        ),
        (
            "each: {repoint",
            "each: {disable: {on: 1}, repoint",
            "'disable' stands in another batch already",
            ("batches", 1, "each", "disable"),
        ),
        (
            'each: {repoint: {from: "{hears}"}}',
            "each: {}",
            "nothing goes into this request",
            ("batches", 1, "each"),
        ),
        (
            "merge-patch+json",
            "json-patch+json",
            "a JSON Patch is one list",
            ("batches", 1, "body"),
        ),
        (
            "application/merge-patch+json",
            "application/x-www-form-urlencoded",
            "a form is flat",
            ("batches", 1, "content_type"),
        ),
    ],
)
def test_what_does_not_fit(old: str, new: str, what: str, path: tuple[str | int, ...]) -> None:
    """Each is named where it stands, with the fix."""
    found = faults((old, new))
    assert any(what in fault.what and fault.path == path and fault.fix for fault in found), found


MERGED = """\
    content_type: application/merge-patch+json
    body: {in: "{each}"}
    by_key: true
    each: {repoint: {from: "{hears}"}}
"""
PATCHED = """\
    content_type: application/json-patch+json
    body: "{each}"
    each:
      repoint: [{op: replace, path: "/in/{key}/from", value: "{hears}"}]
"""


def test_a_json_patch_of_several() -> None:
    """Each step gives operations; they make one list."""
    assert faults((MERGED, PATCHED)) == []
    (fault,) = faults((MERGED, PATCHED), ("{op: replace", "{op: rep"))
    assert fault.path == ("batches", 1, "each", "repoint", 0)
