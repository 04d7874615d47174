"""A device description: how a make and model of REST device is spoken to, without code."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any

from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Traits
from orchestrator.facility.trust import Tls

Json = Any


class SignIn(StrEnum):
    """How a device wants requests signed."""

    NONE = "none"
    BASIC = "basic"
    DIGEST = "digest"
    BEARER = "bearer"
    API_KEY = "api_key"
    SESSION = "session"


@dataclass(frozen=True, slots=True, kw_only=True)
class Pick:
    """Where one value stands in an answer, and how it is read and written.

    ``at`` is a JSON Pointer (RFC 6901) from the entry (or the document). ``values`` maps our
    values (as text: ``true``, ``false``, a word) to the device's. ``unassigned`` is the device's
    way to say "no number" or "no group" (``has_unassigned`` tells None from not given).
    ``unit`` holds the unit in which the device counts, and ours (see ``units``).
    ``within`` is the text around the value, with one ``{value}`` (``CH-{value}``).
    ``digits``: the device keeps the number as text of that many digits, zero-padded.
    ``part``: the value is one part of a compound text: ``address`` or ``prefix`` of
    ``a.b.c.d/len``, ``address`` or ``port`` of ``a.b.c.d:port``. ``get`` is another path that
    the value is read from, if not that of the read; it may hold ``{key}``, and ``at`` is then a
    pointer from the document there.
    """

    at: str
    values: Mapping[str, Json] = field(default_factory=dict)
    unit: tuple[str, str] | None = None
    unassigned: Json = None
    has_unassigned: bool = False
    digits: int | None = None
    part: str | None = None
    within: str | None = None
    get: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class Read:
    """One thing to read: a GET, the list or map of entries in it, and the values of each.

    ``entries`` is the pointer to a list or an object of entries (None: the document is the one
    entry). ``key`` is the pointer, inside an entry, to the device's own key for it; None: the
    key of the object, or the index in the list. ``named`` makes the name from the key, by one
    ``{key}`` (``input-{key}``). ``first`` is what the device calls the first entry of a list,
    where the index is the key. An entry that is null is a slot where nothing is.
    """

    get: str
    fields: Mapping[str, Pick]
    entries: str | None = None
    key: str | None = None
    named: str = "{key}"
    first: int = 0


@dataclass(frozen=True, slots=True, kw_only=True)
class WriteRule:
    """How one kind of step is written.

    ``path`` and the strings in ``body`` may hold ``{key}`` and ``{name-of-a-field}``; a string
    that is just one such field becomes the field's own JSON value. A field that the step does not
    give is read first and sent back as it stands. In a setting's rule ``{value}`` is the new value,
    and another setting's name stands for what the device has now. ``{found_number}``,
    ``{found_value}`` and so on stand for what the step found, for a body that is a precondition
    too. ``content_type`` says how the body is written: as JSON, or as a form.

    ``whole``: the device takes only the whole object. What is at ``path`` is read, the members of
    ``body`` are put in, and all of it is sent. ``if_match``: that write carries the entity tag
    of its read (RFC 9110, 13.1.1). ``repeatable``: sending the same request twice does what
    sending it once does. ``then`` are requests that follow at once, with nothing to fill in:
    without them the device does not take what was written into effect.
    """

    method: str
    path: str
    body: Json = None
    content_type: str = "application/json"
    repeatable: bool = True
    whole: bool = False
    if_match: bool = False
    then: tuple["WriteRule", ...] = ()


class TakesEffect(StrEnum):
    """When a setting that was written shows in what the device runs on."""

    AT_ONCE = "at_once"
    ON_SAVE = "on_save"
    ON_RESTART = "on_restart"


@dataclass(frozen=True, slots=True, kw_only=True)
class Fates:
    """Where the answer to a batch says what became of each of its steps.

    ``entries`` is the pointer to a list or an object with an entry for each (RFC 6901). ``key`` is
    the pointer, inside an entry, to the device's own key; None: the key of the object, or in a
    list the order in which they were sent. ``at`` is the pointer, inside an entry, to the value
    that tells; where there is none, that is null. A value among ``done`` says that it was done, one
    among ``busy`` that it has to wait; any other that it was refused, and ``why`` may say why.
    """

    entries: str
    at: str
    done: tuple[Json, ...]
    busy: tuple[Json, ...] = ()
    key: str | None = None
    why: str | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class BatchRule:
    """How several steps, at most ``most``, are written in one request.

    ``rule`` is the request; ``{each}`` in its body stands for what all the steps want: a list, or
    with ``by_key`` an object with a member for each under the device's own key. ``each`` is what
    one step of a kind wants, with the placeholders of its write. In a JSON Patch the operations of
    all steps make one list. ``fates`` is where the answer tells of each; None: all are done, or
    none.
    """

    rule: WriteRule
    each: Mapping[StepKind, Json]
    most: int
    by_key: bool = False
    fates: Fates | None = None


@dataclass(frozen=True, slots=True, kw_only=True)
class ChangeSecret:
    """How the secret that signs in is changed.

    The body of ``rule`` holds ``{new_secret}``, and ``{user}`` and ``{secret}`` where the device
    wants them. ``proof`` is a path that only who is signed in may read: reading it proves a
    sign-in.
    """

    rule: WriteRule
    proof: str


@dataclass(frozen=True, slots=True, kw_only=True)
class Description:
    """A device description.

    ``reads`` has ``identity`` (fields serial, model, firmware), ``interfaces`` (address, prefix,
    gateway), ``sources`` (number, group or group_1, group_2, label, enabled), ``destinations``
    (hears, label), ``unsaved`` (unsaved). ``settings`` maps a setting's name to its read (one
    field, ``value``). ``writes`` maps a step kind to its rule, ``set_label`` for a source's
    label, ``restart`` for a restart that is asked for; ``setting_writes`` maps a setting's name to
    its rule.
    ``scheme`` is http or https; ``port`` where the device listens. ``key_header`` is the header
    that carries an API key. ``session`` is the request that signs in where a cookie then
    stands for the sign-in; its body holds ``{user}`` and ``{secret}``. ``tls`` says what the
    certificates of such devices are judged by. ``change_secret`` is how the secret is changed;
    None: not by this tool. ``batches`` are the ways to write several steps in one request.
    """

    name: str
    make: str
    scheme: str
    port: int
    sign_in: SignIn
    reads: Mapping[str, Read]
    writes: Mapping[StepKind | str, WriteRule]
    traits: Traits
    settings: Mapping[str, Read] = field(default_factory=dict)
    setting_writes: Mapping[str, WriteRule] = field(default_factory=dict)
    key_header: str = "X-Api-Key"
    session: WriteRule | None = None
    timeout_s: float = 5.0
    tls: Tls | None = None
    change_secret: ChangeSecret | None = None
    batches: tuple[BatchRule, ...] = ()
