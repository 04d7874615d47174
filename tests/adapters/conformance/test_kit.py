"""Every way to speak to a device against the kit that plug-ins are tried with, over sockets."""

from collections.abc import Iterator, Mapping, Sequence
from contextlib import AbstractContextManager, contextmanager
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any

from mocks.faults import Fault, Kind
from mocks.server import Running, serve
from mocks.world import World
from orchestrator.adapters.conformance import Bench, Conformance, Trouble
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.open import make_opener
from orchestrator.adapters.plug_ins import Guarded, Place
from orchestrator.documents.folder import load
from orchestrator.documents.plans.plan_reader import read_plan
from orchestrator.facility.description import Description
from orchestrator.facility.found import Identity
from orchestrator.facility.plan import Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import AddressValue, Assigned, Hearing, Step, StepKind
from orchestrator.running.protocols import DeviceAdapter
from tests.adapters.makes import a_step
from tests.adapters.test_against_mocks import planned
from tests.adapters.test_awkward_make import described
from tests.example import FACILITY
from tests.plug_in.box import WORD, Box, served
from tests.plug_in.fulmar_adapter import plug_in

K = StepKind
AT, MOVED = "127.44.3.31", "127.44.3.32"
HOME = AddressValue("main", AT, 24, "127.44.3.254")
WORLD = """
port: 8080
networks: {{media: {{subnet: 127.44.3.0/24}}}}
devices:
  unit: {{make: {make}, address: 127.44.3.31, prefix: 24, gateway: 127.44.3.254, settle_s: 0.2,
    {rest}}}
"""
FAULTS = {
    Trouble.AWAY: Fault(Kind.REFUSE, always=True),
    Trouble.SIGN_IN: Fault(Kind.SIGN_IN, always=True),
    Trouble.BUSY: Fault(Kind.BUSY, always=True),
    Trouble.NONSENSE: Fault(Kind.HALF_BODY, always=True),
    Trouble.SILENT: Fault(Kind.DELAY, seconds=3.0, always=True),
    Trouble.REJECTS: Fault(Kind.ERROR, status=501, always=True),
    Trouble.UNANSWERED: Fault(Kind.DROP_ANSWER, always=True),
}
ONLY_WRITES = frozenset({Trouble.REJECTS, Trouble.UNANSWERED})


def faults_of(kind: Trouble, method: str, many: str, slot: str) -> Iterator[Fault]:
    """What makes a trouble, in a unit that is written to by a method, or several at once."""
    if kind is Trouble.PART:
        if not many:
            raise NotImplementedError
        yield Fault(Kind.PART, slot=slot, always=True)
        return
    if kind not in FAULTS:
        raise NotImplementedError
    yield replace(FAULTS[kind], method=method if kind in ONLY_WRITES else "")
    if many and kind in ONLY_WRITES:
        yield replace(FAULTS[kind], method="POST", path=many)


def together(*steps: Step) -> tuple[Step, ...]:
    """Steps that go in one request, each with an id of its own."""
    return tuple(replace(each, id=f"s{number}") for number, each in enumerate(steps))


def step(kind: StepKind, found: Any, wanted: Any, *, at: str = AT, **more: str) -> Step:
    """A step of the unit, with what it found."""
    return replace(a_step(kind, wanted, **more), device="unit", at=at, as_found=found)


