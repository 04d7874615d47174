"""Names to secrets: what the plan calls ``credentials: studio-engines``, kept in the keyring.

The keyring is the computer's own (Secret Service on Linux). An entry stands under the service
``cutsheet`` with the credential's name as user name; it holds JSON, ``{"user": .., "secret": ..}``.
Keyrings can't list what they hold, so the names are kept in one more entry. A secret that is being
changed has a second entry, NAME with ``(new)`` behind it, until every device takes the new one: the
first is not touched before that, so that at each moment both are known.

Where there is no keyring (a build machine, a computer without a desktop session) the environment is
used instead, but only if it says so: ``CUTSHEET_CREDENTIALS=environment``, and then
``CUTSHEET_CREDENTIAL_STUDIO_ENGINES=user:secret``, or just the secret, for the name
``studio-engines``. A key that holds a colon itself begins with one more: ``:ab:cd``.
"""

import json
import os
import re
from collections.abc import Callable, Mapping
from typing import TypeVar

import keyring
from keyring.backend import KeyringBackend
from keyring.errors import InitError, KeyringError, KeyringLocked, NoKeyringError

from orchestrator.errors import CallError, NoSecret
from orchestrator.facility.secret import Secret

SERVICE = "cutsheet"
INDEX = "(names)"
"""The user name of the entry that holds the names; no credential may have it."""

NEW = " (new)"
"""Behind a name: the user name of the entry with the secret that is to take its place."""

SWITCH = "CUTSHEET_CREDENTIALS"
PREFIX = "CUTSHEET_CREDENTIAL_"

_NAME = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,63}")

T = TypeVar("T")


class Credentials:
    """Names to secrets. ``backend`` None: the keyring of this computer."""

    def __init__(
        self,
        environment: Mapping[str, str] | None = None,
        backend: KeyringBackend | None = None,
    ) -> None:
        self._environment = os.environ if environment is None else environment
        self._backend = backend

    def get(self, name: str) -> Secret:
        """The secret behind ``name``.

        Raises:
            NoSecret: there is none, its entry is damaged, or the keyring can't be used; or it is
                being changed, and nobody knows without trying which one a device takes.
        """
        checked_name(name)
        if self._from_environment():
            return self._variable(name)
        found = self.current(name)
        if self._kept(name + NEW) is not None:
            raise NoSecret(
                f"the secret of {name} is being changed, and that is not finished",
                _FINISH.format(name),
            )
        return found

    def current(self, name: str) -> Secret:
        """The secret behind ``name`` in the keyring, also while it is being changed.

        Raises:
            NoSecret: there is none, its entry is damaged, or the keyring can't be used.
            CallError: credentials come from the environment here.
        """
        checked_name(name)
        self._refuse_environment(name)
        kept = self._kept(name)
        if kept is None:
            raise NoSecret(f"the keyring has no credential {name}", _add(name))
        return _unpacked(name, kept)

    def pending(self, name: str) -> Secret | None:
        """The secret that is to take the place of the one behind ``name``; None: it stays.

        Raises:
            NoSecret: its entry is damaged, or the keyring can't be used.
            CallError: credentials come from the environment here.
        """
        checked_name(name)
        self._refuse_environment(name)
        kept = self._kept(name + NEW)
        return None if kept is None else _unpacked(name, kept)

    def changing(self, name: str) -> bool:
        """Whether the secret behind ``name`` is being changed, and that is not finished.

        Raises:
            NoSecret: the keyring can't be used.
        """
        return not self._from_environment() and self._kept(name + NEW) is not None

    def begin_change(self, name: str, new: Secret) -> None:
        """Keep ``new`` as the secret that is to take the place of the one behind ``name``.

        Raises:
            NoSecret: ``name`` has none, or the keyring can't be used, or did not keep it.
            CallError: another change is under way, or credentials come from the environment.
        """
        self.current(name)
        if self.pending(name) is not None:
            raise CallError(f"the secret of {name} is being changed already", _FINISH.format(name))
        self._keep(name + NEW, _packed(new))

    def finish_change(self, name: str) -> None:
        """Put the new secret in the place of the old one. A second time it changes nothing.

        Raises:
            NoSecret: the keyring can't be used, or did not keep it.
        """
        new = self.pending(name)
        if new is None:
            return
        self._keep(name, _packed(new))
        self._ask(name, lambda held: held.delete_password(SERVICE, name + NEW))

    def drop_change(self, name: str) -> None:
        """Forget the new secret; the one behind ``name`` stays. A second time nothing happens.

        Raises:
            NoSecret: the keyring can't be used.
        """
        if self.pending(name) is not None:
            self._ask(name, lambda held: held.delete_password(SERVICE, name + NEW))

    def add(self, name: str, secret: Secret) -> None:
        """Keep ``secret`` under ``name``; what was there before is replaced.

        Raises:
            NoSecret: the keyring can't be used, or did not keep it.
            CallError: credentials come from the environment here.
        """
        checked_name(name)
        self._refuse_environment(name)
        self._refuse_while_changing(name)
        self._keep(name, _packed(secret))
        self._list({*self._index(), name})

    def forget(self, name: str) -> None:
        """Take ``name`` out of the keyring.

        Raises:
            NoSecret: there is none, or the keyring can't be used.
            CallError: credentials come from the environment here.
        """
        checked_name(name)
        self._refuse_environment(name)
        self._refuse_while_changing(name)
        if self._kept(name) is None:
            raise NoSecret(
                f"the keyring has no credential {name}", "see 'cutsheet credential list'"
            )
        self._ask(name, lambda held: held.delete_password(SERVICE, name))
        self._list({*self._index()} - {name})

    def names(self) -> tuple[str, ...]:
        """The names that have a secret. From the environment: as near as variables can tell.

        Raises:
            NoSecret: the keyring can't be used.
        """
        if self._from_environment():
            found = (key for key in self._environment if key.startswith(PREFIX))
            return tuple(sorted(_name_of(variable) for variable in found))
        return tuple(name for name in self._index() if self._kept(name) is not None)

    def _refuse_while_changing(self, name: str) -> None:
        """Some devices may take the one secret and some the other: neither may be lost."""
        if self._kept(name + NEW) is not None:
            raise CallError(f"the secret of {name} is being changed", _FINISH.format(name))

    def _kept(self, user: str) -> str | None:
        return self._ask(user, lambda held: held.get_password(SERVICE, user))

    def _index(self) -> tuple[str, ...]:
        try:
            names = json.loads(self._kept(INDEX) or "[]")
        except ValueError:
            names = []
        if not isinstance(names, list):
            return ()
        return tuple(name for name in names if isinstance(name, str) and _NAME.fullmatch(name))

    def _list(self, names: set[str]) -> None:
        self._keep(INDEX, json.dumps(sorted(names)))

    def _keep(self, user: str, text: str) -> None:
        """Keep and read back: a keyring that keeps nothing says nothing of it."""
        self._ask(user, lambda held: held.set_password(SERVICE, user, text))
        if self._kept(user) != text:
            raise NoSecret(
                "the keyring took the secret and did not keep it",
                f"set up a keyring that keeps (Secret Service), {_without(user)}",
            )

    def _ask(self, user: str, what: Callable[[KeyringBackend], T]) -> T:
        """Ask the keyring. Its own words are not passed on: a secret might be among them."""
        try:
            return what(self._backend or keyring.get_keyring())
        except Exception as error:  # noqa: BLE001 - keyrings raise what their systems raise
            failure = _worded(error, user)
        raise failure

    def _from_environment(self) -> bool:
        word = self._environment.get(SWITCH, "keyring")
        if word not in ("keyring", "environment"):
            raise CallError(
                f"{SWITCH} is '{word}'", f"set {SWITCH} to 'environment', or leave it unset"
            )
        return word == "environment"

    def _refuse_environment(self, name: str) -> None:
        if self._from_environment():
            raise CallError(
                f"credentials come from the environment here ({SWITCH}=environment)",
                f"set or unset the variable {variable_of(name)} yourself, or unset {SWITCH}",
            )

    def _variable(self, name: str) -> Secret:
        variable = variable_of(name)
        written = self._environment.get(variable, "")
        user, colon, word = written.partition(":")
        if not colon:
            user, word = "", written
        if not word:
            raise NoSecret(
                f"credential {name}: the variable {variable} holds no secret",
                f"set {variable} to user:secret, or to the secret alone",
            )
        return Secret(user, word)


