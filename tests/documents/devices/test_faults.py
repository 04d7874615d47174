"""What in a description's requests does not fit together."""

import re

import pytest

from orchestrator.documents.devices.build import build_description
from orchestrator.documents.devices.model import DescriptionModel
from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.tree import Fault
from orchestrator.facility.description import Description, WriteRule

AWKWARD = """\
device: d
make: m
models: [x]
sign_in: session
session: {path: /in, body: {u: "{user}", p: "{secret}"}, content_type: FORM}
reads:
  identity: {get: /me, fields: {serial: /s}}
  interfaces:
    get: /net
    fields: {address: /ip, prefix: /len, gateway: {get: /route, at: /gw}}
  sources:
    get: /out
    entries: /out
    first: 1
    fields:
      number: {at: /no, within: "CH-{value}"}
      label: {get: "/out/{key}/text", at: ""}
      enabled: /on
settings:
  gain:
    get: /gain
    field: /db
    write:
      method: PATCH
      path: /gain
      content_type: application/json-patch+json
      body:
        - {op: test, path: /db, value: "{found_value}"}
        - {op: replace, path: /db, value: "{value}"}
writes:
  disable: {method: PATCH, path: "/out/{key}", content_type: MERGE, body: {on: "{enabled}"}}
  renumber:
    {method: PUT, path: "/out/{key}", whole: true, if_match: true, body: {no: "{number}"}}
""".replace("FORM", "application/x-www-form-urlencoded").replace(
    "MERGE", "application/merge-patch+json"
)


def built(text: str) -> tuple[Description, tuple[Fault, ...]]:
    """The description in a text."""
    tree, _ = yaml_reader.read(text.encode(), "x.yaml")
    return build_description(DescriptionModel.model_validate(tree.plain()))


def test_an_awkward_device_is_described() -> None:
    """Every addition of the format comes through as a value."""
    found, faults = built(AWKWARD)
    assert faults == ()
    assert found.session == WriteRule(
        method="POST",
        path="/in",
        body={"u": "{user}", "p": "{secret}"},
        content_type="application/x-www-form-urlencoded",
    )
    assert found.reads["sources"].first == 1
    assert found.reads["sources"].fields["number"].within == "CH-{value}"
    assert found.reads["interfaces"].fields["gateway"].get == "/route"
    renumber = found.writes["renumber"]
    assert (renumber.whole, renumber.if_match) == (True, True)


PATCH = "content_type: application/json-patch+json\n      body:"
RENUMBER = 'whole: true, if_match: true, body: {no: "{number}"}'
UNFIT: list[tuple[str, str, tuple[str | int, ...], str]] = [
    ("sign_in: session", "sign_in: basic", ("session",), "means nothing where sign_in is basic"),
    ("path: /in", "path: '/in/{secret}'", ("session", "path"), "may not stand in a path"),
    ('p: "{secret}"', "p: x", ("session", "body"), "has no {secret}"),
    ('u: "{user}"', 'u: "{name}"', ("session", "body", "u"), "{name} means nothing here"),
    ('p: "{secret}"', 'p: ["{secret}"]', ("session", "body", "p"), "a form is flat"),
    (
        "get: /route",
        "get: '/route/{name}'",
        ("reads", "interfaces", "fields", "gateway", "get"),
        "only {key}",
    ),
    (
        "{serial: /s}",
        "{serial: {at: /s, get: /x}}",
        ("reads", "identity", "fields", "serial", "get"),
        "in one request",
    ),
    ("field: /db", "field: {at: /db, get: /x}", ("settings", "gain", "field", "get"), "own get"),
    ("whole: true, ", "", ("writes", "renumber", "if_match"), "needs a read"),
    (', body: {no: "{number}"}', "", ("writes", "renumber", "whole"), "there are none"),
    (
        RENUMBER,
        RENUMBER + ", content_type: application/merge-patch+json",
        ("writes", "renumber", "content_type"),
        "'whole' sends everything",
    ),
    (
        'no: "{number}"',
        'no: "{found_label}"',
        ("writes", "renumber", "body", "no"),
        "{found_label}",
    ),
    (
        '"/out/{key}", whole',
        '"/out/{found_number}", whole',
        ("writes", "renumber", "path"),
        "{found_number} means nothing",
    ),
    ("{op: test, ", "{op: try, ", ("settings", "gain", "write", "body", 0), "no operation"),
    (
        "{op: replace, path: /db, ",
        "{op: replace, path: db, ",
        ("settings", "gain", "write", "body", 1, "path"),
        "'db' is no JSON Pointer",
    ),
    (
        '{op: replace, path: /db, value: "{value}"}',
        "{op: replace, path: /db}",
        ("settings", "gain", "write", "body", 1),
        "has no 'value'",
    ),
    ('body: {on: "{enabled}"}', 'body: ["{enabled}"]', ("writes", "disable", "body"), "an object"),
    ('body: {on: "{enabled}"}', "body: []", ("writes", "disable", "body"), "an object"),
]


