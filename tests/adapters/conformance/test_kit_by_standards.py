"""Open standards, and two of them at once, against the kit that plug-ins are tried with."""

from collections.abc import Iterator, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, replace
from ipaddress import IPv4Network

from mocks.server import Running, serve
from mocks.world import World
from orchestrator.adapters.conformance import Bench, Conformance, Trouble
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.open import make_opener
from orchestrator.facility.found import Identity
from orchestrator.facility.plan import Device, Interface, Network, Plan, Reach
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step
from orchestrator.running.protocols import DeviceAdapter
from tests.adapters.conformance.test_kit import AT, HOME, MOVED, K, faults_of, step, together
from tests.adapters.nodes import RULE
from tests.plug_in.box import WORD

OLD, NEW = "239.194.1.155:5004", "239.194.1.200:5004"
MEDIA = Network(name="media", subnet=IPv4Network("127.44.3.0/24"), numbering=RULE)
SENDER = {"source": "PGM"}
STREAMS = (
    step(K.DISABLE, True, False, **SENDER),
    step(K.RENUMBER, Assigned(411, (OLD,)), Assigned(456, (NEW,)), **SENDER),
    step(K.ENABLE, False, True, **SENDER),
    step(K.REPOINT, Hearing(group=OLD), Hearing(group=NEW), destination="MON"),
)
TOGETHER = (
    together(STREAMS[0], step(K.RENUMBER, None, Assigned(456, (NEW,)), source="SEC")),
    together(STREAMS[3], step(K.REPOINT, Hearing(), Hearing(group=OLD), destination="COD")),
)
MOVE = step(K.READDRESS, HOME, AddressValue("main", MOVED, 24, HOME.gateway))
WORLD = """
port: 8080
networks: {{media: {{subnet: 127.44.3.0/24}}}}
devices:
  unit: {{make: {make}, model: SN-2, serial: SW-1, firmware: "1.0", address: 127.44.3.31,
    prefix: 24, gateway: 127.44.3.254, settle_s: 0.2, sign_in: {{user: engineer, secret: {word}}},
    {streams}}}
"""
BOTH_STREAMS = (
    "sources: {program: {number: 411, label: PGM, enabled: true}, second: {label: SEC}},"
    " destinations: {monitor: {group: '239.194.1.155:5004', label: MON}, codec: {label: COD}}"
)


@dataclass
class Spoken:
    """A simulated unit on a socket (a ``Bench``), spoken to by standards."""

    identity: Identity
    secret: Secret | None
    steps: Sequence[Step]
    running: Running
    speaks: tuple[str, ...]
    method: str
    together: Sequence[Sequence[Step]] = ()
    many: str = ""

    def adapter(self, at: str | None = None) -> DeviceAdapter:
        """As a survey and a run open it."""
        port = 8043 if len(self.speaks) > 1 else 8080
        device = Device(
            name="unit",
            room="rack",
            interfaces=(Interface("main", "media", AT),),
            speaks=self.speaks,
            port=8080,
            restconf=Reach(scheme="http", port=port),
            credentials="units",
        )
        plan = Plan(facility="x", networks={"media": MEDIA}, rooms={}, devices={"unit": device})
        connect, patience = self.running.connect_map, Patience(attempts=1)
        secret = self.secret or Secret("", "")
        return make_opener(plan, {}, lambda _: secret, connect, patience=patience)("unit", at or AT)

    @contextmanager
    def trouble(self, kind: Trouble) -> Iterator[None]:
        """By a fault of the simulated unit."""
        world = self.running.world
        for fault in faults_of(kind, self.method, self.many, "program"):
            world.add_fault("unit", fault)
        self.running.settle()
        try:
            yield
        finally:
            world.clear_faults("unit")
            self.running.settle()


@contextmanager
def spoken(
    make: str, *speaks: str, steps: Sequence[Step], method: str, firmware: str = ""
) -> Iterator[Spoken]:
    """A unit of a make, on a socket."""
    streams = BOTH_STREAMS if "nmos" in speaks else ""
    world = World.from_text(WORLD.format(make=make, word=WORD, streams=streams))
    with serve(world, connect_map=True, map_addresses=[MOVED]) as running:
        yield Spoken(
            identity=Identity(serial="SW-1", model="SN-2", firmware=firmware),
            secret=None if speaks == ("nmos",) else Secret("engineer", WORD),
            steps=steps,
            running=running,
            speaks=speaks,
            method=method,
            together=TOGETHER if "nmos" in speaks else (),
            many="/x-nmos/connection/v1.1/bulk" if "nmos" in speaks else "",
        )


class TestNmos(Conformance):
    """A node: its streams, and nothing that the standards don't offer."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A node with one sender that is on."""
        return spoken("nmos", "nmos", steps=STREAMS, method="PATCH")


class TestRestconf(Conformance):
    """A host: its address, and nothing else."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A host that signs in by Basic."""
        return spoken("restconf", "restconf", steps=[MOVE], method="PUT", firmware="1.0")


class TestBoth(Conformance):
    """A node whose host is spoken to by RESTCONF: one device in every respect."""

    def bench(self) -> AbstractContextManager[Bench]:
        """Streams first, then the address."""
        steps = (*STREAMS[:2], MOVE)
        after = [replace(each, at=MOVED) for each in STREAMS[2:]]
        return spoken("nmos-restconf", "nmos", "restconf", steps=(*steps, *after), method="PATCH")
