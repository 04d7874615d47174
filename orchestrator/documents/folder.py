"""A facility's folder: found, read whole, and everything that is wrong told at once."""

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from pydantic import BaseModel

from orchestrator.documents.devices.build import build_description
from orchestrator.documents.devices.model import DescriptionModel
from orchestrator.documents.places import PLAN_FILE, Places
from orchestrator.documents.plans.plan_build import build_plan
from orchestrator.documents.plans.plan_model import PlanModel
from orchestrator.documents.plans.playbook_build import build_playbook
from orchestrator.documents.plans.playbook_model import PlaybookModel
from orchestrator.documents.reading import yaml_reader
from orchestrator.documents.reading.shape import M, fit
from orchestrator.documents.reading.tree import Fault, Tree
from orchestrator.documents.reading.tree import Path as TreePath
from orchestrator.documents.trust import PINS_FILE, Unfit, read_authority, read_pins
from orchestrator.errors import CallError, DocumentError, Problem
from orchestrator.facility.description import Description
from orchestrator.facility.plan import Plan
from orchestrator.facility.trust import Pin
from orchestrator.facility.wanted import Playbook
from orchestrator.planning.check import BUILT_IN, findings

# Where a device description holds the device's own JSON, in which null means null.
_HEADS: Mapping[type[BaseModel], tuple[str, str, str]] = {
    PlanModel: ("facility", "a plan", "in the facility's folder, as plan.yaml"),
    PlaybookModel: ("playbook", "a playbook", "in the folder playbooks"),
    DescriptionModel: ("device", "a device description", "in the folder devices"),
}
"""By model: the key that each such document has, what it is called, and where it is kept."""

_JSON_KEYS = frozenset({"unassigned", "values", "body", "each", "done", "busy"})


@dataclass(frozen=True, slots=True, kw_only=True)
class Documents:
    """A facility's documents as values; where each stood in its file is known no more.

    ``authorities`` holds the certificates (PEM) behind each file that the documents name, ``pins``
    those that a person has confirmed, by device.
    """

    folder: Path
    plan: Plan
    playbooks: tuple[Playbook, ...]
    descriptions: Mapping[str, Description]
    authorities: Mapping[str, str] = field(default_factory=dict)
    pins: Mapping[str, Pin] = field(default_factory=dict)


def find_folder(start: Path) -> Path:
    """The facility's folder: ``start`` or the nearest one above it that has a ``plan.yaml``.

    Raises:
        CallError: there is none.
    """
    where = start.absolute()
    for folder in (where, *where.parents):
        if (folder / PLAN_FILE).is_file():
            return folder
    raise CallError(
        f"no {PLAN_FILE} in {where} or any folder above it",
        "go to the facility's folder, name it with --facility, or make one with 'cutsheet new'",
    )


def load(folder: Path, playbooks: Sequence[Path] | None = None) -> Documents:
    """Read a facility's documents, which need not agree; ``playbooks`` None: all of the folder's.

    Raises:
        DocumentError: a document can't be read, or is not of its shape.
        CallError: a playbook named does not exist.
    """
    gathered = _gather(folder, playbooks)
    if gathered.problems or gathered.plan is None:
        raise DocumentError(gathered.problems)
    return gathered.documents(gathered.plan)


def load_checked(
    folder: Path,
    playbooks: Sequence[Path] | None = None,
    others: Collection[str] = BUILT_IN,
) -> Documents:
    """Read a facility's documents and check them against one another.

    ``others`` are the ways to speak that need no device description, plug-ins included.

    Raises:
        DocumentError: with everything that is wrong: text, shape, and what does not agree.
        CallError: a playbook named does not exist.
    """
    gathered = _gather(folder, playbooks)
    problems = list(gathered.problems)
    if gathered.plan is not None:
        # A description that can't be read is no reason to call its name unknown.
        known = {*others, *gathered.unread}
        problems.extend(gathered.disagreement(gathered.plan, known))
    if problems or gathered.plan is None:
        raise DocumentError(problems)
    return gathered.documents(gathered.plan)


@dataclass
class _Gathered:
    """What was read so far, and what was wrong with it."""

    folder: Path
    problems: list[Problem] = field(default_factory=list)
    trees: dict[str, Tree] = field(default_factory=dict)
    plan: Plan | None = None
    playbooks: list[Playbook] = field(default_factory=list)
    descriptions: dict[str, Description] = field(default_factory=dict)
    unread: set[str] = field(default_factory=set)
    authorities: dict[str, str] = field(default_factory=dict)
    pins: dict[str, Pin] = field(default_factory=dict)

    def documents(self, plan: Plan) -> Documents:
        return Documents(
            folder=self.folder,
            plan=plan,
            playbooks=tuple(self.playbooks),
            descriptions=dict(self.descriptions),
            authorities=dict(self.authorities),
            pins=dict(self.pins),
        )

    def disagreement(self, plan: Plan, others: Collection[str]) -> list[Problem]:
        """What is wrong among documents that are well formed, each at its place."""
        found = findings(plan, self.playbooks, self.descriptions, others)
        place = Places(self.trees).problem
        return sorted({place(f.document, f.path, f.what, f.fix) for f in found})

    def read(
        self, path: Path, model: type[M], json_keys: frozenset[str] = frozenset()
    ) -> tuple[M | None, Tree | None]:
        """Read one document; what is wrong joins ``problems``."""
        file = self.shown(path)
        try:
            tree, problems = yaml_reader.read(_bytes(path, file), file)
        except DocumentError as error:
            self.problems.extend(error.problems)
            return None, None
        self.trees[file] = tree
        self.problems.extend(problems)

        def free(where: TreePath) -> bool:
            return not json_keys.isdisjoint(map(str, where))

        if (stray := _stray(tree, model)) is not None:
            self.tell(tree, [stray])
            return None, tree
        value, faults = fit(tree, model, free=free)
        self.tell(tree, faults)
        return (None if problems else value), tree

    def tell(self, tree: Tree, faults: Iterable[Fault]) -> None:
        """Add what is wrong in a document."""
        self.problems.extend(tree.problem(fault) for fault in faults)

    def shown(self, path: Path) -> str:
        """A file as people are told of it: from the facility's folder where it lies in it."""
        whole = path.absolute()
        if whole.is_relative_to(self.folder):
            return whole.relative_to(self.folder).as_posix()
        return str(path)


