"""A device description's values, made of its model; its parts have to fit one another."""

from collections.abc import Iterator, Mapping
from dataclasses import replace
from typing import Any

from orchestrator.documents.devices.batch_build import batches_faults, batches_of, build_batch
from orchestrator.documents.devices.faults import (
    credential_faults,
    effect_faults,
    read_faults,
    rule_faults,
    session_faults,
)
from orchestrator.documents.devices.model import (
    DescriptionModel,
    PickModel,
    SessionModel,
    SettingModel,
    WriteModel,
)
from orchestrator.documents.devices.requests import requests_of
from orchestrator.documents.devices.words import placeholders
from orchestrator.documents.reading.shape import Shape
from orchestrator.documents.reading.tree import Fault, Path
from orchestrator.documents.tls_model import build_tls, tls_faults
from orchestrator.facility.description import (
    ChangeSecret,
    Description,
    Pick,
    Read,
    SignIn,
    TakesEffect,
    WriteRule,
)
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Saves, Traits

PORTS = {"http": 80, "https": 443}  # RFC 9110, sections 4.2.1 and 4.2.2
_GROUPS = frozenset({"group", "group_1", "group_2"})
_NO_STEPS = frozenset({"set_label", "restart"})
"""Writes that are no kind of step of their own."""

# What each write speaks of: the read that shows it, what may stand in braces, what must be
# readable for the read-back (one of them).
_SPEAKS_OF: dict[str, tuple[str, frozenset[str], frozenset[str]]] = {
    "disable": ("sources", frozenset({"key", "enabled"}), frozenset({"enabled"})),
    "enable": ("sources", frozenset({"key", "enabled"}), frozenset({"enabled"})),
    "renumber": ("sources", frozenset({"key", "number"}) | _GROUPS, _GROUPS | {"number"}),
    "set_label": ("sources", frozenset({"key", "label"}), frozenset({"label"})),
    "repoint": ("destinations", frozenset({"key", "hears"}), frozenset({"hears"})),
    "readdress": (
        "interfaces",
        frozenset({"key", "address", "prefix", "gateway"}),
        frozenset({"address"}),
    ),
}


def build_description(model: DescriptionModel) -> tuple[Description, tuple[Fault, ...]]:
    """The description, and what in it does not fit together."""
    description = Description(
        name=model.device,
        make=model.make,
        scheme=model.scheme,
        port=model.port or PORTS[model.scheme],
        sign_in=model.sign_in,
        reads=dict(_reads(model)),
        writes=dict(_writes(model)),
        traits=_traits(model),
        settings={name: _setting(item) for name, item in model.settings.items()},
        setting_writes={
            name: replace(_rule(item.write), then=tuple(_follow(model, item.takes_effect)))
            for name, item in model.settings.items()
            if item.write
        },
        key_header=model.key_header,
        session=_session(model.session),
        timeout_s=model.timeout_s,
        tls=build_tls(model.tls),
        change_secret=_change_secret(model),
        batches=tuple(map(build_batch, model.batches)),
    )
    traits = replace(
        description.traits, requests=requests_of(description), batches=batches_of(description)
    )
    return replace(description, traits=traits), tuple(_faults(model, description))


def _given(model: Shape) -> Iterator[tuple[str, Any]]:
    """The keys of a model that have a value, by the names that documents use."""
    for name in type(model).model_fields:
        value = getattr(model, name)
        if value is not None:
            yield name, value


def _pick(model: PickModel) -> Pick:
    return Pick(
        at=model.at,
        values=dict(model.values),
        unit=None if model.unit is None else (model.unit.theirs, model.unit.ours),
        unassigned=model.unassigned,
        has_unassigned="unassigned" in model.model_fields_set,
        digits=model.digits,
        part=model.part,
        within=model.within,
        get=model.get,
    )


def _reads(model: DescriptionModel) -> Iterator[tuple[str, Read]]:
    for name, read in _given(model.reads):
        yield (
            name,
            Read(
                get=read.get,
                fields={key: _pick(pick) for key, pick in _given(read.fields)},
                entries=getattr(read, "entries", None),
                key=getattr(read, "key", None),
                named=getattr(read, "named", "{key}"),
                first=getattr(read, "first", 0),
            ),
        )


def _setting(model: SettingModel) -> Read:
    return Read(get=model.get, fields={"value": _pick(model.field)})


def _rule(model: WriteModel) -> WriteRule:
    return WriteRule(
        method=model.method,
        path=model.path,
        body=model.body,
        content_type=model.content_type,
        repeatable=model.repeatable,
        whole=model.whole,
        if_match=model.if_match,
    )


def _session(model: SessionModel | None) -> WriteRule | None:
    if model is None:
        return None
    return WriteRule(
        method=model.method, path=model.path, body=model.body, content_type=model.content_type
    )


