"""The connect map's file: address -> host:port, as tunnels need it."""

from pathlib import Path

from orchestrator.cli.pairs_file import read_pairs_file


def read_connect_file(path: Path) -> dict[str, str]:
    """Read a connect map from YAML or JSON.

    Raises:
        CallError: the file can't be read, or is no map of addresses to ``host:port``.
    """
    return read_pairs_file(path, "map of addresses to host:port", "127.44.3.31: localhost:9031")
