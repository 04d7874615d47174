"""A keyring in memory for tests, as the keyring library takes it."""

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from unittest.mock import patch

import keyring
from keyring.backend import KeyringBackend
from keyring.errors import PasswordDeleteError


class Memory(KeyringBackend):
    """A keyring that forgets everything at its end."""

    priority = 1

    def __init__(self) -> None:
        super().__init__()  # type: ignore[no-untyped-call]  # the library's own
        self.kept: dict[tuple[str, str], str] = {}

    def get_password(self, service: str, username: str) -> str | None:
        """What is kept."""
        return self.kept.get((service, username))

    def set_password(self, service: str, username: str, password: str) -> None:
        """Keep it."""
        self.kept[service, username] = password

    def delete_password(self, service: str, username: str) -> None:
        """Forget it."""
        if self.kept.pop((service, username), None) is None:
            raise PasswordDeleteError(username)


@contextmanager
def in_memory() -> Iterator[Memory]:
    """Make the keyring of this computer one in memory, as long as the block lasts."""
    before, kept = keyring.get_keyring(), Memory()
    keyring.set_keyring(kept)
    try:
        yield kept
    finally:
        keyring.set_keyring(before)


class InFile(KeyringBackend):
    """A keyring in a file, for a command in a process of its own; ``KEYRING_FILE`` names it."""

    priority = 1

    def get_password(self, service: str, username: str) -> str | None:
        """What is kept."""
        return self._all().get(f"{service}/{username}")

    def set_password(self, service: str, username: str, password: str) -> None:
        """Keep it, whole or not at all."""
        self._put({**self._all(), f"{service}/{username}": password})

    def delete_password(self, service: str, username: str) -> None:
        """Forget it."""
        left = self._all()
        if left.pop(f"{service}/{username}", None) is None:
            raise PasswordDeleteError(username)
        self._put(left)

    def _all(self) -> dict[str, str]:
        path = Path(os.environ["KEYRING_FILE"])
        held: dict[str, str] = json.loads(path.read_text(encoding="utf-8")) if path.exists() else {}
        return held

    def _put(self, held: dict[str, str]) -> None:
        path = Path(os.environ["KEYRING_FILE"])
        beside = path.with_suffix(".new")
        beside.write_text(json.dumps(held), encoding="utf-8")
        beside.replace(path)


@contextmanager
def in_file(path: Path) -> Iterator[InFile]:
    """Make the keyring of this computer one in a file, as long as the block lasts."""
    before, kept = keyring.get_keyring(), InFile()  # type: ignore[no-untyped-call]
    keyring.set_keyring(kept)
    with patch.dict(os.environ, {"KEYRING_FILE": str(path)}):
        try:
            yield kept
        finally:
            keyring.set_keyring(before)