def _stray(tree: Tree, model: type[BaseModel]) -> Fault | None:
    """That a document is of another kind than its place says; else its every key would be wrong."""
    if tree.node((_HEADS[model][0],)) is not None:
        return None
    for head, what, place in _HEADS.values():
        if tree.node((head,)) is not None:
            return Fault((head,), f"this is {what}, not {_HEADS[model][1]}", f"keep it {place}")
    return None


def _gather(folder: Path, playbooks: Sequence[Path] | None) -> _Gathered:
    gathered = _Gathered(folder.absolute())
    _gather_plan(gathered)
    _gather_pins(gathered)
    for path in _files(gathered, "devices"):
        _gather_description(gathered, path)
    if playbooks is None:
        playbooks = _files(gathered, "playbooks")
    for path in playbooks:
        if not path.is_file():
            raise CallError(f"there is no playbook {path}", "name a file that exists")
        _gather_playbook(gathered, path)
    return gathered


def _gather_plan(gathered: _Gathered) -> None:
    model, tree = gathered.read(gathered.folder / PLAN_FILE, PlanModel)
    if model is not None and tree is not None:
        plan, faults = build_plan(model)
        gathered.tell(tree, faults)
        gathered.plan = None if faults else plan
        at: list[TreePath] = [("tls",)]
        at += [("types", name, "tls") for name in model.types]
        at += [("devices", name, "tls") for name in model.devices]
        _gather_authorities(gathered, tree, at)


def _gather_authorities(gathered: _Gathered, tree: Tree, places: Iterable[TreePath]) -> None:
    """Read the files of authorities that a document names at ``places``."""
    for place in places:
        path = (*place, "authority")
        node = tree.node(path)
        if node is None or node.text in gathered.authorities:
            continue
        try:
            gathered.authorities[node.text] = read_authority(gathered.folder, node.text)
        except Unfit as why:
            gathered.tell(tree, [Fault(path, str(why), why.fix)])


def _gather_pins(gathered: _Gathered) -> None:
    path = gathered.folder / PINS_FILE
    if not path.exists():
        return
    try:
        gathered.pins, gathered.trees[PINS_FILE] = read_pins(_bytes(path, PINS_FILE))
    except DocumentError as error:
        gathered.problems.extend(error.problems)


def _gather_description(gathered: _Gathered, path: Path) -> None:
    model, tree = gathered.read(path, DescriptionModel, _JSON_KEYS)
    if model is None or tree is None:
        named = tree.node(("device",)) if tree else None
        gathered.unread.add(named.text if named else path.stem)
        return
    description, faults = build_description(model)
    if description.name in gathered.descriptions:
        what = f"another file describes '{description.name}' too"
        faults = (*faults, Fault(("device",), what, "give one of them another name"))
    gathered.tell(tree, faults)
    _gather_authorities(gathered, tree, [("tls",)])
    gathered.descriptions[description.name] = description


def _gather_playbook(gathered: _Gathered, path: Path) -> None:
    model, tree = gathered.read(path, PlaybookModel)
    if model is not None and tree is not None:
        playbook, faults = build_playbook(model, tree.file, gathered.plan)
        gathered.tell(tree, faults)
        if not faults:
            gathered.playbooks.append(playbook)


def _files(gathered: _Gathered, name: str) -> list[Path]:
    """The documents in a folder of the facility, sorted; one that would be passed over is told."""
    folder = gathered.folder / name
    if not folder.is_dir():
        return []
    files = sorted(path for path in folder.iterdir() if not path.name.startswith("."))
    for path in files:
        if path.suffix.lower() in (".yml", ".yaml") and path.suffix != ".yaml":
            what = "a document here has to end in .yaml; this one is not read"
            fix = f"rename it to {path.stem}.yaml"
            gathered.problems.append(Problem(gathered.shown(path), 0, 0, what, fix))
    return [path for path in files if path.suffix == ".yaml"]


def _bytes(path: Path, file: str) -> bytes:
    try:
        if path.stat().st_size > yaml_reader.LARGEST:
            what = f"the file has more than {yaml_reader.LARGEST} bytes"
            raise DocumentError([Problem(file, 0, 0, what, "split the facility into folders")])
        return path.read_bytes()
    except OSError as error:
        what = f"the file can't be read: {error.strerror}"
        fix = "check that it exists and may be read"
        raise DocumentError([Problem(file, 0, 0, what, fix)]) from None
