"""Where the domain's things stand in the documents."""

from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field

from orchestrator.documents.reading.tree import Fault, Path, Tree
from orchestrator.errors import Problem

PLAN_FILE = "plan.yaml"


@dataclass(frozen=True, slots=True)
class Places:
    """The documents' trees by file, as people are told of it.

    The domain says where in its own words (``devices``, a name, ``interfaces``, ``main``,
    ``address``); the document may say the same shorter, by a key range, or in a type.
    """

    trees: Mapping[str, Tree] = field(default_factory=dict)

    def problem(self, file: str, path: Path, what: str, fix: str) -> Problem:
        """The problem at ``path`` of ``file``, with its line, column and excerpt."""
        tree = self.trees.get(file)
        if tree is None:
            return Problem(file, 0, 0, what, fix)
        found = next((way for way in _ways(tree, path) if tree.node(way) is not None), path)
        return tree.problem(Fault(found, what, fix))


def _ways(tree: Tree, path: Path) -> Iterator[Path]:
    """The paths at which a document may say what the domain calls ``path``, best first."""
    ways = list(_short_forms(path))
    yield from ways
    if path[:1] == ("devices",) and path[2:] and tree.file == PLAN_FILE:
        kind = tree.node((*path[:2], "type"))
        if kind is not None:
            yield from (("types", kind.text, *way[2:]) for way in ways)


def _short_forms(path: Path) -> Iterator[Path]:
    yield path
    if path[-1:] == (0,):
        yield path[:-1]  # one value in place of a list of one
    if path[:1] == ("devices",) and path[2:3] == ("interfaces",):
        if path[4:]:
            yield (*path[:2], *path[4:])  # address and network of the one interface
        yield (*path[:2], "address")  # in a playbook
        if path[4:] == ("network",):
            yield (*path[:4], "address")
