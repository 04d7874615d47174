import json
import os
import shutil
import subprocess
import sys
import textwrap
from collections.abc import Callable
from pathlib import Path
from unittest.mock import patch

import keyring
import pytest
from keyring.backend import KeyringBackend
from keyring.backends import fail, null
from keyring.errors import (
    InitError,
    KeyringError,
    KeyringLocked,
    PasswordDeleteError,
    PasswordSetError,
)

from orchestrator.credentials import INDEX, SERVICE, Credentials, checked_name, variable_of
from orchestrator.errors import CallError, NoSecret
from orchestrator.facility.secret import Secret

CANARY = "canary-7Zq:hollow"
SECRET = Secret("engineer", CANARY)


class Memory(KeyringBackend):
    """A keyring in memory that fails as it is told."""

    priority = 1

    def __init__(self) -> None:
        self.held: dict[tuple[str, str], str] = {}
        self.failure: Exception | None = None

    def get_password(self, service: str, username: str) -> str | None:
        self._fail()
        return self.held.get((service, username))

    def set_password(self, service: str, username: str, password: str) -> None:
        self._fail()
        self.held[service, username] = password

    def delete_password(self, service: str, username: str) -> None:
        self._fail()
        if (service, username) not in self.held:
            raise PasswordDeleteError("no such password")
        del self.held[service, username]

    def _fail(self) -> None:
        if self.failure is not None:
            raise self.failure


def without_keyring() -> KeyringBackend:
    """What stands where there is no keyring."""
    return fail.Keyring()  # type: ignore[no-untyped-call]  # the library's own


@pytest.fixture
def memory() -> Memory:
    """An empty keyring."""
    return Memory()


@pytest.fixture
def credentials(memory: Memory) -> Credentials:
    """Credentials over it, with nothing in the environment."""
    return Credentials({}, memory)


def test_what_is_added_is_given_back(credentials: Credentials) -> None:
    """User and secret, colons and all; a key has no user."""
    credentials.add("studio-engines", SECRET)
    credentials.add("nodes", Secret("", "k\u00e9y"))
    found = credentials.get("studio-engines")
    assert (found.user, found.reveal()) == ("engineer", CANARY)
    assert credentials.get("nodes") == Secret("", "k\u00e9y")
    assert credentials.names() == ("nodes", "studio-engines")


def test_the_entries_are_as_documented(credentials: Credentials, memory: Memory) -> None:
    """Service, user name and JSON are a contract: another tool may read them."""
    credentials.add("nodes", Secret("", "key"))
    assert json.loads(memory.held[SERVICE, "nodes"]) == {"user": "", "secret": "key"}
    assert json.loads(memory.held[SERVICE, INDEX]) == ["nodes"]


def test_the_list_of_names_holds_no_secret(credentials: Credentials, memory: Memory) -> None:
    """Only names stand in it."""
    credentials.add("nodes", SECRET)
    assert CANARY not in memory.held[SERVICE, INDEX]
    assert "engineer" not in memory.held[SERVICE, INDEX]


def test_adding_again_replaces(credentials: Credentials) -> None:
    """Rotating a secret leaves one entry and one name."""
    credentials.add("nodes", Secret("", "old"))
    credentials.add("nodes", Secret("", "new"))
    assert credentials.get("nodes").reveal() == "new"
    assert credentials.names() == ("nodes",)


def test_forgetting(credentials: Credentials, memory: Memory) -> None:
    """The entry and the name are gone; forgetting twice is told."""
    credentials.add("nodes", SECRET)
    credentials.forget("nodes")
    assert (SERVICE, "nodes") not in memory.held
    assert credentials.names() == ()
    with pytest.raises(NoSecret, match="no credential nodes"):
        credentials.forget("nodes")


def test_a_name_whose_entry_was_taken_away_is_not_listed(
    credentials: Credentials, memory: Memory
) -> None:
    """Somebody may tidy the keyring by its own program."""
    credentials.add("nodes", SECRET)
    del memory.held[SERVICE, "nodes"]
    assert credentials.names() == ()


@pytest.mark.parametrize("kept", ["", "{", '{"a": 1}', "5", '[1, "nodes", "../x"]'])
def test_a_damaged_list_of_names_loses_no_secret(
    kept: str, credentials: Credentials, memory: Memory
) -> None:
    """It is made anew; the secrets have entries of their own."""
    credentials.add("nodes", SECRET)
    memory.held[SERVICE, INDEX] = kept
    assert credentials.get("nodes") == SECRET
    credentials.add("engines", SECRET)
    assert "engines" in credentials.names()