@dataclass
class Mocked:
    """A simulated unit on a socket (a ``Bench``); ``method`` is that of its first write.

    ``many`` is the path at which it takes several steps, ``slot`` the first step's there. ``hand``
    is what another hand sets of that slot, where the unit tells of it.
    """

    identity: Identity
    secret: Secret | None
    steps: Sequence[Step]
    running: Running
    descriptions: dict[str, Description]
    plan: Plan
    method: str
    together: Sequence[Sequence[Step]] = ()
    many: str = ""
    slot: str = ""
    hand: Mapping[str, Any] = field(default_factory=dict)

    def adapter(self, at: str | None = None) -> DeviceAdapter:
        """As a survey and a run open it."""
        opener = make_opener(
            self.plan,
            self.descriptions,
            lambda _: self.secret or Secret("", ""),
            self.running.connect_map,
            patience=Patience(attempts=1),
        )
        return opener("unit", at or AT)

    @contextmanager
    def trouble(self, kind: Trouble) -> Iterator[None]:
        """By a fault of the simulated unit."""
        world = self.running.world
        if kind is Trouble.OTHER_HAND and self.hand:
            hand = partial(world.another_hand("unit").set_source, self.slot, **self.hand)
            world.add_fault("unit", Fault(Kind.CALL, method=self.method, do=hand))
        else:
            self._faulty(kind)
        self.running.settle()
        try:
            yield
        finally:
            world.clear_faults("unit")
            self.running.settle()

    def _faulty(self, kind: Trouble) -> None:
        world = self.running.world
        for fault in faults_of(kind, self.method, self.many, self.slot):
            world.add_fault("unit", fault)


@contextmanager
def mocked(make: str, rest: str, description: Description, **bench: Any) -> Iterator[Mocked]:
    """A unit of a make, on sockets."""
    world = World.from_text(WORLD.format(make=make, rest=rest))
    quick = replace(description.traits, settle_s=1.0, late_s=0.5, save_s=0.0)
    spoken = replace(description, traits=quick, timeout_s=1.0)
    unit = planned("unit", spoken.name, AT)
    plan = Plan(facility="x", networks={}, rooms={}, devices={"unit": unit})
    with serve(world, connect_map=True, map_addresses=[MOVED]) as running:
        yield Mocked(running=running, descriptions={spoken.name: spoken}, plan=plan, **bench)


class TestCorvid(Conformance):
    """A described device that keeps every change at once, signed in to by Basic."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A CE-40 with one stream that is on."""
        here: dict[str, str] = {"source": "program-1"}
        return mocked(
            "corvid",
            "model: CE-40, serial: CV-1, firmware: 4.1.2,"
            f" sign_in: {{user: engineer, secret: {WORD}}},"
            " sources: {program-1: {number: 311, label: N-1, enabled: true}},"
            " destinations: {codec-1: {number: 411}}",
            load(FACILITY).descriptions["corvid-engine"],
            identity=Identity(serial="CV-1", model="CE-40", firmware="4.1.2"),
            secret=Secret("engineer", WORD),
            method="PATCH",
            steps=(
                step(K.DISABLE, True, False, **here),
                step(K.RENUMBER, Assigned(311), Assigned(321), **here),
                step(K.SET, "N-1", "N-2", setting="label", **here),
                step(K.ENABLE, False, True, **here),
                step(K.REPOINT, Hearing(411), Hearing(412), destination="codec-1"),
                step(K.READDRESS, HOME, replace(HOME, address=MOVED)),
            ),
        )


class TestTamarisk(Conformance):
    """A described device that has to save, signed in to by a key."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A TN-8 with one sender that is on."""
        old, new = "239.194.1.155:5004", "239.194.1.200:5004"
        here: dict[str, str] = {"source": "input-1"}
        return mocked(
            "tamarisk",
            f"model: TN-8, serial: TM-1, firmware: '2.7', sign_in: {{secret: {WORD}}},"
            " sources: {'1': {number: 411, label: MIC, enabled: true}},"
            " destinations: {'1': {group: '239.194.1.55:5004'}}",
            load(FACILITY).descriptions["tamarisk-node"],
            identity=Identity(serial="TM-1", model="TN-8", firmware="2.7"),
            secret=Secret("", WORD),
            method="PUT",
            steps=(
                step(K.DISABLE, True, False, **here),
                step(K.RENUMBER, Assigned(411, (old,)), Assigned(456, (new,)), **here),
                step(K.SET, "MIC", "MIC-A", setting="label", **here),
                step(K.ENABLE, False, True, **here),
                step(
                    K.REPOINT, Hearing(group="239.194.1.55:5004"), Hearing(), destination="output-1"
                ),
                step(K.SAVE, None, None),
                step(K.READDRESS, HOME, replace(HOME, address=MOVED)),
            ),
        )


