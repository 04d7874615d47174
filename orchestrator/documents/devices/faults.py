"""What in a device description's requests does not fit together, each at its place."""

from collections.abc import Iterator

from orchestrator.documents.devices.model import DescriptionModel, WriteModel
from orchestrator.documents.devices.words import JSON_PATCH, MERGE_PATCH, body_faults, placeholders
from orchestrator.documents.reading.shape import nearest
from orchestrator.documents.reading.tree import Fault, Path
from orchestrator.facility import units
from orchestrator.facility.description import Description, Pick, SignIn, TakesEffect
from orchestrator.facility.traits import Effect

_SIGNS_IN = frozenset({"user", "secret"})
_PATCHES = frozenset({MERGE_PATCH, JSON_PATCH})
_ONE_ENTRY = frozenset({"identity", "unsaved"})


def rule_faults(write: WriteModel, path: Path, allowed: frozenset[str]) -> Iterator[Fault]:
    """Braces that mean nothing, a body that its type can't hold, a condition without a read."""
    for part, value in (("path", write.path), ("body", write.body)):
        for inside, name in placeholders(value):
            if name not in allowed or (part == "path" and name.startswith("found_")):
                fix = nearest(f"{{{name}}}", {f"{{{word}}}" for word in allowed})
                yield Fault((*path, part, *inside), f"{{{name}}} means nothing here", fix)
    yield from _typed(write, path)
    if write.if_match and not write.whole:
        what = "'if_match' needs a read of what is written"
        yield Fault((*path, "if_match"), what, "add whole: true, or remove it")
    if write.whole and not isinstance(write.body, dict):
        what = "'whole' puts the members of 'body' into what was read, and there are none"
        yield Fault((*path, "whole"), what, "write body: {member: ..}, or remove it")


def _typed(write: WriteModel, path: Path) -> Iterator[Fault]:
    if write.whole and write.content_type.partition(";")[0].strip().lower() in _PATCHES:
        what = "a patch says what changes, and 'whole' sends everything"
        yield Fault((*path, "content_type"), what, "leave one of them out")
        return
    at: Path = (*path, "content_type" if write.body is None else "body")
    for inside, what, fix in body_faults(write.body, write.content_type):
        yield Fault((*at, *inside), what, fix)


def read_faults(built: Description) -> Iterator[Fault]:
    """A read is the same for everything in it; only a value kept elsewhere may name its entry."""
    for kind, read in built.reads.items():
        if "{" in read.get:
            yield Fault(("reads", kind, "get"), "a read's path holds braces", "write it out")
        for name, pick in read.fields.items():
            here: Path = ("reads", kind, "fields", name)
            if pick.unit is not None:
                yield Fault((*here, "unit"), "only a setting has a unit", "remove it")
            if pick.get is None:
                continue
            at: Path = (*here, "get")
            if kind in _ONE_ENTRY:
                yield Fault(at, f"{kind} is read in one request", "remove it")
            elif set(dict(_names(pick.get))) - {"key"}:
                yield Fault(at, "only {key} can stand in this path", "write {key}, or write it out")
    for name, read in built.settings.items():
        yield from _unit_faults(name, read.fields["value"])
        if read.fields["value"].get is not None:
            at = ("settings", name, "field", "get")
            yield Fault(at, "a setting is read at its own get", "remove it")


def _unit_faults(name: str, pick: Pick) -> Iterator[Fault]:
    if pick.unit is None:
        return
    at: Path = ("settings", name, "field", "unit")
    theirs, ours = pick.unit
    if not units.alike(theirs, ours):
        yield Fault(at, f"{theirs} and {ours} do not measure the same thing", "correct one of them")
    if pick.values:
        what = "'values' says already what each of the device's values stands for"
        yield Fault(at, what, "keep one of the two")


def _names(text: str) -> Iterator[tuple[str, None]]:
    yield from ((name, None) for _, name in placeholders(text))


def session_faults(model: DescriptionModel) -> Iterator[Fault]:
    """A sign-in by cookie needs its request, and the request what it signs in with."""
    if model.session is None:
        if model.sign_in is SignIn.SESSION:
            fix = "add session: {path: .., body: {.. {user} .. {secret} ..}}"
            yield Fault(("sign_in",), "nothing says how to sign in", fix)
        return
    if model.sign_in is not SignIn.SESSION:
        what = f"'session' means nothing where sign_in is {model.sign_in}"
        yield Fault(("session",), what, "remove it, or write sign_in: session", at_key=True)
    if "{" in model.session.path:
        what = "a secret may not stand in a path, where it would be logged"
        yield Fault(("session", "path"), what, "put it into the body")
    named = list(placeholders(model.session.body))
    for inside, name in named:
        if name not in _SIGNS_IN:
            what = f"{{{name}}} means nothing here"
            yield Fault(("session", "body", *inside), what, "write {user} or {secret}")
    if "secret" not in {name for _, name in named}:
        yield Fault(("session", "body"), "the body has no {secret}", "add it where it belongs")
    for inside, what, fix in body_faults(model.session.body, model.session.content_type):
        yield Fault(("session", "body", *inside), what, fix)


def credential_faults(model: DescriptionModel) -> Iterator[Fault]:
    """A change of the secret needs a sign-in, the new secret in its body, and none in a path."""
    held, path = model.writes.credential, ("writes", "credential")
    if held is None:
        return
    if model.sign_in is SignIn.NONE:
        what = "the device is not signed in to, so there is no secret to change"
        yield Fault(path, what, "write sign_in, or remove it", at_key=True)
    for name in ("path", "proof"):
        if "{" in (getattr(held, name) or ""):
            what = "a secret may not stand in a path, where it would be logged"
            yield Fault((*path, name), what, "write the path out, and put the secret into the body")
    named = list(placeholders(held.body))
    for inside, name in named:
        if name not in _SIGNS_IN | {"new_secret"}:
            what = f"{{{name}}} means nothing here"
            yield Fault((*path, "body", *inside), what, "write {new_secret}, {secret} or {user}")
    if "new_secret" not in {name for _, name in named}:
        what = "the body has no {new_secret}"
        yield Fault((*path, "body"), what, "add it where it belongs")
    for inside, what, fix in body_faults(held.body, held.content_type):
        yield Fault((*path, "body", *inside), what, fix)


def effect_faults(model: DescriptionModel) -> Iterator[Fault]:
    """A setting that waits for a save or a restart needs the request for it, and the right effect.

    What follows a setting's write is not filled with anything.
    """
    for name, setting in model.settings.items():
        path: Path = ("settings", name, "takes_effect")
        match setting.takes_effect:
            case TakesEffect.ON_SAVE if model.writes.save is None:
                yield Fault(path, "'writes' has no 'save' to ask for", "add writes.save")
            case TakesEffect.ON_RESTART if model.writes.restart is None:
                yield Fault(path, "'writes' has no 'restart' to ask for", "add writes.restart")
            case TakesEffect.ON_RESTART if setting.effect is not Effect.REBOOTS:
                what = "a restart takes the device away, and 'effect' does not say so"
                yield Fault(path, what, "write effect: reboots")
            case _:
                pass
    asked = any(each.takes_effect is TakesEffect.ON_RESTART for each in model.settings.values())
    if model.writes.restart is not None and not asked:
        what = "no setting takes effect on_restart, so nothing asks for a restart"
        yield Fault(("writes", "restart"), what, "remove it", at_key=True)
    for part in ("save", "restart"):
        held = getattr(model.writes, part)
        if held is not None and held.whole:
            yield Fault(("writes", part, "whole"), f"a {part} is one request", "remove it")