def _follow(model: DescriptionModel, takes: TakesEffect) -> Iterator[WriteRule]:
    """What is sent after a setting's write, so that it takes effect.

    A device that boots with what it saved is saved before it is restarted.
    """
    restarts, writes = takes is TakesEffect.ON_RESTART, model.writes
    saves = takes is TakesEffect.ON_SAVE or (restarts and model.traits.saves is Saves.ON_SAVE)
    if saves and writes.save is not None:
        yield _rule(writes.save)
    if restarts and writes.restart is not None:
        yield _rule(writes.restart)


def _writes(model: DescriptionModel) -> Iterator[tuple[StepKind | str, WriteRule]]:
    for name, write in _steps(model):
        yield (name if name in _NO_STEPS else StepKind(name)), _rule(write)


def _steps(model: DescriptionModel) -> Iterator[tuple[str, WriteModel]]:
    """The writes that are steps, by their names; a change of the secret is none."""
    return ((name, write) for name, write in _given(model.writes) if name != "credential")


def _change_secret(model: DescriptionModel) -> ChangeSecret | None:
    held = model.writes.credential
    if held is None:
        return None
    rule = WriteRule(
        method=held.method, path=held.path, body=held.body, content_type=held.content_type
    )
    return ChangeSecret(rule=rule, proof=held.proof or model.reads.identity.get)


def _traits(model: DescriptionModel) -> Traits:
    """The traits; what the device can do follows from what there are writes for."""
    can = {StepKind.CONFIRM, StepKind.BY_HAND}
    can.update(StepKind(name) for name, _ in _steps(model) if name not in _NO_STEPS)
    if model.writes.set_label or any(item.write for item in model.settings.values()):
        can.add(StepKind.SET)
    return Traits(
        can=frozenset(can),
        saves=model.traits.saves,
        hears=model.traits.hears,
        legs=model.traits.legs,
        settle_s=model.traits.settle_s,
        late_s=model.traits.late_s,
        save_s=model.traits.save_s,
        holds_sender_address=model.traits.holds_sender_address,
        requests_at_once=model.traits.requests_at_once,
        effects={name: item.effect for name, item in model.settings.items()},
        models=tuple(model.models),
        tried_with=tuple(model.tried_with),
        sets_labels=model.writes.set_label is not None,
        read_only=frozenset(name for name, item in model.settings.items() if item.write is None),
        makes_gateway=_writes_gateway(model.writes.readdress),
    )


def _writes_gateway(write: WriteModel | None) -> bool:
    if write is None:
        return True
    return "gateway" in {name for _, name in placeholders([write.path, write.body])}


def _faults(model: DescriptionModel, built: Description) -> Iterator[Fault]:
    for name, write in _steps(model):
        yield from _write_faults(name, write, built.reads)
    sayable = {name: _sayable(name, built.reads) for name in _SPEAKS_OF}
    yield from batches_faults(model.batches, built, sayable)
    for name, setting in model.settings.items():
        if setting.write:
            path: Path = ("settings", name, "write")
            # Another setting's name stands for its present value: some devices take several
            # settings in one request.
            others = frozenset(model.settings) - {name}
            yield from rule_faults(setting.write, path, others | {"value", "found_value"})
    yield from effect_faults(model)
    yield from read_faults(built)
    if built.traits.saves is Saves.ON_SAVE and model.writes.save is None:
        what = "it saves on_save, but 'writes' has no 'save'"
        yield Fault(("traits", "saves"), what, "add writes.save, or write saves: at_once")
    yield from session_faults(model)
    yield from credential_faults(model)
    yield from tls_faults(model.tls, ("tls",))
    if model.sign_in is not SignIn.API_KEY and "key_header" in model.model_fields_set:
        what = f"'key_header' means nothing where sign_in is {model.sign_in}"
        yield Fault(("key_header",), what, "remove it, or write sign_in: api_key")


def _write_faults(name: str, write: WriteModel, reads: Mapping[str, Read]) -> Iterator[Fault]:
    path: Path = ("writes", name)
    if name not in _SPEAKS_OF:
        yield from rule_faults(write, path, frozenset())
        return
    read_name, _, shown_by = _SPEAKS_OF[name]
    read = reads.get(read_name)
    readable = set(read.fields) if read is not None else set()
    if not readable & shown_by:
        what = f"'{name}' can't be read back: reads.{read_name} shows none of "
        what += ", ".join(sorted(shown_by))
        yield Fault(path, what, f"add it to reads.{read_name}.fields", at_key=True)
        return
    yield from rule_faults(write, path, _sayable(name, reads))


def _sayable(name: str, reads: Mapping[str, Read]) -> frozenset[str]:
    """What may stand in braces in a write of this name."""
    read_name, allowed, _ = _SPEAKS_OF[name]
    read = reads.get(read_name)
    known = allowed & ({"key"} if read is None else {*read.fields, "key"})
    return known | {f"found_{word}" for word in known - {"key"}}