class TestMarram(Conformance):
    """The awkward make: a cookie, whole objects with their tags, patches, forms."""

    def bench(self) -> AbstractContextManager[Bench]:
        """An MR-6 with one output that is on."""
        here: dict[str, str] = {"source": "out-1"}
        return mocked(
            "marram",
            "model: MR-6, serial: MM-42, firmware: 1.9.4,"
            f" sign_in: {{user: engineer, secret: {WORD}}},"
            " sources: {'1': {number: 421, label: MIC, enabled: true},"
            " '2': {number: 422, label: AIR, enabled: true}},"
            " destinations: {'2': {number: 311, label: MON}}",
            described()[1],
            identity=Identity(serial="MM-42", model="MR-6", firmware="1.9.4"),
            secret=Secret("engineer", WORD),
            method="PUT",
            steps=(
                step(K.DISABLE, True, False, **here),
                step(K.RENUMBER, Assigned(421), Assigned(500), **here),
                step(K.SET, "MIC", "VOICE", setting="label", **here),
                step(K.SET, 0, 5, setting="ptp_domain"),
                step(K.ENABLE, False, True, **here),
                step(K.REPOINT, Hearing(311), Hearing(), destination="in-2"),
                step(K.SAVE, None, None),
                step(K.READDRESS, HOME, replace(HOME, address=MOVED)),
            ),
            together=(
                together(
                    step(K.DISABLE, True, False, source="out-1"),
                    step(K.DISABLE, True, False, source="out-2"),
                ),
                together(
                    step(K.RENUMBER, Assigned(421), Assigned(500), source="out-1"),
                    step(K.ENABLE, False, True, source="out-2"),
                ),
            ),
            many="/outs",
            slot="1",
            hand={"label": "BY ANOTHER"},
        )


PLAN = """
facility: Tern Point Radio
networks:
  media:
    subnet: 127.44.3.0/24
    gateway: 127.44.3.254
    numbering: {{range: 1-2999, group_range: 239.194.0.0/16}}
rooms: {{desk: {{site: point, network: media}}}}
devices:
  unit: {{room: desk, {speaks}, address: 127.44.3.31, serial: S-1, blocks: [31, 32]}}
"""


@contextmanager
def by_standard(make: str, rest: str, speaks: str, **bench: Any) -> Iterator[Mocked]:
    """A unit that needs no device description, on sockets."""
    world = World.from_text(WORLD.format(make=make, rest=rest))
    plan = read_plan(PLAN.format(speaks=speaks).encode(), "plan.yaml")
    with serve(world, connect_map=True, map_addresses=[MOVED]) as running:
        yield Mocked(running=running, descriptions={}, plan=plan, **bench)


NODE = (
    "model: SN-2, serial: S-1, firmware: '1.0', sign_in: {secret: invented-word},"
    " sources: {program: {number: 311, label: PGM, enabled: true},"
    " second: {group: '239.194.1.75:5004', label: SEC, enabled: true}},"
    " destinations: {monitor: {group: '239.194.1.55:5004', label: MON}, codec: {label: COD}}"
)
OLD_GROUP, NEW_GROUP = "239.194.1.55:5004", "239.194.1.65:5004"
STREAMS = (
    step(K.DISABLE, True, False, source="PGM"),
    step(K.RENUMBER, Assigned(311, (OLD_GROUP,)), Assigned(321, (NEW_GROUP,)), source="PGM"),
    step(K.ENABLE, False, True, source="PGM"),
    step(K.REPOINT, Hearing(group=OLD_GROUP), Hearing(group=NEW_GROUP), destination="MON"),
)


