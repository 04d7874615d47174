"""NMOS nodes and a registry over TLS (AMWA BCP-003-01), by whole commands over sockets."""

from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path

import pytest

from mocks.nmos.node import Nmos
from mocks.referee import Referee
from mocks.server import serve
from mocks.world import World
from tests.adapters.papers import Paper, authority, issued, pem_of, self_signed
from tests.cli.stage import ANSWERS, Stage, cutsheet

NODE, EAR, REGISTRY = "127.44.3.41", "127.44.3.42", "127.44.3.90"
PLAN = """
facility: Tern Point Radio
{top}
networks:
  media:
    subnet: 127.44.3.0/24
    numbering: {{range: 1-2999, numbers_per_host: 10, first_in_block: 1,
      group_range: 239.194.0.0/16, port: 5004}}
rooms: {{rack: {{site: point, network: media}}}}
devices:
  talker: {{room: rack, speaks: nmos, scheme: https, port: 8443, serial: SW-7,
    address: {node}{tls}}}
  ear: {{room: rack, speaks: nmos, scheme: https, port: 8443, serial: SW-8, address: {ear}{tls}}}
"""
WORLD = """
port: 8443
networks: {media: {subnet: 127.44.3.0/24}}
devices:
  talker: {make: nmos, model: SN-2, serial: SW-7, firmware: "1.0", address: 127.44.3.41, prefix: 24,
    sources: {program: {group: "239.194.1.155:5004", label: PGM, enabled: true},
      second: {group: "239.194.1.156:5004", label: SEC, enabled: true}}}
  ear: {make: nmos, model: SN-2, serial: SW-8, firmware: "1.0", address: 127.44.3.42, prefix: 24,
    destinations: {monitor: {group: "239.194.1.155:5004", label: MON}}}
  registry: {make: nmos-registry, model: RG-1, serial: RG-1, firmware: "1.0",
    address: 127.44.3.90, prefix: 24}
"""
WANTED = """
playbook: Other numbers
devices:
  talker: {sources: {PGM: {number: 413}, SEC: {number: 414}}}
"""
AUTHORITY = "tls: {authority: plant.pem}"


@contextmanager
def secured(
    folder: Path, papers: dict[str, Paper], *, top: str = "", tls: str = "", pem: str = ""
) -> Iterator[Stage]:
    """Two nodes and a registry that speak TLS alone."""
    (folder / "playbooks").mkdir(parents=True, exist_ok=True)
    plan = PLAN.format(top=top, tls=tls, node=NODE, ear=EAR)
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    (folder / "playbooks" / "numbers.yaml").write_text(WANTED, encoding="utf-8")
    if pem:
        (folder / "plant.pem").write_text(pem, encoding="ascii")
    contexts = {name: paper.server(folder) for name, paper in papers.items()}
    with serve(World.from_text(WORLD), connect_map=True, tls=contexts) as running:
        yield Stage(folder, running.world, running)


@pytest.fixture(scope="module")
def plant() -> tuple[dict[str, Paper], str]:
    """Certificates of a private authority, for the addresses, and its own."""
    held = authority()
    places = {"talker": NODE, "ear": EAR, "registry": REGISTRY}
    return {name: issued(held, at) for name, at in places.items()}, pem_of(held)


def test_a_whole_change_over_tls(tmp_path: Path, plant: tuple[dict[str, Paper], str]) -> None:
    """Senders moved, the receiver pointed with the sender's own description, and all taken back.

    What the nodes say of themselves (BCP-003-01: https in every URL) is what is spoken to.
    """
    papers, pem = plant
    with secured(tmp_path, papers, top=AUTHORITY, pem=pem) as stage:
        referee = Referee(stage.world)
        assert stage.run("check").status == 0
        applied = stage.run("apply", "--yes", *ANSWERS)
        assert applied.status == 0, applied.said
        node, ear = stage.world.machine("talker"), stage.world.machine("ear")
        assert isinstance(node, Nmos)
        assert node.memory.running.sources["program"].group == "239.194.1.157:5004"
        assert ear.memory.running.destinations["monitor"].group == "239.194.1.157:5004"
        files = [held["active"]["transport_file"] for name, held in
                 ear.memory.running.kept.items() if name.startswith("receivers/")]  # fmt: skip
        assert "c=IN IP4 239.194.1.157" in str(files)
        referee.new_run()
        undone = stage.run("undo", stage.last(), "--yes", *ANSWERS)
        assert undone.status == 0, undone.said
        assert referee.verdict().clean, referee.verdict()


