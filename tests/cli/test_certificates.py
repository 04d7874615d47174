"""Devices over TLS, by whole commands: a private authority, and certificates that are confirmed."""

import io
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from mocks.server import serve
from mocks.world import World
from orchestrator.documents.folder import load_checked
from tests.adapters.papers import Paper, authority, issued, pem_of, self_signed
from tests.cli.stage import APPLY, NODES, Ended, Stage, cutsheet, facility
from tests.example import WORLD

FEED = "transmitter-feed"
PINNED = "tls: {pinned: true}"
ELSEWHERE = frozenset({"talks-io", "alert-inserter"})
"""Nodes that stand at another address than the plan has, or that are not spoken to."""


@contextmanager
def over_tls(folder: Path, papers: dict[str, Paper], tls: str = PINNED) -> Iterator[Stage]:
    """The example with nodes that speak TLS, and a description that says ``tls`` of them."""
    keys = folder / "keys"
    keys.mkdir(exist_ok=True)
    world, copied = World.load(WORLD), folder / "facility"
    if not copied.exists():
        facility(copied, NODES)
        node = copied / "devices" / "tamarisk-node.yaml"
        text = node.read_text(encoding="utf-8").replace("scheme: http ", f"{tls}\nscheme: https ")
        node.write_text(text, encoding="utf-8")
    contexts = {name: paper.server(keys) for name, paper in papers.items()}
    addresses = [f"127.44.3.{host}" for host in range(230, 240)]
    with serve(world, connect_map=True, map_addresses=addresses, tls=contexts) as running:
        yield Stage(copied, world, running)


def nodes() -> list[str]:
    """The nodes of the example, by their make."""
    world = World.load(WORLD)
    return [name for name in world.names if world.machine(name).make == "tamarisk"]


@pytest.fixture(scope="module")
def papers() -> dict[str, Paper]:
    """A certificate for each node, of its own making, and long expired."""
    return {name: self_signed(name) for name in nodes()}


class Terminal(io.StringIO):
    """Standard input with somebody at it."""

    def isatty(self) -> bool:
        """Yes."""
        return True


def certificate(stage: Stage, *more: str, typed: str | io.StringIO = "") -> Ended:
    """``cutsheet certificate ...``."""
    ways = [] if more[0] != "confirm" else ["--connect-file", str(stage.map)]
    return cutsheet("certificate", *more, "--facility", str(stage.folder), *ways, typed=typed)


def confirm_all(stage: Stage, papers: dict[str, Paper]) -> None:
    """Confirm every node's certificate by its fingerprint, as it came with the unit."""
    for name in papers.keys() - ELSEWHERE:
        paper = papers[name]
        assert certificate(stage, "confirm", name, "--sha256", paper.sha256).status == 0


def test_first_use_is_confirmed_by_a_person(tmp_path: Path, papers: dict[str, Paper]) -> None:
    """Until then nothing is sent; then it is kept in a file of the facility, not in the plan."""
    with over_tls(tmp_path, papers) as stage:
        plan = (stage.folder / "plan.yaml").read_bytes()
        first = stage.run("survey", "--device", FEED)
        assert first.status == 4
        assert "nobody has confirmed its certificate yet" in first.said
        assert stage.world.log == ()
        shown = certificate(stage, "confirm", FEED, typed=Terminal("yes\n"))
        assert shown.status == 0
        assert f"{FEED} at 127.44.3.71 (serial TM-7701 in the plan)" in shown.said
        assert papers[FEED].sha256 in shown.out
        assert f"subject CN={FEED}" in shown.out
        assert stage.world.log == ()
        assert stage.run("survey", "--device", FEED).status == 0
        pin = load_checked(stage.folder).pins[FEED]
        assert (pin.sha256, pin.serial) == (papers[FEED].sha256, "TM-7701")
        assert (stage.folder / "plan.yaml").read_bytes() == plan
        assert papers[FEED].sha256 in certificate(stage, "list").out
        again = certificate(stage, "confirm", FEED, typed=Terminal("no\n"))
        assert (again.status, "the one confirmed" in again.said) == (0, True)
        assert certificate(stage, "forget", FEED).status == 0
        assert stage.run("survey", "--device", FEED).status == 4
        assert certificate(stage, "forget", FEED).status == 2