BULK: dict[str, Any] = {
    "together": (
        together(
            step(K.DISABLE, True, False, source="PGM"), step(K.DISABLE, True, False, source="SEC")
        ),
        together(
            step(K.REPOINT, Hearing(group=OLD_GROUP), Hearing(), destination="MON"),
            step(K.REPOINT, Hearing(), Hearing(group=NEW_GROUP), destination="COD"),
        ),
    ),
    "many": "/x-nmos/connection/v1.1/bulk",
    "slot": "program",
}


class TestNmos(Conformance):
    """A node by IS-04 and IS-05; nothing signs in to it."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A node with one sender that is on, and one receiver."""
        return by_standard(
            "nmos",
            NODE,
            "speaks: nmos, port: 8080",
            identity=Identity(serial="S-1", model="SN-2"),
            secret=None,
            method="PATCH",
            steps=STREAMS,
            **BULK,
        )


class TestRestconf(Conformance):
    """A host by RESTCONF alone, which writes nothing but addresses."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A host at its address."""
        return by_standard(
            "restconf",
            f"model: SH-1, serial: S-1, firmware: '1.0', sign_in: {{secret: {WORD}}}",
            "speaks: restconf, restconf: {scheme: http, port: 8080}, credentials: units",
            identity=Identity(serial="S-1", model="SH-1", firmware="1.0"),
            secret=Secret("", WORD),
            method="PUT",
            steps=(step(K.READDRESS, HOME, replace(HOME, address=MOVED)),),
        )


class TestNmosAndRestconf(Conformance):
    """Both beside each other, as one device."""

    def bench(self) -> AbstractContextManager[Bench]:
        """A node that has a RESTCONF server, too."""
        return by_standard(
            "nmos-restconf",
            NODE,
            "speaks: [nmos, restconf], port: 8080, restconf: {scheme: http, port: 8043},"
            " credentials: units",
            identity=Identity(serial="S-1", model="SN-2"),
            secret=Secret("", "invented-word"),
            method="PATCH",
            steps=(*STREAMS, step(K.READDRESS, HOME, replace(HOME, address=MOVED))),
            **BULK,
        )


@dataclass
class OfLines:
    """A line box on a loopback socket, by its plug-in (a ``Bench``)."""

    box: Box
    identity: Identity = Identity(serial="FB-901", model="FB-2", firmware="1.0")  # noqa: RUF009
    secret: Secret | None = Secret("", WORD)  # noqa: RUF009
    steps: Sequence[Step] = (
        step(K.DISABLE, True, False, source="line-1"),
        step(K.RENUMBER, Assigned(611), Assigned(612), source="line-1"),
        step(K.SET, "MIC ONE", "MIC TWO", source="line-1", setting="label"),
        step(K.ENABLE, False, True, source="line-1"),
    )
    together: Sequence[Sequence[Step]] = (
        together(
            step(K.DISABLE, True, False, source="line-1"),
            step(K.ENABLE, False, True, source="line-2"),
        ),
    )

    def adapter(self, at: str | None = None) -> DeviceAdapter:
        """As the tool opens it: behind the guard."""
        place = Place(
            plan=Plan(facility="x", networks={}, rooms={}, devices={}),
            device=planned("unit", "fulmar-box", AT),
            address=at or AT,
            host="127.0.0.1",
            port=9 if self.box.trouble == "away" else self.box.port,
            secret=self.secret,
        )
        return Guarded(plug_in.open(place), "fulmar-line-box 1.2", place)

    @contextmanager
    def trouble(self, kind: Trouble) -> Iterator[None]:
        """The box makes it itself."""
        if kind is Trouble.OTHER_HAND:
            raise NotImplementedError
        self.box.trouble = kind.name.lower().replace("_", "-")
        try:
            yield
        finally:
            self.box.trouble = ""


class TestPlugIn(Conformance):
    """A plug-in that speaks no HTTP at all."""

    @contextmanager
    def bench(self) -> Iterator[Bench]:
        """A line box with two lines."""
        with served() as box:
            yield OfLines(box)
