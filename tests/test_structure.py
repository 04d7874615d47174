"""The shape of the code, held by its syntax trees: who imports whom, and what pure code may not do.

::

    pure    errors  <-  facility  <-  planning  <-  running    a package imports only from its left
    edges   documents  adapters  credentials  ledger  reports  import pure ones, never one another
            rehearsal  computer
    top     actions  <-  cli                                   the only places that see everything

``mocks`` imports nothing of ``orchestrator`` and the other way round, so that no shared mistake can
hide. Imports for typing count like any other.
"""

import ast
import re
from collections.abc import Iterator
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).parent.parent
SEQUENCING = tuple(f"orchestrator.planning.{one}" for one in ("aims", "ordering", "scheduling"))
PURE = ("errors", "facility", "planning", "running")
EDGES = ("documents", "adapters", "credentials", "ledger", "reports", "rehearsal", "computer")
GROUND = ("disk",)
TOP = ("actions", "cli")

MAY_IMPORT: dict[str, frozenset[str]] = {
    **{name: frozenset(PURE[: place + 1]) for place, name in enumerate(PURE)},
    **{name: frozenset({name}) for name in GROUND},
    **{name: frozenset({*PURE, *GROUND, name}) for name in EDGES},
    "actions": frozenset({*PURE, *EDGES, "actions"}),
    "cli": frozenset({*PURE, *EDGES, *TOP}),
}
"""Package to the packages that it may import from."""

FORBIDDEN_MODULES = frozenset(
    {"asyncio", "glob", "http", "httpx", "importlib", "io", "keyring", "logging", "os", "pathlib"}
    | {"platform", "pydantic", "random", "rich", "ruamel", "secrets", "select", "shutil", "signal"}
    | {"socket", "sqlite3", "ssl", "subprocess", "sys", "tempfile", "tenacity", "threading"}
    | {"time", "typer", "urllib", "yaml", "zoneinfo"}
)
"""What reaches out of the program, waits, or differs from one call to the next."""

FORBIDDEN_CALLS = frozenset({"open", "print", "input", "exec", "eval", "breakpoint", "__import__"})
WRITES_CODE = "orchestrator/facility/quick.py"
"""It writes an ``__init__``, as the standard library's dataclasses do; that reaches nowhere."""
CLOCK_READS = frozenset({"now", "today", "utcnow"})

MAX_FILE, MAX_FUNCTION = 400, 60

SHOWN_NOWHERE = ("adapter", "dialect", "orchestrator")
"""Words of the workshop; what a user reads does without them."""

NO_TESTS_OF_THEIR_OWN = frozenset({
    # Values without behaviour: what they are is tested wherever they are used.
    "orchestrator/facility/change.py",
    "orchestrator/facility/computer.py",
    "orchestrator/facility/discovered.py",
    "orchestrator/facility/hazard.py",
    "orchestrator/planning/result.py",
    "orchestrator/running/events.py",
    "orchestrator/running/operations.py",
    "orchestrator/running/protocols.py",
    "orchestrator/running/record.py",
})  # fmt: skip


def sources(*tops: str) -> list[Path]:
    """The Python files under the folders, those of tests and caches not among them."""
    return sorted(path for top in tops or ("orchestrator", "mocks") for path in _below(top))


def _below(top: str) -> Iterator[Path]:
    return (ROOT / top).rglob("*.py")


def name_of(path: Path) -> str:
    """A file's path from the root of the project."""
    return path.relative_to(ROOT).as_posix()


def module_of(path: Path) -> str:
    """The dotted name of a file."""
    return ".".join(path.relative_to(ROOT).with_suffix("").parts).removesuffix(".__init__")


@cache
def tree_of(path: Path) -> ast.Module:
    """A file's syntax tree."""
    return ast.parse(path.read_text(encoding="utf-8"), str(path))


@cache
def modules() -> frozenset[str]:
    """Every module of the project."""
    return frozenset(module_of(path) for path in sources())


def imports(tree: ast.AST) -> Iterator[str]:
    """Each module that a tree imports, by its dotted name; for a name in it, with that name."""
    for node in ast.walk(tree):
        if isinstance(node, ast.Import):
            yield from (alias.name for alias in node.names)
        elif isinstance(node, ast.ImportFrom):
            assert node.level == 0, "imports are written whole"
            yield from (f"{node.module}.{alias.name}" for alias in node.names)


def own_imports(path: Path) -> set[str]:
    """The modules of the project that a file imports."""
    found = set()
    for dotted in imports(tree_of(path)):
        if dotted in modules():
            found.add(dotted)
        elif dotted.rpartition(".")[0] in modules():
            found.add(dotted.rpartition(".")[0])
    return found