def test_an_unknown_name_says_what_to_do(credentials: Credentials) -> None:
    """Both ways: the command, and the environment with the very variable."""
    with pytest.raises(NoSecret, match="no credential studio-engines") as caught:
        credentials.get("studio-engines")
    assert "cutsheet credential add studio-engines" in caught.value.fix
    assert "CUTSHEET_CREDENTIALS=environment" in caught.value.fix
    assert "CUTSHEET_CREDENTIAL_STUDIO_ENGINES=" in caught.value.fix


@pytest.mark.parametrize(
    "kept",
    [
        CANARY,
        "{",
        "5",
        "null",
        "[]",
        "{}",
        f'{{"secret": "{CANARY}"}}',
        f'{{"user": 1, "secret": "{CANARY}"}}',
        '{"user": "a", "secret": ""}',
    ],
)
def test_a_damaged_entry_is_told_without_showing_it(
    kept: str, credentials: Credentials, memory: Memory
) -> None:
    """What stands there may be a secret in another form."""
    memory.held[SERVICE, "nodes"] = kept
    with pytest.raises(NoSecret, match="nodes is damaged") as caught:
        credentials.get("nodes")
    assert CANARY not in str(vars(caught.value))
    assert "add nodes" in caught.value.fix


class Denied(Exception):
    """A system's own error, as keyrings pass them on."""


@pytest.mark.parametrize(
    ("failure", "words"),
    [
        (KeyringLocked(CANARY), "is locked"),
        (InitError(CANARY), "could not be opened"),
        (PasswordSetError(CANARY), "refused .PasswordSetError."),
        (KeyringError(CANARY), "refused .KeyringError."),
        (Denied(CANARY), "failed .Denied."),
        (OSError(CANARY), "failed .OSError."),
    ],
)
@pytest.mark.parametrize(
    "act",
    [
        lambda held: held.get("nodes"),
        lambda held: held.add("nodes", SECRET),
        lambda held: held.forget("nodes"),
        lambda held: held.names(),
    ],
    ids=["get", "add", "forget", "names"],
)
def test_a_keyring_that_can_not_be_used_is_told(
    failure: Exception,
    words: str,
    act: Callable[[Credentials], object],
    credentials: Credentials,
    memory: Memory,
) -> None:
    """Which way, and what to do, the environment included; never in the keyring's own words."""
    memory.failure = failure
    with pytest.raises(NoSecret, match=words) as caught:
        act(credentials)
    assert "CUTSHEET_CREDENTIALS=environment" in caught.value.fix
    assert CANARY not in str(vars(caught.value))
    assert caught.value.__context__ is None


def test_no_keyring_at_all_is_told() -> None:
    """The backend that stands where there is none."""
    with pytest.raises(NoSecret, match="has no keyring") as caught:
        Credentials({}, without_keyring()).get("nodes")
    assert "CUTSHEET_CREDENTIAL_NODES=user:secret" in caught.value.fix


def test_a_keyring_that_keeps_nothing_is_told() -> None:
    """One that swallows everything without a word is found out when adding."""
    swallowing: KeyringBackend = null.Keyring()  # type: ignore[no-untyped-call]
    with pytest.raises(NoSecret, match="did not keep it"):
        Credentials({}, swallowing).add("nodes", SECRET)


