import ast
import sys
from pathlib import Path

import mocks

ALLOWED = {"mocks", "httpx", "h11", "yaml", "typer", "rich"}


def test_imports_nothing_of_what_it_tests() -> None:
    """The simulated devices share no code with the package that is tested with them."""
    for path in Path(mocks.__file__).parent.rglob("*.py"):
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            if isinstance(node, ast.Import):
                names = [alias.name for alias in node.names]
            elif isinstance(node, ast.ImportFrom):
                names = [node.module or ""]
            else:
                continue
            for name in names:
                root = name.partition(".")[0]
                assert root in ALLOWED or root in sys.stdlib_module_names, (path.name, name)
