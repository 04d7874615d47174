"""A file of pairs: a name and what belongs to it, one a line, as YAML or JSON."""

from pathlib import Path

import yaml

from orchestrator.errors import CallError


def read_pairs_file(path: Path, kind: str, example: str) -> dict[str, str]:
    """Read a file of pairs; ``kind`` and ``example`` say what it should have been.

    Raises:
        CallError: the file can't be read, or is no map of texts to texts.
    """
    try:
        found = yaml.safe_load(path.read_text(encoding="utf-8"))
    except OSError as error:
        raise CallError(f"can't read {path}: {error.strerror}", "name a file that exists") from None
    except (yaml.YAMLError, UnicodeDecodeError):
        found = None
    fits = isinstance(found, dict) and all(
        isinstance(key, str) and isinstance(value, str) for key, value in found.items()
    )
    if not fits:
        raise CallError(f"{path} is no {kind}", f"write one line for each, such as  {example}")
    return dict(found)
