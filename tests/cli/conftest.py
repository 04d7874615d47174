"""The stage that most tests of commands stand on."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.stage import PROGRAMMES, Stage, staged


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """A stage with the whole example."""
    with staged(tmp_path) as found:
        yield found


@pytest.fixture
def small(tmp_path: Path) -> Iterator[Stage]:
    """A stage with one playbook: the programme numbers."""
    with staged(tmp_path, PROGRAMMES) as found:
        yield found