@pytest.mark.parametrize(("old", "new", "path", "what"), UNFIT)
def test_requests_that_do_not_fit(
    old: str, new: str, path: tuple[str | int, ...], what: str
) -> None:
    """Each with one message, at its place, with a fix."""
    assert AWKWARD.count(old) == 1, AWKWARD.count(old)
    _, (fault,) = built(AWKWARD.replace(old, new))
    assert fault.path == path
    assert what in fault.what
    assert fault.fix


def test_a_sign_in_by_cookie_needs_its_request() -> None:
    """Without it nobody could sign in."""
    line = next(line for line in AWKWARD.splitlines(keepends=True) if line.startswith("session"))
    _, (fault,) = built(AWKWARD.replace(line, ""))
    assert (fault.path, fault.what) == (("sign_in",), "nothing says how to sign in")


def test_a_patch_without_a_body_is_told_at_its_type() -> None:
    """There is no body to point at."""
    text = AWKWARD.replace(', body: {on: "{enabled}"}', "")
    _, (fault,) = built(text)
    assert fault.path == ("writes", "disable", "content_type")


@pytest.mark.parametrize(
    ("field", "what"),
    [
        ("{at: /db, unit: {theirs: dB/10, ours: dB}}", ""),
        ("{at: /db, unit: {theirs: dB/10, ours: Hz}}", "do not measure the same thing"),
        ("{at: /db, unit: {theirs: dB/10, ours: dB}, values: {1: a}}", "'values' says already"),
    ],
)
def test_a_unit_is_one_of_the_same_thing(field: str, what: str) -> None:
    """And of a setting alone, which no table of values converts already."""
    found, faults = built(AWKWARD.replace("field: /db", f"field: {field}"))
    assert [fault.path[-1] for fault in faults] == (["unit"] if what else [])
    assert all(what in fault.what for fault in faults)
    assert found.settings["gain"].fields["value"].unit == tuple(
        re.findall(r": (dB/10|dB|Hz)", field)
    )
    _, wrong = built(
        AWKWARD.replace("enabled: /on", "enabled: {at: /on, unit: {theirs: s, ours: ms}}")
    )
    assert [fault.what for fault in wrong] == ["only a setting has a unit"]


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ("", "", ""),
        ("{new_secret}", "{secret}", "the body has no {new_secret}"),
        ("{secret}", "{key}", "{key} means nothing here"),
        ("path: /key", 'path: "/key/{secret}"', "a secret may not stand in a path"),
        ("path: /key", 'path: /key, proof: "/{user}"', "a secret may not stand in a path"),
    ],
)
def test_a_change_of_the_secret(old: str, new: str, what: str) -> None:
    """Its new one in the body, none in a path; what proves it is the identity, or said."""
    change = 'credential: {path: /key, body: {was: "{secret}", will: "{new_secret}"}}'
    rule = change.replace(old, new) if old else change
    found, faults = built(AWKWARD.replace("writes:\n", f"writes:\n  {rule}\n"))
    assert len(faults) == (1 if what else 0)
    assert all(what in fault.what for fault in faults)
    assert found.change_secret is not None
    if not what:
        assert found.change_secret.rule.method == "PUT"
        assert found.change_secret.proof == found.reads["identity"].get


WAITING = """\
  rate:
    get: /rate
    field: /now
    effect: reboots
    takes_effect: on_restart
    write: {method: PUT, path: /rate, body: {next: "{value}"}}
  hold:
    get: /hold
    field: /now
    takes_effect: on_save
    write: {method: PUT, path: /hold, body: {now: "{value}"}}
writes:
  save: {method: POST, path: /keep}
  restart: {method: POST, path: /restart, body: {now: true}}
"""


def test_settings_that_wait_for_a_save_or_a_restart() -> None:
    """What has to be asked for follows the write; a restart comes after the save that it needs."""
    text = AWKWARD.replace("writes:\n", WAITING)
    for saves, paths in (("at_once", ["/restart"]), ("on_save", ["/keep", "/restart"])):
        found, faults = built(f"{text}traits: {{saves: {saves}}}\n")
        assert faults == ()
        then = found.setting_writes["rate"].then
        assert [rule.path for rule in then] == paths
        assert [rule.path for rule in found.setting_writes["hold"].then] == ["/keep"]
        assert found.writes["restart"].path == "/restart"
        assert {str(kind) for kind in found.traits.can} >= {"save", "set"}


@pytest.mark.parametrize(
    ("old", "new", "path"),
    [
        ("  save: {method: POST, path: /keep}\n", "", ("settings", "hold", "takes_effect")),
        (
            "  restart: {method: POST, path: /restart, body: {now: true}}\n",
            "",
            ("settings", "rate", "takes_effect"),
        ),
        ("effect: reboots", "effect: none", ("settings", "rate", "takes_effect")),
        ("takes_effect: on_restart", "takes_effect: at_once", ("writes", "restart")),
        ("path: /keep}", "path: /keep, whole: true, body: {a: 1}}", ("writes", "save", "whole")),
    ],
)
def test_a_setting_that_waits_for_what_can_not_be_asked_for(
    old: str, new: str, path: tuple[str, ...]
) -> None:
    """The request that it needs is missing, or nothing needs the request."""
    _, (fault,) = built(AWKWARD.replace("writes:\n", WAITING).replace(old, new))
    assert fault.path == path
    assert fault.fix
