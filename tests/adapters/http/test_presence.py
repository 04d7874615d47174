"""Somebody who lets no connection in is seen all the same, and a memory of somebody is not."""

import asyncio
import json
import os
import shutil
import subprocess
import sys
from typing import Any

import pytest

from orchestrator.adapters.http import presence
from orchestrator.adapters.http.presence import Neighbour, Presence
from tests.adapters.quiet_network import ARP_ONLY, NOBODY, WITH_ECHO
from tests.example import ROOT


@pytest.fixture(scope="module")
def said() -> dict[str, Any]:
    """What the probe says of each unit on a quiet network of its own."""
    if not sys.platform.startswith("linux") or not all(map(shutil.which, ("unshare", "ip"))):
        pytest.skip("network namespaces, or the commands for them, are missing here")
    as_root = ["--user", "--map-root-user"] if os.geteuid() else []
    done = subprocess.run(
        ["unshare", *as_root, "--net", sys.executable, "-m", "tests.adapters.quiet_network"],
        cwd=ROOT,
        capture_output=True,
        text=True,
        check=False,
        timeout=60,
    )
    if done.returncode and ("unshare" in done.stderr or "not permitted" in done.stderr):
        pytest.skip(f"no network of its own can be made here: {done.stderr.strip()[-200:]}")
    assert done.returncode == 0, done.stderr
    found: dict[str, Any] = json.loads(done.stdout)
    return found


def test_a_unit_that_answers_no_connection_is_seen_by_its_hardware_address(
    said: dict[str, Any],
) -> None:
    """Whoever answers the question for its address has it."""
    assert said[ARP_ONLY] == "a unit with the hardware address 02:00:00:00:00:02 has the address"


def test_an_answer_to_an_echo_is_a_sign(said: dict[str, Any]) -> None:
    """Where this user may send one."""
    assert said[WITH_ECHO] == "something answers an echo"


def test_nobody_gives_no_sign(said: dict[str, Any]) -> None:
    """And the look takes no longer than it was given."""
    assert said[NOBODY] is None
    assert said["seconds"] < 2.0


def test_what_the_table_remembers_is_no_sign(said: dict[str, Any]) -> None:
    """A unit that has just left is still in it; its address is free for the next one."""
    assert said["left"] is None


def test_this_computers_own_addresses_are_not_looked_at(monkeypatch: pytest.MonkeyPatch) -> None:
    """Everybody in 127.0.0.0/8 is this computer, and it answers every echo."""
    monkeypatch.setattr(presence, "neighbours", lambda: [Neighbour("127.44.3.71", "02", 0.0)])
    for address in ("127.44.3.71", "::1", "a-name.invalid"):
        look = Presence(address)
        assert asyncio.run(look.echo(0.1)) is None
        assert look.neighbour() is None


def test_only_who_answered_since_counts(monkeypatch: pytest.MonkeyPatch) -> None:
    """By the age of the entry, in the documentation's network (RFC 5737)."""
    for age, seen in ((0.0, True), (30.0, False)):
        entry = Neighbour("192.0.2.50", "02:00:00:00:00:07", age)
        monkeypatch.setattr(presence, "neighbours", lambda entry=entry: [entry])
        assert (Presence("192.0.2.50").neighbour() is not None) is seen
        assert Presence("192.0.2.51").neighbour() is None


def test_a_table_that_can_not_be_read_is_no_sign(monkeypatch: pytest.MonkeyPatch) -> None:
    """It says neither that somebody is there nor that nobody is."""

    def broken() -> list[Neighbour]:
        raise PermissionError

    monkeypatch.setattr(presence, "neighbours", broken)
    assert Presence("192.0.2.50").neighbour() is None


def test_the_table_of_this_computer_is_read() -> None:
    """Every entry has an address, a hardware address and an age."""
    for one in presence.neighbours():
        assert one.hardware
        assert one.age_s >= 0
