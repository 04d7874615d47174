"""A document held against its model; what does not fit is said in our own words."""

import types
import typing
from collections.abc import Callable, Iterator
from difflib import get_close_matches
from typing import Annotated, Any, TypeVar, Union

from pydantic import BaseModel, ConfigDict, ValidationError

from orchestrator.documents.reading.fields import shown
from orchestrator.documents.reading.tree import Fault, Node, Path, Tree

M = TypeVar("M", bound="Shape")
_MOST_WORDS = 12


class Shape(BaseModel):
    """What every model of a document shares: nothing unknown, nothing converted silently."""

    model_config = ConfigDict(strict=True, extra="forbid", frozen=True, allow_inf_nan=False)


def fit(
    tree: Tree, model: type[M], *, free: Callable[[Path], bool] = lambda _: False
) -> tuple[M | None, tuple[Fault, ...]]:
    """Hold ``tree`` against ``model``; ``free`` names the places where any JSON may stand.

    Where nothing is wrong but keys that nobody knows, the model is given all the same (without
    those), so that the rest of the document can be looked at too.
    """
    plain = tree.plain()
    empty = tuple(_empty(tree.root, (), free)) if _holds_null(plain) else ()
    try:
        return _unless(empty, model.model_validate(plain)), empty
    except ValidationError as error:
        wrong = error.errors(include_url=False)
    known = {fault.path for fault in empty}
    faults = [_fault(item, model) for item in wrong]
    everything = (*empty, *(fault for fault in faults if fault.path not in known))
    if all(item["type"] == "extra_forbidden" for item in wrong):
        rest = _without(plain, [fault.path for fault in faults])
        return _unless(empty, model.model_validate(rest)), everything
    return None, everything


def _unless(empty: tuple[Fault, ...], value: M) -> M | None:
    return None if empty else value


def nearest(word: str, known: typing.Iterable[str]) -> str:
    """``write 'room'`` for the known word nearest to ``word``; else the known words."""
    words = sorted(known)
    close = get_close_matches(word, words, n=1, cutoff=0.6)
    if close:
        return f"write '{close[0]}'"
    if not words:
        return "remove it"
    shown_words = ", ".join(words[:_MOST_WORDS]) + (", ..." if len(words) > _MOST_WORDS else "")
    return f"remove it, or use one of: {shown_words}"


def _holds_null(value: Any) -> bool:
    """Whether a null stands anywhere: seldom, so that no more has to be looked at."""
    if isinstance(value, dict):
        return any(map(_holds_null, value.values()))
    if isinstance(value, list):
        return any(map(_holds_null, value))
    return value is None


def _empty(node: Node, path: Path, free: Callable[[Path], bool]) -> Iterator[Fault]:
    """Every key that has no value, apart from where null means something."""
    if free(path):
        return
    if isinstance(node.value, dict):
        for key, entry in node.value.items():
            yield from _empty(entry.node, (*path, key), free)
    elif isinstance(node.value, list):
        for index, item in enumerate(node.value):
            yield from _empty(item, (*path, index), free)
    elif node.value is None and path:
        what = f"'{path[-1]}' has no value" if isinstance(path[-1], str) else "an empty list entry"
        yield Fault(path, what, "write a value, {} for nothing to say, or remove it", at_key=True)


def _fault(item: Any, model: type[Shape]) -> Fault:
    """One of pydantic's errors in our own words, at the path where it stands."""
    path: Path = tuple(part for part in item["loc"] if part != "[key]")
    last = str(path[-1]) if path else ""
    if item["type"] == "document":
        return Fault(path, item["ctx"]["what"], item["ctx"]["fix"], "[key]" in item["loc"])
    if item["type"] == "extra_forbidden":
        fix = nearest(last, _known_keys(model, path[:-1]))
        return Fault(path, f"'{last}' is not a key here", fix, at_key=True)
    if item["type"] == "missing":
        return Fault(path[:-1], f"'{last}' is missing", f"add '{last}: ...'", at_key=True)
    if item["type"] == "too_short":
        return Fault(path, f"'{last}' names none", f"name at least one, or remove '{last}'")
    return Fault(path, *_misfit(item))


def _misfit(item: Any) -> tuple[str, str]:
    """What is wrong with a value of the wrong kind, and the fix."""
    value = shown(item.get("input"))
    if item["type"] in ("dict_type", "model_type"):
        return f"{value} stands where keys and values are expected", _INDENTED
    if item["type"] == "list_type":
        return f"{value} stands where a list is expected", "write [a, b]"
    if item["type"] in ("enum", "literal_error"):
        return f"{value} can't stand here", f"write {item['ctx']['expected']}"
    return f"{value} can't stand here", "see 'cutsheet schema' for what can"


_INDENTED = "write 'key: value' lines below it, indented, or {} for none"


def _without(plain: Any, paths: list[Path]) -> Any:
    """``plain`` without the keys at ``paths``; it is changed in place."""
    for path in paths:
        holder = plain
        for part in path[:-1]:
            holder = holder[part]
        holder.pop(path[-1], None)
    return plain


def _known_keys(model: type[BaseModel], path: Path) -> list[str]:
    """The keys that ``model`` knows at ``path``."""
    kind: Any = model
    for part in path:
        kind = _inner(_bare(kind), part)
    bare = _bare(kind)
    if isinstance(bare, type) and issubclass(bare, BaseModel):
        return [item.alias or name for name, item in bare.model_fields.items()]
    return []


def _inner(kind: Any, part: str | int) -> Any:
    if isinstance(kind, type) and issubclass(kind, BaseModel):
        for name, item in kind.model_fields.items():
            if part in (name, item.alias):
                return item.annotation
        return None
    arguments = typing.get_args(kind)
    return arguments[-1] if arguments else None


def _bare(kind: Any) -> Any:
    """``kind`` without ``Annotated`` and ``| None``; of a union, the model in it."""
    while typing.get_origin(kind) in (Annotated, Union, types.UnionType):
        arguments = typing.get_args(kind)
        if typing.get_origin(kind) is Annotated:
            kind = arguments[0]
            continue
        bare = [_bare(argument) for argument in arguments if argument is not type(None)]
        models = [item for item in bare if isinstance(item, type) and issubclass(item, BaseModel)]
        kind = (models or bare)[0]
    return kind