def test_the_keyring_of_this_computer_is_the_usual_one(
    memory: Memory, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Without a backend of its own it asks the keyring library for the one in use."""
    monkeypatch.setattr(keyring, "get_keyring", lambda: memory)
    Credentials({}).add("nodes", SECRET)
    assert (SERVICE, "nodes") in memory.held


ENVIRONMENT = {
    "CUTSHEET_CREDENTIALS": "environment",
    "CUTSHEET_CREDENTIAL_STUDIO_ENGINES": f"engineer:{CANARY}",
    "CUTSHEET_CREDENTIAL_NODES": "key",
    "CUTSHEET_CREDENTIAL_COLONS": ":a:b",
    "CUTSHEET_CREDENTIAL_EMPTY": "",
    "CUTSHEET_CREDENTIAL_USER_ALONE": "engineer:",
}


def test_the_environment_is_used_when_it_says_so(memory: Memory) -> None:
    """And the keyring is then not touched at all."""
    memory.failure = KeyringLocked()
    found = Credentials(ENVIRONMENT, memory)
    assert found.get("studio-engines") == SECRET
    assert found.get("studio.engines") == SECRET
    assert found.get("nodes") == Secret("", "key")
    assert found.get("colons") == Secret("", "a:b")
    assert found.names() == ("colons", "empty", "nodes", "studio-engines", "user-alone")


@pytest.mark.parametrize("switch", [None, "keyring"])
def test_the_environment_is_not_used_unless_it_says_so(
    switch: str | None, credentials: Credentials, memory: Memory
) -> None:
    """A variable left over does not take the keyring's place."""
    left_over = dict(ENVIRONMENT)
    del left_over["CUTSHEET_CREDENTIALS"]
    credentials.add("nodes", Secret("", "from the keyring"))
    environment = left_over | ({} if switch is None else {"CUTSHEET_CREDENTIALS": switch})
    assert Credentials(environment, memory).get("nodes").reveal() == "from the keyring"


@pytest.mark.parametrize("name", ["empty", "user-alone", "missing"])
def test_a_variable_without_secret_is_told(name: str) -> None:
    """By the variable's name."""
    with pytest.raises(NoSecret, match=variable_of(name)):
        Credentials(ENVIRONMENT, without_keyring()).get(name)


def test_the_environment_is_not_written(memory: Memory) -> None:
    """Adding and forgetting are for whoever sets the variables."""
    held = Credentials(ENVIRONMENT, memory)
    acts: tuple[Callable[[], None], ...] = (
        lambda: held.add("nodes", SECRET),
        lambda: held.forget("nodes"),
    )
    for act in acts:
        with pytest.raises(CallError, match="from the environment") as caught:
            act()
        assert "CUTSHEET_CREDENTIAL_NODES" in caught.value.fix
    assert memory.held == {}


def test_another_word_in_the_switch_is_told(memory: Memory) -> None:
    """A slip of the pen does not fall back to anything."""
    with pytest.raises(CallError, match="CUTSHEET_CREDENTIALS is 'enviroment'"):
        Credentials({"CUTSHEET_CREDENTIALS": "enviroment"}, memory).get("nodes")


@pytest.mark.parametrize("name", ["", INDEX, "-x", "a b", "a/b", "a\nb", "x" * 65, "\u00e9"])
def test_names_that_are_none(name: str, credentials: Credentials) -> None:
    """The entry with the list of names among them."""
    with pytest.raises(CallError, match="no name for a credential"):
        credentials.add(name, SECRET)
    with pytest.raises(CallError):
        credentials.get(name)


def test_names_that_are() -> None:
    """As a plan would write them."""
    assert [checked_name(name) for name in ("studio-engines", "a", "9.b_C")] == [
        "studio-engines",
        "a",
        "9.b_C",
    ]


FRESH = Secret("engineer", "canary-of-tomorrow")


def test_a_change_keeps_both_until_it_is_finished(credentials: Credentials, memory: Memory) -> None:
    """The old one is not touched before; finishing or dropping twice does nothing more."""
    credentials.add("nodes", SECRET)
    before = memory.held[SERVICE, "nodes"]
    credentials.begin_change("nodes", FRESH)
    assert memory.held[SERVICE, "nodes"] == before
    assert (credentials.current("nodes"), credentials.pending("nodes")) == (SECRET, FRESH)
    assert credentials.names() == ("nodes",)
    credentials.drop_change("nodes")
    credentials.drop_change("nodes")
    assert credentials.get("nodes") == SECRET
    credentials.begin_change("nodes", FRESH)
    credentials.finish_change("nodes")
    credentials.finish_change("nodes")
    assert (credentials.get("nodes"), credentials.pending("nodes")) == (FRESH, None)


def test_a_computer_that_dies_while_finishing_loses_nothing(
    credentials: Credentials, memory: Memory
) -> None:
    """Before each of its two writes the new one is in the keyring."""
    credentials.add("nodes", SECRET)
    credentials.begin_change("nodes", FRESH)

    class Died(BaseException):
        """The power is gone."""

    with (
        patch.object(memory, "delete_password", side_effect=Died),
        pytest.raises(Died),
    ):
        credentials.finish_change("nodes")
    assert credentials.current("nodes") == credentials.pending("nodes") == FRESH
    credentials.finish_change("nodes")
    assert credentials.get("nodes") == FRESH


def test_while_a_change_is_under_way(credentials: Credentials) -> None:
    """Nobody knows without trying which one a device takes; neither may be lost."""
    with pytest.raises(NoSecret, match="no credential nodes"):
        credentials.begin_change("nodes", FRESH)
    credentials.add("nodes", SECRET)
    credentials.begin_change("nodes", FRESH)
    for act in (
        lambda: credentials.get("nodes"),
        lambda: credentials.add("nodes", SECRET),
        lambda: credentials.forget("nodes"),
        lambda: credentials.begin_change("nodes", SECRET),
    ):
        with pytest.raises(CallError, match="is being changed") as caught:
            act()
        assert "credential rotate nodes" in caught.value.fix
        assert "canary" not in str(vars(caught.value))
    with pytest.raises(CallError, match="from the environment"):
        Credentials(ENVIRONMENT).begin_change("nodes", FRESH)


PROGRAMS = ("dbus-run-session", "gnome-keyring-daemon")
TALK = """
    from orchestrator.credentials import Credentials
    from orchestrator.errors import NoSecret
    from orchestrator.facility.secret import Secret

    held = Credentials()
    try:
        held.add("studio-engines", Secret("engineer", "a:b\\u00e9"))
        held.add("nodes", Secret("", "key"))
        print(held.names(), ascii(held.get("studio-engines").reveal()))
        held.forget("nodes")
        print(held.names())
    except NoSecret as error:
        print(error.what)
        print(error.fix)
"""


BUS = """<!DOCTYPE busconfig PUBLIC "-//freedesktop//DTD D-Bus Bus Configuration 1.0//EN"
 "http://www.freedesktop.org/standards/dbus/1.0/busconfig.dtd">
<busconfig><type>session</type><listen>unix:tmpdir=/tmp</listen><policy context="default">
<allow send_destination="*" eavesdrop="true"/><allow eavesdrop="true"/><allow own="*"/>
{denied}</policy></busconfig>
"""
"""A session bus that starts nothing by itself."""


def session(home: Path, daemon: str, denied: str | None = None) -> str:
    """Run the talk in a desktop session of its own, whose keyring is started by ``daemon``.

    ``denied`` is a rule of the session's bus; with one, the bus starts nothing by itself.
    """
    missing = [program for program in PROGRAMS if shutil.which(program) is None]
    if missing:
        why = f"not installed: {', '.join(missing)}; apt-get install gnome-keyring dbus"
        if os.environ.get("CI") == "true":
            pytest.fail(why)
        pytest.skip(why)
    (home / "run").mkdir(mode=0o700, exist_ok=True)
    script = home / "talk.py"
    script.write_text(textwrap.dedent(TALK))
    places = {"HOME": "", "XDG_DATA_HOME": "data", "XDG_RUNTIME_DIR": "run", "XDG_CACHE_HOME": "c"}
    kept = {name: os.environ[name] for name in ("PATH", "LANG") if name in os.environ}
    environment = kept | {name: str(home / place) for name, place in places.items()}
    environment["PYTHONPATH"] = str(Path(__file__).parents[1])
    bus = []
    if denied is not None:
        (home / "bus.conf").write_text(BUS.format(denied=denied))
        bus = [f"--config-file={home / 'bus.conf'}"]
    done = subprocess.run(
        [
            "dbus-run-session",
            *bus,
            "--",
            "sh",
            "-c",
            f'{daemon} >&2; exec "$0" "$1"',
            sys.executable,
            script,
        ],
        env=environment,
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 0, done.stderr
    return done.stdout


def test_a_real_secret_service(tmp_path: Path) -> None:
    """GNOME's keyring over D-Bus: unlocked it keeps and gives back, locked it says so."""
    unlocked = "printf password | gnome-keyring-daemon --unlock --components=secrets"
    assert session(tmp_path, unlocked).splitlines() == [
        "('nodes', 'studio-engines') 'a:b\\xe9'",
        "('studio-engines',)",
    ]
    locked = "gnome-keyring-daemon --start --components=secrets"
    said = session(tmp_path, locked).splitlines()
    assert said[0] == "the keyring is locked"
    assert "unlock it" in said[1]


UNLOCKED = "printf password | gnome-keyring-daemon --unlock --components=secrets"


def test_a_real_secret_service_that_denies_access(tmp_path: Path) -> None:
    """A bus that lets nothing through to it: told as that, with where to allow it."""
    said = session(tmp_path, UNLOCKED, '<deny send_destination="org.freedesktop.secrets"/>')
    what, fix = said.splitlines()
    assert what == "the keyring denies access to this program"
    assert "session's bus" in fix
    assert "CUTSHEET_CREDENTIALS=environment" in fix


def test_a_session_without_a_secret_service(tmp_path: Path) -> None:
    """A real bus on which nobody keeps secrets."""
    what, fix = session(tmp_path, "true", "").splitlines()
    assert what == "this computer has no keyring"
    assert "Secret Service" in fix


@pytest.mark.parametrize("call", [["list"], ["add", "nodes"], ["forget", "nodes"]])
def test_a_computer_without_a_session(call: list[str], tmp_path: Path) -> None:
    """The command itself, where there is no bus at all: in words, with the ways out."""
    kept = {name: os.environ[name] for name in ("PATH", "LANG") if name in os.environ}
    done = subprocess.run(
        [sys.executable, "-m", "orchestrator.cli.main", "credential", *call],
        env={**kept, "HOME": str(tmp_path), "PYTHONPATH": str(Path(__file__).parents[1])},
        input="canary-word\n",
        capture_output=True,
        text=True,
        timeout=60,
        check=False,
    )
    assert done.returncode == 2
    assert "this computer has no keyring" in done.stderr
    assert "fix: start or install one" in done.stderr
    assert "Traceback" not in done.stdout + done.stderr
    assert "canary" not in done.stdout + done.stderr
