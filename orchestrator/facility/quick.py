"""Frozen values that are made as quickly as others.

A frozen dataclass sets every field of a new value through ``object.__setattr__``, which takes
several times as long as setting it. A facility is a million such values. Here a new value is of a
twin class that is not frozen, with the very same slots, while its fields are set.
"""

from collections.abc import Callable, Mapping
from dataclasses import MISSING, Field, fields
from typing import Any, TypeVar

T = TypeVar("T")


def quick(cls: type[T]) -> type[T]:
    """Give a frozen dataclass with slots an ``__init__`` that is quick and does just the same.

    Raises:
        TypeError: ``cls`` has no slots of its own, or something to do after its ``__init__``.
    """
    if "__slots__" not in vars(cls) or hasattr(cls, "__post_init__"):
        raise TypeError(f"{cls.__name__} can't be made quickly")
    known: dict[str, Any] = {
        "_new": object.__new__,
        "_set": object.__setattr__,
        "_plain": type(cls.__name__, (), {"__slots__": vars(cls)["__slots__"]}),
        "_frozen": cls,
        "_missing": MISSING,
    }
    own = fields(cls)  # type: ignore[arg-type]  # it is a dataclass
    given = [_given(field, known) for field in own if not field.kw_only]
    by_name = [_given(field, known) for field in own if field.kw_only]
    lines = [
        f"def __init__({', '.join(['self', *given, *(['*'] if by_name else []), *by_name])}):",
        "    _set(self, '__class__', _plain)",
        *[f"    self.{field.name} = {_value(field)}" for field in own],
        "    self.__class__ = _frozen",
    ]
    lines += [
        f"def made({', '.join(field.name for field in own)}):",
        "    value = _plain()",
        *[f"    value.{field.name} = {field.name}" for field in own],
        "    value.__class__ = _frozen",
        "    return value",
        "def changed(self, changes):",
        "    value = _new(_frozen)",
        "    _set(value, '__class__', _plain)",
        *[f"    value.{field.name} = self.{field.name}" for field in own],
        "    for name, what in changes.items():",
        "        setattr(value, name, what)",
        "    value.__class__ = _frozen",
        "    return value",
    ]
    exec("\n".join(lines), known)  # noqa: S102 - as dataclasses itself writes an __init__
    init: Callable[..., None] = known["__init__"]
    init.__qualname__ = f"{cls.__qualname__}.__init__"
    cls.__init__ = init  # type: ignore[method-assign]  # that is what this is for
    _CHANGED[cls] = known["changed"]
    _MADE[cls] = known["made"]
    return cls


_CHANGED: dict[type[Any], Callable[[Any, Mapping[str, Any]], Any]] = {}
_MADE: dict[type[Any], Callable[..., Any]] = {}


def maker(cls: type[T]) -> Callable[..., T]:
    """A function that makes a ``cls``, a class made :func:`quick`, of all its fields in order.

    It takes no default and no name: to match many names takes longer than all else. For where
    there are very many to make.
    """
    return _MADE[cls]


def changed(value: T, changes: Mapping[str, Any]) -> T:
    """``value``, of a class made :func:`quick`, with other values in the fields named.

    As ``dataclasses.replace``, which asks for every field by its name.

    Raises:
        AttributeError: there is no such field.
    """
    made: T = _CHANGED[type(value)](value, changes)
    return made


def _given(field: Field[Any], known: dict[str, Any]) -> str:
    """One parameter, with its default."""
    if field.default_factory is not MISSING:
        known[f"_make_{field.name}"] = field.default_factory
        return f"{field.name}=_missing"
    if field.default is MISSING:
        return field.name
    known[f"_default_{field.name}"] = field.default
    return f"{field.name}=_default_{field.name}"


def _value(field: Field[Any]) -> str:
    """What a field is set to."""
    if field.default_factory is MISSING:
        return field.name
    return f"_make_{field.name}() if {field.name} is _missing else {field.name}"
