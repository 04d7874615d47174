"""The connect map's file: address -> host:port, as tunnels need it."""

from pathlib import Path

import yaml

from orchestrator.errors import CallError


def read_connect_file(path: Path) -> dict[str, str]:
    """Read a connect map from YAML or JSON.

    Raises:
        CallError: the file can't be read, or is no map of addresses to ``host:port``.
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
        raise CallError(
            f"{path} is no map of addresses to host:port",
            "write one line an address, such as  127.44.3.31: localhost:9031",
        )
    return dict(found)
