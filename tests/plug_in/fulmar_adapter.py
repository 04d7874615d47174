"""A plug-in as somebody else would write it: the Fulmar FB-2 line box, which speaks in lines.

The make and its protocol are invented. One TCP connection a talk, port 7373, UTF-8 lines; each is
answered by a line, or by several and a full stop::

    key WORD            ok | no REASON
    who                 unit MODEL SERIAL FIRMWARE
    net                 net ADDRESS/PREFIX GATEWAY      (a hyphen: none)
    lines               line KEY NUMBER on|off LABEL    ... and a full stop
    set KEY number N    ok | no REASON | wait SECONDS
    set KEY on|off
    set KEY label TEXT
    all KEY on|off, KEY on|off ...                      (all of them, or none)
    word WORD           ok | no REASON                  (its new key)

It imports of cutsheet what a plug-in may: facts, errors and protocols.
"""

import asyncio
from collections.abc import AsyncIterator
from contextlib import asynccontextmanager

from orchestrator.adapters.plug_ins import Place
from orchestrator.errors import (
    Broken,
    Busy,
    OutcomeUnknown,
    Rejected,
    SignInRefused,
    Unreachable,
)
from orchestrator.facility.found import DeviceState, Identity, InterfaceState, SourceState
from orchestrator.facility.plan import Device
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import Assigned, Step, StepKind
from orchestrator.facility.traits import Batch, Traits
from orchestrator.running.protocols import EVERYTHING, DeviceAdapter, Part

K = StepKind
TIMEOUT_S = 1.0
TRAITS = Traits(
    can=frozenset({K.DISABLE, K.ENABLE, K.RENUMBER, K.SET, K.CONFIRM, K.BY_HAND}),
    models=("FB-2",),
    tried_with=("1.0",),
    late_s=0.2,
    batches=(Batch(frozenset({K.DISABLE, K.ENABLE}), most=8),),
)


class Fulmar:
    """What the entry point leads to."""

    traits = TRAITS
    reads = frozenset({Part.INTERFACES, Part.SOURCES})
    signs_in = True

    def port(self, device: Device) -> int:
        """Where a line box listens, unless the plan says otherwise."""
        return device.port or 7373

    def open(self, place: Place) -> DeviceAdapter:
        """The adapter of one box."""
        return FulmarBox(place)

    async def change_secret(self, place: Place, new: Secret) -> None:
        """Give a box another key."""
        await FulmarBox(place).change_key(new)


class FulmarBox:
    """One line box at one address."""

    traits = TRAITS

    def __init__(self, place: Place) -> None:
        self._place = place

    async def identify(self) -> Identity:
        """Ask who it is."""
        async with self._talk("asking who it is") as talk:
            return await talk.identity()

    async def read(self, parts: frozenset[Part] = EVERYTHING) -> DeviceState:
        """Read its identity and the given parts."""
        async with self._talk("reading it") as talk:
            identity = await talk.identity()
            interfaces, sources = {}, {}
            if Part.INTERFACES in parts:
                _, where, gateway = await talk.words("net", 3)
                address, _, prefix = where.partition("/")
                via = None if gateway == "-" else gateway
                interfaces["main"] = InterfaceState(
                    address=address, prefix=int(prefix), gateway=via
                )
            if Part.SOURCES in parts:
                async for key, number, switch, label in talk.lines():
                    sources[self._name(key)] = SourceState(
                        number=int(number) or None, groups=(), label=label, enabled=switch == "on"
                    )
            return DeviceState(identity=identity, interfaces=interfaces, sources=sources)

    async def write(self, step: Step, *more: Step) -> None:
        """Write one step, once; several switches in one line, which the box does all or none."""
        doing = f"writing {step.kind}"
        line = f"set {self._key(step.source or '')} {self._written(step)}"
        if more:
            each = (f"{self._key(one.source or '')} {self._written(one)}" for one in (step, *more))
            line = f"all {', '.join(each)}"
        await self._told(doing, line)

    async def _told(self, doing: str, line: str) -> None:
        async with self._talk(doing) as talk:
            talk.sent = True
            answer = await talk.ask(line)
        verdict, _, reason = answer.partition(" ")
        if verdict.startswith("no"):
            raise Rejected(*self._at(doing), reason, 400)
        if verdict == "wait":
            raise Busy(*self._at(doing), "", float(reason))
        if verdict != "ok":
            raise OutcomeUnknown(*self._at(doing), "no answer that makes sense")

    async def change_key(self, new: Secret) -> None:
        """Give it another key."""
        await self._told("changing its key", f"word {new.reveal()}")

    async def close(self) -> None:
        """Every talk ends by itself."""

    def _written(self, step: Step) -> str:
        match step.kind, step.wanted:
            case ((K.DISABLE | K.ENABLE), bool() as on):
                return "on" if on else "off"
            case K.RENUMBER, Assigned() as assigned:
                return f"number {assigned.number or 0}"
            case K.SET, str() as label if step.setting == "label" and "\n" not in label:
                return f"label {label}"
        raise Rejected(*self._at(f"writing {step.kind}"), "a line box can't do that")

    def _name(self, key: str) -> str:
        slots = {held.slot: name for name, held in self._place.device.sources.items() if held.slot}
        return slots.get(key, f"line-{key}")

    def _key(self, name: str) -> str:
        held = self._place.device.sources.get(name)
        return held.slot if held is not None and held.slot else name.removeprefix("line-")

    def _at(self, doing: str) -> tuple[str, str, str]:
        return self._place.device.name, self._place.address, doing

    @asynccontextmanager
    async def _talk(self, doing: str) -> AsyncIterator["_Talk"]:
        place, talk = self._place, None
        try:
            async with asyncio.timeout(TIMEOUT_S):
                reader, writer = await asyncio.open_connection(place.host, place.port)
                talk = _Talk(reader, writer)
                try:
                    secret = place.secret
                    said = await talk.ask(f"key {secret.reveal() if secret else ''}")
                    if said.startswith("wait"):
                        raise Busy(*self._at(doing), "", float(said.split()[1]))
                    if said.startswith("no"):
                        raise SignInRefused(*self._at(doing), said)
                    if said != "ok":
                        raise Broken(*self._at(doing), "its greeting makes no sense")
                    yield talk
                finally:
                    writer.close()
        except (OSError, TimeoutError, EOFError):
            if talk is not None and talk.sent:
                raise OutcomeUnknown(*self._at(doing), "the connection broke") from None
            raise Unreachable(*self._at(doing), "no connection") from None
        except ValueError:
            raise Broken(*self._at(doing), "its answer makes no sense") from None


class _Talk:
    """Lines there and back."""

    def __init__(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        self._reader = reader
        self._writer = writer
        self.sent = False

    async def ask(self, line: str) -> str:
        self._writer.write(f"{line}\n".encode())
        await self._writer.drain()
        return await self._line()

    async def _line(self) -> str:
        line = (await self._reader.readuntil(b"\n")).decode()
        return line.rstrip("\n")

    async def words(self, line: str, many: int) -> list[str]:
        words = (await self.ask(line)).split(" ")
        if len(words) != many:
            raise ValueError(line)
        return words

    async def identity(self) -> Identity:
        _, model, serial, firmware = await self.words("who", 4)
        return Identity(serial=serial, model=model, firmware=firmware)

    async def lines(self) -> AsyncIterator[tuple[str, str, str, str]]:
        line = await self.ask("lines")
        while line != ".":
            _, key, number, switch, label = line.split(" ", 4)
            yield key, number, switch, label
            line = await self._line()


plug_in = Fulmar()
