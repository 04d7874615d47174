"""This computer's interfaces and routes: its own, and those of a network namespace."""

import ipaddress
import os
import shutil
import subprocess
import sys
from pathlib import Path

import pytest

from orchestrator import computer
from orchestrator.facility.computer import Route
from tests.example import ROOT

# As proc(5) has it, of a little-endian machine: a default route and one on the link.
LITTLE = """\
Iface\tDestination\tGateway \tFlags\tRefCnt\tUse\tMetric\tMask\t\tMTU\tWindow\tIRTT
eth1\t00000000\t010200C0\t0003\t0\t0\t0\t00000000\t0\t0\t0
eth0\t006433C6\t00000000\t0001\t0\t0\t0\t00FFFFFF\t0\t0\t0
eth0\t007100CB\t00000000\t0000\t0\t0\t0\t00FFFFFF\t0\t0\t0
lo\t007100CB\t00000000\t0201\t0\t0\t0\t00FFFFFF\t0\t0\t0
"""


@pytest.mark.skipif(sys.byteorder != "little", reason="the text is of a little-endian machine")
def test_routes_are_read_as_the_kernel_writes_them() -> None:
    """Those that are up and lead somewhere; a gateway where there is one."""
    assert list(computer.read_routes(LITTLE.splitlines())) == [
        Route(ipaddress.IPv4Network("0.0.0.0/0"), "eth1", ipaddress.IPv4Address("192.0.2.1")),
        Route(ipaddress.IPv4Network("198.51.100.0/24"), "eth0", None),
    ]


def test_this_computer_has_a_loopback_address() -> None:
    """RFC 1122 section 3.2.1.3: 127.0.0.1, as the common choice of every system."""
    found = computer.look()
    assert "127.0.0.1" in {str(one.address.ip) for one in found.attached}


def test_routes_that_are_not_told_are_none(monkeypatch: pytest.MonkeyPatch, tmp_path: Path) -> None:
    """A system without that file: a person has to look."""
    monkeypatch.setattr(computer, "ROUTES", tmp_path / "none")
    assert computer.look().routes is None


def in_namespace(*lines: str) -> subprocess.CompletedProcess[str]:
    """Run shell lines in a network namespace of their own."""
    why = _no_namespaces()
    if why and not os.environ.get("CI"):
        pytest.skip(why)
    script = "; ".join(["set -e", "ip link set lo up", *lines])
    return subprocess.run(
        ["unshare", "--map-root-user", "--net", "sh", "-c", script],
        capture_output=True,
        text=True,
        check=False,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
    )


def _no_namespaces() -> str:
    if shutil.which("unshare") is None or shutil.which("ip") is None:
        return "needs 'unshare' (util-linux) and 'ip' (iproute2)"
    made = ["unshare", "--map-root-user", "--net", "ip", "link", "add", "a0", "type", "veth"]
    tried = subprocess.run(made, capture_output=True, text=True, check=False)
    return f"no network namespaces here: {tried.stderr.strip()}" if tried.returncode else ""


LOOK = f"{sys.executable} -c 'from orchestrator import computer; print(computer.look())'"
BENCH = ("ip link add b0 type veth", "ip addr add 192.0.2.9/24 dev b0", "ip link set b0 up")


def test_a_namespace_is_seen_as_it_was_made() -> None:
    """Reference: 'ip' made it. An interface that is down counts for nothing."""
    done = in_namespace(
        *BENCH,
        "ip link add d0 type veth",
        "ip addr add 192.0.2.8/24 dev d0",
        "ip route add default via 192.0.2.1",
        LOOK,
    )
    assert done.returncode == 0, done.stderr
    assert "IPv4Interface('192.0.2.9/24')" in done.stdout
    assert "192.0.2.8" not in done.stdout
    assert "to=IPv4Network('0.0.0.0/0'), interface='b0'" in done.stdout
    assert "gateway=IPv4Address('192.0.2.1')" in done.stdout
