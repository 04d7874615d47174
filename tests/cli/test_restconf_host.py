"""A host that speaks RESTCONF alone is moved to another network, gateway and all, and back."""

from pathlib import Path

from mocks.referee import Referee
from mocks.server import serve
from mocks.world import World
from tests.cli.stage import ANSWERS, Stage, cutsheet

FAR, GATEWAY = "127.45.3.31", "127.45.3.254"
SECRET = {"CUTSHEET_CREDENTIAL_HOSTS": "engineer:invented-word"}
PLAN = """\
facility: Tern Point Radio
networks:
  media: {subnet: 127.44.3.0/24, gateway: 127.44.3.254}
  control: {subnet: 127.45.3.0/24, gateway: 127.45.3.254}
rooms: {desk: {site: point, network: media}}
devices:
  host:
    room: desk
    speaks: restconf
    restconf: {scheme: http, port: 8080}
    credentials: hosts
    serial: SW-7
    interfaces: {lan: {address: 127.44.3.31, slot: eth0}}
"""
PLAYBOOK = """\
playbook: The host moves to the control network
devices:
  host: {interfaces: {lan: 127.45.3.31}}
"""
WORLD = """
port: 8080
networks: {media: {subnet: 127.44.3.0/24}, control: {subnet: 127.45.3.0/24}}
devices:
  host:
    {make: restconf, model: SH-1, serial: SW-7, firmware: "1.0", address: 127.44.3.31, prefix: 24,
      gateway: 127.44.3.254, sign_in: {user: engineer, secret: invented-word}}
"""


def facility(folder: Path, plan: str = PLAN) -> Path:
    """A folder with that plan and the playbook."""
    (folder / "playbooks").mkdir(parents=True)
    (folder / "plan.yaml").write_text(plan, encoding="utf-8")
    (folder / "playbooks" / "move.yaml").write_text(PLAYBOOK, encoding="utf-8")
    return folder


def test_a_host_goes_to_another_network_with_its_gateway_and_comes_back(tmp_path: Path) -> None:
    """Address and gateway change in one request (RFC 8072), and an undo brings both back."""
    world = World.from_text(WORLD)
    with serve(world, connect_map=True, map_addresses=[FAR]) as running:
        stage, referee = Stage(facility(tmp_path / "f"), world, running), Referee(world)
        before = world.snapshot()
        applied = stage.run("apply", "--yes", *ANSWERS, **SECRET)
        assert applied.status == 0, applied.said
        lan = stage.now("host").lan
        assert (lan.address, lan.gateway) == (FAR, GATEWAY)
        assert [one.method for one in world.log if one.method in ("PUT", "PATCH")] == ["PATCH"]
        referee.new_run()
        undone = stage.run("undo", stage.last(), "--yes", *ANSWERS, **SECRET)
        assert undone.status == 0, undone.said
        assert world.snapshot() == before
        assert referee.verdict().clean, referee.verdict()


def test_ways_that_do_not_fit_are_told_with_line_and_column(tmp_path: Path) -> None:
    """At the desk, each at its place in plan.yaml, with the fix."""
    plan = PLAN.replace("speaks: restconf", "speaks: nmos")
    told = cutsheet("check", "--facility", str(facility(tmp_path / "f", plan)))
    assert told.status == 3
    assert "plan.yaml:10:5: host has a 'restconf', and does not speak it" in told.said
    assert "add restconf to its 'speaks', or remove it" in told.said
    plan = PLAN.replace("speaks: restconf", "speaks: [restconf, restconf]")
    told = cutsheet("check", "--facility", str(facility(tmp_path / "g", plan)))
    assert "plan.yaml:9:13: host is to speak one way twice (restconf, restconf)" in told.said
