"""A device description's batches, made of their model, and what in them does not fit together."""

from collections.abc import Iterator, Mapping, Sequence

from orchestrator.documents.devices.batch_model import AnswerModel, BatchModel
from orchestrator.documents.devices.fields import Body
from orchestrator.documents.devices.words import FORM, JSON_PATCH, body_faults, placeholders
from orchestrator.documents.reading.shape import nearest
from orchestrator.documents.reading.tree import Fault, Path
from orchestrator.facility.description import BatchRule, Description, Fates, WriteRule
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Batch

EACH = "{each}"


def build_batch(model: BatchModel) -> BatchRule:
    """One way to write several steps in one request."""
    return BatchRule(
        rule=WriteRule(
            method=model.method,
            path=model.path,
            body=model.body,
            content_type=model.content_type,
        ),
        each={StepKind(name): wants for name, wants in _each(model)},
        most=model.most,
        by_key=model.by_key,
        fates=None if model.answer is None else _fates(model.answer),
    )


def _each(model: BatchModel) -> Iterator[tuple[str, Body]]:
    for name in type(model.each).model_fields:
        wants = getattr(model.each, name)
        if wants is not None:
            yield name, wants


def _fates(model: AnswerModel) -> Fates:
    return Fates(
        entries=model.entries,
        key=model.key,
        at=model.at,
        done=tuple(model.done),
        busy=tuple(model.busy),
        why=model.why,
    )


def batches_of(description: Description) -> tuple[Batch, ...]:
    """The traits that the batches are."""
    return tuple(Batch(frozenset(batch.each), batch.most) for batch in description.batches)


def batches_faults(
    models: Sequence[BatchModel], built: Description, allowed: Mapping[str, frozenset[str]]
) -> Iterator[Fault]:
    """What in the batches does not fit; ``allowed`` are the placeholders of each kind of step."""
    seen: set[str] = set()
    for index, model in enumerate(models):
        path: Path = ("batches", index)
        yield from _batch_faults(model, path, built, allowed)
        kinds = [name for name, _ in _each(model)]
        for name in kinds:
            if name in seen:
                what = f"'{name}' stands in another batch already"
                yield Fault((*path, "each", name), what, "keep one of the two", at_key=True)
        seen.update(kinds)


def _batch_faults(
    model: BatchModel, path: Path, built: Description, allowed: Mapping[str, frozenset[str]]
) -> Iterator[Fault]:
    for inside, name in placeholders(model.path):
        what = f"{{{name}}} means nothing here: one request is about several"
        yield Fault((*path, "path", *inside), what, "write the path out")
    yield from _body_faults(model, path)
    wants = dict(_each(model))
    if not wants:
        fix = "add each: {disable: .., enable: .., renumber: .., repoint: ..}, or remove the batch"
        yield Fault((*path, "each"), "nothing goes into this request", fix)
    for name, template in wants.items():
        here: Path = (*path, "each", name)
        if StepKind(name) not in built.writes:
            what = f"'{name}' has no write of its own, and a step can be alone"
            yield Fault(here, what, f"add writes.{name}", at_key=True)
            continue
        for inside, word in placeholders(template):
            if word not in allowed.get(name, frozenset()):
                known = {f"{{{one}}}" for one in allowed.get(name, frozenset())}
                fix = nearest(f"{{{word}}}", known)
                yield Fault((*here, *inside), f"{{{word}}} means nothing here", fix)
        yield from _patch_faults(model, template, here)


def _body_faults(model: BatchModel, path: Path) -> Iterator[Fault]:
    kind = model.content_type.partition(";")[0].strip().lower()
    found = list(placeholders(model.body))
    if kind == FORM:
        what = "a form is flat, and holds no list of steps"
        yield Fault((*path, "content_type"), what, "write a type of JSON")
    if kind == JSON_PATCH and (model.body != EACH or model.by_key):
        what = "a JSON Patch is one list of operations"
        yield Fault((*path, "body"), what, 'write body: "{each}", without by_key')
    for inside, name in found:
        if name != "each":
            what = f"{{{name}}} means nothing here: one request is about several"
            yield Fault((*path, "body", *inside), what, "write it inside 'each'")
        elif not _is_each(model.body, inside):
            what = "{each} is a list or an object, and can't stand inside a text"
            yield Fault((*path, "body", *inside), what, 'write "{each}" alone')
    if [name for _, name in found].count("each") != 1:
        what = "the body does not hold {each} once"
        yield Fault((*path, "body"), what, 'write "{each}" where the list of the steps belongs')


def _is_each(body: Body, path: Path) -> bool:
    for part in path:
        body = body[part]
    return bool(body == EACH)


def _patch_faults(model: BatchModel, template: Body, path: Path) -> Iterator[Fault]:
    if model.content_type.partition(";")[0].strip().lower() != JSON_PATCH:
        return
    for inside, what, fix in body_faults(template, JSON_PATCH):
        yield Fault((*path, *inside), what, fix)
