"""YAML text to a tree with positions, safely.

The parser's events are taken one by one and nothing else of the library is used: no tag is ever
obeyed, no alias followed, no object made. What a plan does not need is refused with its place:
tags, anchors, aliases, merge keys, more than one document, keys twice, keys that are no text,
nesting beyond ``DEEPEST``, files beyond ``LARGEST`` bytes.
"""

import re
from collections.abc import Iterator
from sys import intern
from typing import Any

import yaml

from orchestrator.documents.reading import core_schema
from orchestrator.documents.reading.tree import Entry, Node, Place, Tree
from orchestrator.documents.reading.yaml_words import in_words
from orchestrator.errors import DocumentError, Problem

LARGEST = 64 * 1024 * 1024
DEEPEST = 32
# YAML 1.2.2, section 5.1: what may not stand in a document unescaped.
_UNPRINTABLE = re.compile(
    "[^\t\n\r\x20-\x7e\x85\xa0-\ud7ff\ue000-\ufefe\uff00-\ufffd\U00010000-\U0010ffff]"
)
_PARSER: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)


class _Stop(Exception):
    """Nothing more can be read of this document."""


def read(data: bytes, file: str) -> tuple[Tree, tuple[Problem, ...]]:
    """Read one document; ``file`` is what people are told of it.

    Returns the tree and what is wrong with it that still lets the rest be looked at.

    Raises:
        DocumentError: it can't be read as one YAML document whose root is a mapping.
    """
    text = _decode(data, file)
    tree = Tree(file, text, Node(None, 1, 1))
    builder = _Builder(tree)
    try:
        builder.build()
    except _Stop:
        raise DocumentError(builder.problems) from None
    return tree, tuple(builder.problems)


def _decode(data: bytes, file: str) -> str:
    if len(data) > LARGEST:
        what = f"the file has {len(data)} bytes; {LARGEST} are the most that is read"
        raise DocumentError([Problem(file, 0, 0, what, "split the facility into several folders")])
    try:
        text = data.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        start = data.rfind(b"\n", 0, error.start) + 1
        line = data.count(b"\n", 0, error.start) + 1
        column = len(data[start : error.start].decode("utf-8", "replace")) + 1
        what = f"byte 0x{data[error.start]:02x} is not UTF-8 text"
        fix = "save the file as UTF-8"
        excerpt = _shown(data[start:].split(b"\n", 1)[0])
        raise DocumentError([Problem(file, line, column, what, fix, excerpt)]) from None
    _refuse_unprintable(text, file)
    return text


def _shown(line: bytes) -> str:
    """A line that is not all UTF-8, as far as it can be shown."""
    return Tree("", line.decode("utf-8", "replace"), Node(None, 1, 1)).excerpt(1)


def _refuse_unprintable(text: str, file: str) -> None:
    found = _UNPRINTABLE.search(text)
    if found is None:
        return
    before = text[: found.start()]
    line = len(re.findall("\r\n|[\n\r\x85\u2028\u2029]", before)) + 1
    column = len(re.split("[\n\r\x85\u2028\u2029]", before)[-1]) + 1
    what = f"an unprintable character (U+{ord(found[0]):04X}) stands here"
    raise DocumentError([Problem(file, line, column, what, "remove it")])