def package_of(dotted: str) -> str:
    """The package of the tool in which a module lies; empty for the root and for others."""
    parts = dotted.split(".")
    return parts[1] if parts[0] == "orchestrator" and len(parts) > 1 else ""


def pure_sources() -> list[Path]:
    """The files of the pure packages."""
    return [p for p in sources("orchestrator") if package_of(module_of(p)) in PURE]


every_file = pytest.mark.parametrize("path", sources(), ids=name_of)
every_file_of_the_tool = pytest.mark.parametrize("path", sources("orchestrator"), ids=name_of)
every_pure_file = pytest.mark.parametrize("path", pure_sources(), ids=name_of)


def test_every_package_has_its_place() -> None:
    """There is no package beside those of the shape."""
    found = {package_of(module) for module in modules() if module.startswith("orchestrator")}
    assert found - {""} == set(MAY_IMPORT)


@every_file_of_the_tool
def test_imports_point_inward(path: Path) -> None:
    """A file imports only from packages that its own may import from."""
    home = package_of(module_of(path))
    if not home:
        return
    wrong = {one for one in own_imports(path) if package_of(one) not in {*MAY_IMPORT[home], ""}}
    assert not wrong


@every_file
def test_simulation_and_tool_share_nothing(path: Path) -> None:
    """Neither imports the other, nor its tests."""
    home = module_of(path).split(".")[0]
    others = {"orchestrator", "mocks", "tests"} - {home}
    assert not {one for one in imports(tree_of(path)) if one.split(".")[0] in others}


@pytest.mark.parametrize("path", sources("orchestrator/planning/proof"), ids=name_of)
def test_proof_shares_nothing_with_the_sequencing(path: Path) -> None:
    """The proof can't be wrong in the way in which the sequence is."""
    assert not {one for one in own_imports(path) if one.startswith(SEQUENCING)}


@pytest.mark.parametrize("path", sources("orchestrator/planning/scheduling"), ids=name_of)
def test_scheduling_knows_only_tasks(path: Path) -> None:
    """What looks for the least silence sees lengths, devices and orders: nothing of a facility."""
    assert all(one.startswith("orchestrator.planning.scheduling") for one in own_imports(path))


@pytest.mark.parametrize("aside", SEQUENCING)
def test_sequencing_asks_nothing_of_the_proof(aside: str) -> None:
    """What makes the sequence does not look into what judges it."""
    for path in sources(aside.replace(".", "/")):
        proof = {one for one in own_imports(path) if one.startswith("orchestrator.planning.proof")}
        assert not proof, path


def test_no_import_cycles() -> None:
    """The modules can be put in an order in which each imports only earlier ones."""
    waiting = {module_of(path): own_imports(path) - {module_of(path)} for path in sources()}
    while free := {module for module, needs in waiting.items() if not needs & waiting.keys()}:
        waiting = {module: needs for module, needs in waiting.items() if module not in free}
    assert not waiting, f"in cycles, or behind one: {sorted(waiting)}"


@every_pure_file
def test_pure_code_imports_nothing_that_reaches_out(path: Path) -> None:
    """No clock, no chance, no file, no network, no library of the edges."""
    roots = {one.split(".")[0] for one in imports(tree_of(path))}
    assert not roots & FORBIDDEN_MODULES