def variable_of(name: str) -> str:
    """The environment variable of the credential ``name``."""
    return PREFIX + re.sub(r"[^A-Z0-9]", "_", name.upper())


def checked_name(name: str) -> str:
    """``name``, if a credential may be called so.

    Raises:
        CallError: it may not.
    """
    if not _NAME.fullmatch(name):
        raise CallError(
            f"'{name}' is no name for a credential",
            "use letters, figures, dots, hyphens and underscores, 64 at most, a letter or "
            "figure first",
        )
    return name


def _name_of(variable: str) -> str:
    return variable.removeprefix(PREFIX).lower().replace("_", "-")


_FINISH = "finish that with 'cutsheet credential rotate {}', or take it back with 'cutsheet undo'"


def _packed(secret: Secret) -> str:
    return json.dumps({"user": secret.user, "secret": secret.reveal()})


def _unpacked(name: str, kept: str) -> Secret:
    try:
        entry = json.loads(kept)
    except ValueError:
        entry = None
    match entry:
        case {"user": str() as user, "secret": str() as word} if word:
            return Secret(user, word)
    raise NoSecret(f"the keyring's entry for {name} is damaged, or was not made here", _add(name))


def _add(name: str) -> str:
    return f"set it with 'cutsheet credential add {name}', {_without(name)}"


def _without(name: str) -> str:
    """How to do without a keyring."""
    variable = PREFIX + "NAME" if name == INDEX else variable_of(name.removesuffix(NEW))
    return f"or set {SWITCH}=environment and {variable}=user:secret"


def _worded(error: Exception, name: str) -> NoSecret:
    """Say which way the keyring can't be used, and what to do.

    Backends raise ``KeyringLocked`` when an unlocking was refused, and their system's own
    errors when access was denied or nothing listens.
    """
    match error:
        case NoKeyringError():
            what, fix = "this computer has no keyring", "start or install one (Secret Service)"
        case KeyringLocked():
            what, fix = "the keyring is locked", "unlock it, by its own prompt or by signing in"
        case InitError():
            what, fix = "the keyring could not be opened", "start or unlock it"
        case _ if _denied(error):
            what = "the keyring denies access to this program"
            fix = "allow it, where the session's bus or the sandbox it runs in is set up"
        case KeyringError():
            what, fix = f"the keyring refused ({_kind(error)})", "allow access when it asks"
        case _:
            what, fix = f"the keyring failed ({_kind(error)})", "see that it runs, and allow access"
    return NoSecret(what, f"{fix}, {_without(name)}")


def _denied(error: Exception) -> bool:
    """Whether the session's bus let nothing through (D-Bus specification, standard errors)."""
    return str(getattr(error, "name", "")).endswith((".AccessDenied", ".AuthFailed"))


def _kind(error: Exception) -> str:
    return type(error).__name__