def test_one_that_nobody_vouches_for_is_sent_nothing(
    tmp_path: Path, plant: tuple[dict[str, Paper], str]
) -> None:
    """By this computer's trust, and with another name in its certificate."""
    papers, pem = plant
    with secured(tmp_path / "a", papers) as stage:
        told = stage.run("survey", "--device", "talker")
        assert told.status == 4
        assert "authority that is not trusted here" in told.said
        assert stage.world.log == ()
    other = {**papers, "talker": papers["ear"]}
    with secured(tmp_path / "b", other, top=AUTHORITY, pem=pem) as stage:
        told = stage.run("survey", "--device", "talker")
        assert told.status == 4
        assert "certificate that is not trusted" in told.said
        assert stage.world.log == ()


def test_a_pinned_node(tmp_path: Path) -> None:
    """A certificate of its own making, confirmed by its fingerprint; another one is refused."""
    papers = {"talker": self_signed("talker"), "ear": self_signed("ear")}
    with secured(tmp_path, papers, tls=", tls: {pinned: true}") as stage:
        ways = ("--facility", str(tmp_path), "--connect-file", str(stage.map))
        for name, paper in papers.items():
            ended = cutsheet("certificate", "confirm", name, "--sha256", paper.sha256, *ways)
            assert ended.status == 0, ended.said
        applied = stage.run("apply", "--yes", *ANSWERS)
        assert applied.status == 0, applied.said
    changed = {**papers, "talker": self_signed("another")}
    with secured(tmp_path, changed, tls=", tls: {pinned: true}") as stage:
        told = stage.run("survey", "--device", "talker")
        assert (told.status, "its certificate has changed" in told.said) == (4, True)


def test_a_certificate_that_names_the_node(tmp_path: Path) -> None:
    """As BCP-003-01 wants it; the node's URLs may hold that name, too."""
    held = authority()
    papers = {
        "talker": issued(held, "talker.tern-point.example"),
        "ear": issued(held, EAR),
    }
    with secured(tmp_path, papers, top=AUTHORITY, pem=pem_of(held)) as stage:
        plan = stage.folder / "plan.yaml"
        text = plan.read_text(encoding="utf-8")
        named = "serial: SW-7, tls: {name: talker.tern-point.example}"
        plan.write_text(text.replace("serial: SW-7", named), encoding="utf-8")
        assert stage.run("survey").status == 0


def test_what_began_over_tls_does_not_go_on_in_the_clear(
    tmp_path: Path, plant: tuple[dict[str, Paper], str], monkeypatch: pytest.MonkeyPatch
) -> None:
    """A node whose Connection API is named by http alone is read no further, and says so."""
    papers, pem = plant
    with secured(tmp_path, papers, top=AUTHORITY, pem=pem) as stage:
        monkeypatch.setattr(stage.world.machine("talker"), "scheme", "http")
        told = stage.run("survey", "--device", "talker")
        assert told.status == 4
        assert "by the scheme by which it is spoken to" in told.said


def test_a_registry_over_tls(tmp_path: Path, plant: tuple[dict[str, Paper], str]) -> None:
    """The authority at the top of the plan counts for it; without, it is told and asked nothing."""
    papers, pem = plant
    url = ("--registry", f"https://{REGISTRY}:8443")
    with secured(tmp_path / "a", papers, top=AUTHORITY, pem=pem) as stage:
        found = stage.run("find", *url)
        assert found.status == 0, found.said
        assert "SW-7" in found.said
    with secured(tmp_path / "b", papers) as stage:
        told = stage.run("find", *url)
        assert told.status == 4
        assert "not trusted" in told.said
        assert stage.world.log == ()
