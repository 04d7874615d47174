"""The stage that the actions stand on: the example with one playbook, the programme numbers."""

from collections.abc import Iterator
from pathlib import Path

import pytest

from tests.cli.stage import PROGRAMMES, Stage, staged


@pytest.fixture
def stage(tmp_path: Path) -> Iterator[Stage]:
    """The stage."""
    with staged(tmp_path, PROGRAMMES) as found:
        yield found