class _Builder:
    """Builds the tree from the parser's events, with a stack of its own instead of recursion."""

    def __init__(self, tree: Tree) -> None:
        self.tree = tree
        self.problems: list[Problem] = []
        self.stack: list[Node] = []
        self.keys: list[Place | None] = []
        self.key_texts: list[str] = []
        self.root: Node | None = None
        self.holes = False

    def build(self) -> None:
        """Read every event; the tree's root is set at the end."""
        documents = 0
        for event in self._events():
            if type(event) is yaml.ScalarEvent:
                self._scalar(event)
            elif isinstance(event, yaml.DocumentStartEvent):
                documents += 1
                self._document(event, documents)
            elif isinstance(event, yaml.NodeEvent):
                self._node(event)
            elif isinstance(event, (yaml.MappingEndEvent, yaml.SequenceEndEvent)):
                self._close()
        if self.root is None or self.root.value is None:
            self._stop(Place(0, 0), "the file holds nothing", "write the document into it")
        elif not isinstance(self.root.value, dict):
            place = Place(self.root.line, self.root.column)
            self._stop(
                place, "the document is not a mapping", "begin with a key, as in 'key: value'"
            )
        elif self.holes:
            raise _Stop  # what is missing would only be told again, as something else
        else:
            self.tree.root = self.root

    def _events(self) -> Iterator[Any]:
        parser = _PARSER(self.tree.text)
        try:
            while (event := parser.get_event()) is not None:
                yield event
        except yaml.YAMLError as error:
            line, column, what, fix = in_words(error, self.tree.text)
            self._stop(Place(line, column), what, fix)
        finally:
            parser.dispose()

    def _document(self, event: Any, count: int) -> None:
        place = _place(event)
        if count > 1:
            self._stop(place, "a second document begins here", "keep one document in a file")
        if event.tags or (event.version and tuple(event.version) != (1, 2)):
            self._refuse(place, "a directive stands before the document", "remove the % lines")

    def _node(self, event: Any) -> None:
        place = _place(event)
        if len(self.stack) >= DEEPEST and isinstance(event, yaml.CollectionStartEvent):
            self._stop(place, f"more than {DEEPEST} levels inside one another", "nest less deeply")
        self._plainness(event, place)
        if isinstance(event, yaml.AliasEvent):
            self._add(Node(None, *place), "*")
        elif self._key_is_next():
            self._stop(place, "a key is no text", "write a name, then ':'")
        else:
            value: dict[str, Entry] | list[Node] = (
                {} if isinstance(event, yaml.MappingStartEvent) else []
            )
            node = Node(value, *place)
            self._add(node, "")
            self.stack.append(node)
            self.keys.append(None)
            self.key_texts.append("")

    def _plainness(self, event: Any, place: Place) -> None:
        """Refuse what makes one place of a document depend on another, or on the library."""
        if isinstance(event, yaml.AliasEvent):
            self._refuse(place, f"*{event.anchor} is an alias", "write the value itself here")
            self.holes = True
        elif event.anchor is not None:
            fix = "remove it; what devices have in common can stand under 'types'"
            self._refuse(place, f"&{event.anchor} is an anchor", fix)
        if getattr(event, "tag", None) is not None:
            fix = "remove it, or put quotes round a text that begins with '!'"
            self._refuse(place, f"{event.tag} is a tag", fix)

    def _scalar(self, event: Any) -> None:
        place = _place(event)
        if event.anchor is not None or event.tag is not None:
            self._plainness(event, place)
        if event.style in ("'", '"') and event.end_mark.line > event.start_mark.line:
            # Nearly always a quote that was not closed, and ended at the next one in the file.
            what = "a quote that opens here is not closed on its line"
            self._stop(place, what, "close it with the same quote")
        if self._key_is_next():
            self._key(event, place)
            return
        value: core_schema.Scalar = event.value
        if event.style in (None, ""):
            try:
                value = core_schema.plain(event.value)
            except ValueError as error:
                self._refuse(place, f"{error} is too long", "put quotes round it if it is a text")
        self._add(Node(value, *place, event.value), event.value)

    def _key_is_next(self) -> bool:
        return bool(self.stack) and isinstance(self.stack[-1].value, dict) and self.keys[-1] is None

    def _key(self, event: Any, place: Place) -> None:
        text = intern(event.value)  # the same few keys stand in each of many devices
        mapping = self.stack[-1].value
        if not text:
            self._refuse(place, "a key is empty", "write a name before the ':'")
            self.holes = True
        elif text == "<<" and event.style in (None, ""):
            fix = "write the values themselves; what devices have in common can stand under 'types'"
            self._refuse(place, "<< asks to merge another mapping", fix)
            self.holes = True
        elif isinstance(mapping, dict) and text in mapping:
            first = mapping[text]
            what = f"'{text}' stands here twice, first on line {first.line}"
            self._refuse(place, what, "keep one of the two")
        self.keys[-1] = place
        self.key_texts[-1] = text

    def _add(self, node: Node, text: str) -> None:
        if not self.stack:
            self.root = node
            return
        holder = self.stack[-1].value
        if isinstance(holder, list):
            holder.append(node)
        elif isinstance(holder, dict):
            key = self.keys[-1]
            if key is None:
                self.keys[-1] = Place(node.line, node.column)
                self.key_texts[-1] = text
                return
            holder.setdefault(self.key_texts[-1], Entry(key.line, key.column, node))
            self.keys[-1] = None

    def _close(self) -> None:
        self.stack.pop()
        self.keys.pop()
        self.key_texts.pop()

    def _refuse(self, place: Place, what: str, fix: str) -> None:
        self.problems.append(self.tree.problem_at(place, what, fix))

    def _stop(self, place: Place, what: str, fix: str) -> None:
        self._refuse(place, what, fix)
        raise _Stop


def _place(event: Any) -> Place:
    return Place(event.start_mark.line + 1, event.start_mark.column + 1)