@pytest.mark.parametrize("typed", ["", "yes\n", Terminal("no\n"), Terminal("")])
def test_nobody_else_can_confirm(
    typed: str | io.StringIO, tmp_path: Path, papers: dict[str, Paper]
) -> None:
    """Not a pipe, not a slip of the finger; with the fingerprint given, only that very one."""
    with over_tls(tmp_path, papers) as stage:
        assert certificate(stage, "confirm", FEED, typed=typed).status == 1
        other = certificate(stage, "confirm", FEED, "--sha256", self_signed().sha256)
        assert other.status == 1
        assert "that is another" in other.said
        assert certificate(stage, "confirm", FEED, "--sha256", "12:34").status == 2
        assert not (stage.folder / "certificates.yaml").exists()


def test_a_changed_certificate(tmp_path: Path, papers: dict[str, Paper]) -> None:
    """Both fingerprints and the fix are told, nothing is sent, and the new one can be confirmed."""
    with over_tls(tmp_path, papers) as stage:
        confirm_all(stage, papers)
    changed = {**papers, FEED: self_signed("another")}
    with over_tls(tmp_path, changed) as stage:
        ended = stage.run("survey", "--device", FEED)
        assert ended.status == 4
        assert "its certificate has changed" in ended.said
        whole = ended.said.replace(" ", "").replace(":", "")
        for paper in (papers[FEED], changed[FEED]):
            assert paper.sha256.replace(":", "") in whole
        assert stage.world.log == ()
        told = certificate(stage, "confirm", FEED, typed=Terminal("yes\n")).said
        assert "NOT the one that was confirmed before" in told
        assert papers[FEED].sha256 in told
        assert stage.run("survey", "--device", FEED).status == 0


def test_two_nodes_exchange_addresses_and_keep_their_certificates(
    tmp_path: Path, papers: dict[str, Paper]
) -> None:
    """What is confirmed belongs to the device, wherever it stands: a whole change over TLS."""
    with over_tls(tmp_path, papers) as stage:
        confirm_all(stage, papers)
        assert stage.run(*APPLY).status == 0
        assert stage.target_reached()
        assert stage.referee.verdict().clean


def test_nothing_is_written_where_a_certificate_has_changed(
    tmp_path: Path, papers: dict[str, Paper]
) -> None:
    """A work order made before is no longer true, and names the device."""
    with over_tls(tmp_path, papers) as stage:
        confirm_all(stage, papers)
        as_found = stage.folder / "found.json"
        stage.run("survey", "--out", str(as_found))
        order = stage.folder / "order.json"
        stage.run("dry-run", "--as-found", str(as_found), "--out", str(order))
    changed = {**papers, "studio-north-mics": self_signed("another")}
    with over_tls(tmp_path, changed) as stage:
        ended = stage.run(*APPLY, str(order))
        assert ended.status != 0
        assert "studio-north-mics" in ended.said
        assert stage.writes() == 0


def test_a_private_authority(tmp_path: Path) -> None:
    """Its file lies in the facility's folder; whoever it vouches for is trusted, others are not."""
    plant = authority()
    papers = {name: issued(plant, World.load(WORLD).machine(name).memory.running.lan.address)
              for name in nodes()}  # fmt: skip
    papers["rack-codec"] = self_signed()
    with over_tls(tmp_path, papers, "tls: {authority: authorities/plant.pem}") as stage:
        missing = stage.run("check")
        assert missing.status == 3
        assert "authorities/plant.pem can't be read" in missing.said
        (stage.folder / "authorities").mkdir()
        held = stage.folder / "authorities" / "plant.pem"
        held.write_text(pem_of(plant), encoding="ascii")
        assert stage.run("check").status == 0
        assert stage.run("survey", "--device", FEED).status == 0
        other = World.load(WORLD)
        with over_tls(tmp_path, {**papers, FEED: issued(authority(), "127.44.3.71")}) as forged:
            ended = forged.run("survey", "--device", FEED)
            assert ended.status == 4
            assert "authority that is not trusted here" in ended.said
            assert forged.world.log == other.log


def test_what_is_not_spoken_to_over_tls(small: Stage) -> None:
    """It has no certificate to confirm, and that it signs in in the clear is said."""
    ended = certificate(small, "confirm", FEED)
    assert ended.status == 2
    assert "not spoken to over TLS" in ended.said
    assert certificate(small, "confirm", "nobody").status == 2
    for command in ("check", "survey"):
        said = small.run(command).said
        assert "In the clear: the sign-in of" in said
        assert FEED in said or "more" in said
