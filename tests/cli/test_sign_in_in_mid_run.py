"""What changes under a run's hands: the cookie that signs in, and the certificate of a device."""

import ssl
from collections.abc import Callable
from pathlib import Path

import pytest
import trustme

from mocks.faults import Fault, Kind
from mocks.makes.marram import REQUESTS_A_SESSION
from mocks.server import serve
from mocks.world import World
from tests.adapters.papers import Paper, authority, issued, pem_of
from tests.cli.stage import ANSWERS, APPLY, NODES, Stage, facility
from tests.cli.test_every_make import MAKES, credentials, staged
from tests.example import WORLD

VICTIM = "studio-north-mics"


def test_a_cookie_that_runs_out_in_mid_run(tmp_path: Path) -> None:
    """The sign-in is made anew, as often as it takes, and nothing is done twice for it."""
    make = next(make for make in MAKES if make.make == "marram")
    with staged(tmp_path / "facility", make) as stage:
        applied = stage.run("apply", "--yes", *ANSWERS, **credentials(make))
        assert applied.status == 0, applied.said
        asked = [one for one in stage.world.log if one.device == "sender"]
        assert len(asked) > 2 * REQUESTS_A_SESSION, "one sitting would not be enough"
        sittings = [one for one in asked if one.path == "/session"]
        refused = [one for one in asked if one.outcome == "401"]
        assert len(sittings) > 2
        assert refused, "it was told so by the device, and not by a clock"
        done = [(one.method, one.path, one.body) for one in asked if one.outcome != "401"]
        writes = [one for one in done if one[0] != "GET" and one[1] not in ("/session", "/keep")]
        assert len(writes) == len(set(writes))


def swapping(context: ssl.SSLContext, paper: Paper, folder: Path) -> Callable[[], None]:
    """From now on the server shows another certificate to whoever connects."""
    path = folder / "another.pem"
    path.write_bytes(paper.key + paper.pem)
    return lambda: context.load_cert_chain(path)


@pytest.mark.parametrize("whose", ["another name", "another authority"])
def test_a_certificate_of_another_name_in_mid_run(whose: str, tmp_path: Path) -> None:
    """Nothing more is sent to it: the run pauses, says what is wrong, and resume goes on.

    The answer to the first write is lost with the connection; the next connection shows another
    certificate.
    """
    plant, world = authority(), World.load(WORLD)
    folder = tmp_path / "facility"
    facility(folder, NODES)
    node = folder / "devices" / "tamarisk-node.yaml"
    text = node.read_text(encoding="utf-8")
    secured = text.replace("scheme: http ", "tls: {authority: plant.pem}\nscheme: https ")
    node.write_text(secured, encoding="utf-8")
    (folder / "plant.pem").write_text(pem_of(plant), encoding="ascii")
    contexts = {name: paper.server(tmp_path) for name, paper in _papers(plant, world).items()}
    own = world.machine(VICTIM).memory.running.lan.address
    wrong = issued(plant, "127.44.3.99") if whose == "another name" else issued(authority(), own)
    swap = swapping(contexts[VICTIM], wrong, tmp_path)
    world.add_fault(VICTIM, Fault(Kind.CALL, method="PUT", do=swap))
    world.add_fault(VICTIM, Fault(Kind.DROP_ANSWER, method="PUT"))
    addresses = [f"127.44.3.{host}" for host in range(230, 240)]
    with serve(world, connect_map=True, map_addresses=addresses, tls=contexts) as running:
        stage = Stage(folder, world, running)
        applied = stage.run(*APPLY)
        assert applied.status == 1, applied.said
        assert f"{VICTIM} at {own} shows a certificate that is not trusted" in applied.said
        assert "In doubt" in applied.out
        assert world.writes(VICTIM) == 1
        swapping(contexts[VICTIM], _papers(plant, world)[VICTIM], tmp_path)()
        resumed = stage.run("resume", *ANSWERS)
        assert resumed.status == 0, resumed.said
        assert stage.target_reached()


def _papers(plant: trustme.CA, world: World) -> dict[str, Paper]:
    """A certificate for each node, which names every address at which one may come to stand."""
    nodes = [name for name in world.names if world.machine(name).make == "tamarisk"]
    now = [world.machine(name).memory.running.lan.address for name in nodes]
    places = (*now, *(f"127.44.3.{host}" for host in range(230, 240)))
    return {name: issued(plant, *places) for name in nodes}