@every_pure_file
def test_pure_code_calls_nothing_that_reaches_out(path: Path) -> None:
    """It opens nothing, prints nothing and reads no clock; ``datetime`` may be a type in it."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.Call) and isinstance(node.func, ast.Name):
            written = node.func.id == "exec" and name_of(path) == WRITES_CODE
            assert written or node.func.id not in FORBIDDEN_CALLS, node.lineno
        if isinstance(node, ast.Attribute):
            assert node.attr not in CLOCK_READS or _own_clock(path), node.lineno
        assert not isinstance(node, ast.AsyncFunctionDef | ast.Await) or _protocols(path)


def _protocols(path: Path) -> bool:
    return name_of(path) == "orchestrator/running/protocols.py"


def _own_clock(path: Path) -> bool:
    """``now`` as the name of a value that was passed in, as in ``scene.now``."""
    return not any(one.startswith("datetime") for one in imports(tree_of(path)))


def test_only_the_edges_know_their_libraries() -> None:
    """A library that could be changed for another is known only where it is needed."""
    homes = {"pydantic": {"documents", "ledger"}, "httpx": {"adapters"}, "tenacity": {"adapters"},
             "sqlite3": {"ledger"}, "keyring": {"credentials"}, "typer": {"cli"},
             "psutil": {"computer"}, "openpyxl": {"documents"}}  # fmt: skip
    for path in sources("orchestrator"):
        for root in {one.split(".")[0] for one in imports(tree_of(path))} & homes.keys():
            assert package_of(module_of(path)) in homes[root], f"{name_of(path)} imports {root}"


@every_file
def test_size(path: Path) -> None:
    """No file is over 400 lines and no function over 60."""
    assert len(path.read_text(encoding="utf-8").splitlines()) <= MAX_FILE
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef):
            length = (node.end_lineno or node.lineno) - node.lineno + 1
            assert length <= MAX_FUNCTION, f"{node.name} has {length} lines"


@every_file
def test_docstrings(path: Path) -> None:
    """Every file, public class and public function says what it is for."""
    assert ast.get_docstring(tree_of(path))
    undocumented = [node.name for node in _public(tree_of(path)) if not ast.get_docstring(node)]
    assert not undocumented


def _public(
    tree: ast.Module | ast.ClassDef,
) -> Iterator[ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef]:
    for node in tree.body:
        if not isinstance(node, ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef):
            continue
        if node.name.startswith("_") or _is_overload(node):
            continue
        yield node
        if isinstance(node, ast.ClassDef):
            yield from _public(node)


def _is_overload(node: ast.FunctionDef | ast.AsyncFunctionDef | ast.ClassDef) -> bool:
    return any(isinstance(one, ast.Name) and one.id == "overload" for one in node.decorator_list)


def test_a_test_file_for_each_source_file() -> None:
    """``orchestrator/a/b.py`` is tested by ``tests/a/test_b.py``, ``mocks/b.py`` likewise."""
    wanted = {name_of(path): _test_of(path) for path in sources() if path.name != "__init__.py"}
    missing = {name for name, test in wanted.items() if not test.exists()}
    assert missing - NO_TESTS_OF_THEIR_OWN == set()


def test_what_needs_no_test_is_there() -> None:
    """The list of exceptions names only files that are there, and that decide nothing."""
    decides = ast.If | ast.For | ast.While | ast.Try | ast.Match
    for name in NO_TESTS_OF_THEIR_OWN:
        lines = [
            node.lineno for node in ast.walk(tree_of(ROOT / name)) if isinstance(node, decides)
        ]
        assert not lines, name


def _test_of(path: Path) -> Path:
    inner = path.relative_to(ROOT)
    folder = inner.parent.relative_to("orchestrator") if inner.parts[0] != "mocks" else inner.parent
    return ROOT / "tests" / folder / f"test_{path.name}"


def _texts(tree: ast.Module) -> Iterator[ast.Constant]:
    """The texts in a file that are no docstrings."""
    nodes = [n for n in ast.walk(tree) if isinstance(n, ast.Expr)]
    said_only = {id(node.value) for node in nodes}
    for node in ast.walk(tree):
        if isinstance(node, ast.Constant) and isinstance(node.value, str):
            yield from () if id(node) in said_only else (node,)


@pytest.mark.parametrize("path", sources("orchestrator/reports", "orchestrator/cli"), ids=name_of)
def test_no_word_of_the_workshop_is_shown(path: Path) -> None:
    """No text of a report or of the command line has a word that only programmers use."""
    for text in _texts(tree_of(path)):
        words = str(text.value).lower()
        assert not [one for one in SHOWN_NOWHERE if one in words], f"line {text.lineno}: {words}"


@pytest.mark.parametrize("path", sources("orchestrator/cli"), ids=name_of)
def test_no_word_of_the_workshop_in_help(path: Path) -> None:
    """The docstrings of commands are their help: the same holds for them."""
    for node in ast.walk(tree_of(path)):
        if isinstance(node, ast.FunctionDef) and not node.name.startswith("_"):
            said = (ast.get_docstring(node) or "").lower()
            assert not [one for one in SHOWN_NOWHERE if one in said], node.name


def test_every_document_named_is_there() -> None:
    """Whoever reads that something stands in a document can open it; no path is one computer's."""
    made_by_the_tool = re.compile(r"(rollback-notes|change-sheet)[\w<>{}.-]*\.md")
    for path in (*sources("orchestrator", "mocks"), *_documents()):
        text = path.read_text(encoding="utf-8")
        for name in re.findall(r"[\w<>{}.-]+\.md\b", text):
            assert made_by_the_tool.fullmatch(name) or (ROOT / name).exists(), (path, name)
        assert not re.search(r"(?<![\w.])/(home|root|work)/", text), path


def _documents() -> Iterator[Path]:
    for top in ("playbooks", "mocks"):
        yield from (ROOT / top).rglob("*.yaml")
    yield from ROOT.glob("*.md")
