"""Plug-ins as packages beside this one: found, opened, and told by name where they are broken."""

import asyncio
import sys
from collections.abc import Iterator
from importlib.metadata import EntryPoint
from pathlib import Path
from typing import Any

import pytest

from orchestrator.adapters.open import make_opener
from orchestrator.adapters.plug_ins import Guarded, Place, installed, names, plugged
from orchestrator.errors import Broken, CutsheetError, NoSecret, OutcomeUnknown, PlugInBroken, words
from orchestrator.facility.plan import Plan
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Traits
from tests.adapters.makes import a_plan, a_step
from tests.adapters.ways_made import Answering
from tests.plug_in.box import WORD, install, served

BOX = "fulmar-box"
AT = "127.44.3.71"
FIRST = "from orchestrator.facility.traits import Traits\n"
REST = (
    "    signs_in = False\n"
    "    def port(self, device): return 1\n"
    "    def open(self, place): return None\n"
)
GOOD = FIRST + "class P:\n    traits = Traits(can=frozenset())\n    reads = frozenset()\n"


@pytest.fixture
def site(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Path]:
    """A folder on the path, as an installer fills it; what was imported from it is forgotten."""
    folder = tmp_path / "site"
    folder.mkdir()
    monkeypatch.syspath_prepend(str(folder))
    before = set(sys.modules)
    yield folder
    for name in set(sys.modules) - before:
        if str(folder) in str(getattr(sys.modules[name], "__file__", "")):
            del sys.modules[name]


def test_a_package_is_found_by_its_entry_point(site: Path) -> None:
    """From a real dist-info on the path; its name is what a plan may say, and nothing is loaded."""
    install(site)
    assert BOX in names()
    assert "fulmar_adapter" not in sys.modules
    way = plugged([BOX, "nothing"])[BOX]
    assert way.name == BOX
    assert way.traits.models == ("FB-2",)
    assert way.port(a_plan().devices["rack-node"]) == 7373


def test_a_device_is_opened_by_it(site: Path) -> None:
    """By the connect map, with the plan's credentials, and named in its errors as the plan does."""
    install(site)
    plan, ways = a_plan(speaks=(BOX,)), plugged([BOX])

    async def whole(word: str) -> Any:
        with served() as box:
            connect = {AT: f"127.0.0.1:{box.port}"}
            secrets = {"nodes": Secret("", word)}.__getitem__
            adapter = make_opener(plan, {}, secrets, connect, plugged=ways)("rack-node", AT)
            try:
                return await adapter.identify()
            except CutsheetError as error:
                return error
            finally:
                await adapter.close()

    assert asyncio.run(whole(WORD)).serial == "FB-901"
    refused = asyncio.run(whole("canary-wrong-word"))
    assert (refused.device, refused.address) == ("rack-node", AT)
    assert "canary" not in str(refused) + repr(refused)
    with pytest.raises(NoSecret, match="names no credentials"):
        make_opener(
            a_plan(speaks=(BOX,), credentials=None), {}, lambda _: Secret("", ""), {}, plugged=ways
        )("rack-node", AT)


BROKEN = {
    "it can't be imported": ("import nothing_of_that_name\n", "ModuleNotFoundError"),
    "it fails while it is loaded": ("raise RuntimeError('canary')\n", "RuntimeError"),
    "it leaves the program": ("raise SystemExit(3)\n", "SystemExit"),
    "it is no Python": ("def (:\n", "SyntaxError"),
    "it has no such object": ("x = 1\n", "AttributeError"),
    "it is no plug-in": ("plug_in = 5\n", "is no plug-in"),
    "it is a class": (GOOD + "plug_in = P\n", "is no plug-in"),
    "its traits are none": (
        GOOD.replace("Traits(can=frozenset())", "5") + REST + "plug_in = P()\n",
        "traits",
    ),
}


@pytest.mark.parametrize("case", BROKEN)
def test_a_broken_one_is_told_by_its_package(case: str, site: Path) -> None:
    """In words, with its version; its own text, which may hold anything, is not passed on."""
    text, said = BROKEN[case]
    install(site, text, leads_to="broken_one:plug_in")
    with pytest.raises(PlugInBroken) as caught:
        plugged([BOX])
    told = words(caught.value)
    assert "the plug-in fulmar-line-box 1.2 is broken" in told.what
    assert said in told.what
    assert "update or uninstall fulmar-line-box" in told.fix
    assert "canary" not in str(vars(caught.value)) + told.what
    assert caught.value.__context__ is None


def test_one_that_nobody_names_harms_nobody(site: Path) -> None:
    """It is not loaded."""
    install(site, "raise RuntimeError\n", leads_to="broken_one:plug_in")
    assert plugged(["another"]) == {}


def test_two_packages_with_one_name(site: Path) -> None:
    """Nobody could say which one speaks."""
    install(site)
    install(site, name="other-line-box")
    with pytest.raises(PlugInBroken, match=r"fulmar-line-box 1\.2 and other-line-box 1\.2"):
        plugged([BOX])


class Odd:
    """A plug-in whose parts can be made to misbehave."""

    traits = Traits(can=frozenset())
    reads: frozenset[Any] = frozenset()
    signs_in = False

    def __init__(self, port: Any = 80, opens: Any = None) -> None:
        self._port = port
        self._opens = opens

    def port(self, _device: object) -> Any:
        """As told."""
        if isinstance(self._port, Exception):
            raise self._port
        return self._port

    def open(self, _place: object) -> Any:
        """As told."""
        if isinstance(self._opens, Exception):
            raise self._opens
        return self._opens


def way_of(made: Odd) -> Any:
    """Its way, from an entry point that gives it."""

    class Point(EntryPoint):
        def load(self) -> Any:
            return made

    return plugged(["odd"], lambda: [Point("odd", "odd:made", "cutsheet.adapters")])["odd"]


@pytest.mark.parametrize("port", ["80", 0, 70000, None, ValueError("canary")])
def test_a_port_that_is_none(port: object) -> None:
    """Told by name, before anything is dialled."""
    with pytest.raises(PlugInBroken, match="port"):
        way_of(Odd(port)).port(a_plan().devices["rack-node"])


def test_one_that_can_not_be_opened() -> None:
    """Told by name, at the device."""
    ways = {"odd": way_of(Odd(80, ZeroDivisionError("canary")))}
    opener = make_opener(a_plan(speaks=("odd",)), {}, lambda _: Secret("", ""), {}, plugged=ways)
    with pytest.raises(PlugInBroken, match=r"opening rack-node failed \(ZeroDivisionError\)"):
        opener("rack-node", AT)


class Failing(Answering):
    """An adapter that raises what it was not meant to."""

    def __init__(self, what: Any) -> None:
        super().__init__(Traits(can=frozenset()))
        self.what = what

    async def identify(self) -> Any:
        """Fail, or give something."""
        if isinstance(self.what, BaseException):
            raise self.what
        return self.what

    async def read(self, _parts: object = None) -> Any:
        """Likewise."""
        return await self.identify()

    async def write(self, *_steps: object) -> None:
        """Likewise."""
        await self.identify()

    async def close(self) -> None:
        """Likewise."""
        await self.identify()


def guarded(what: Any) -> Guarded:
    """Such an adapter behind the guard."""
    plan = Plan(facility="x", networks={}, rooms={}, devices={})
    device = a_plan().devices["rack-node"]
    place = Place(
        plan=plan,
        device=device,
        address=AT,
        host="127.0.0.1",
        port=1,
        secret=Secret("", "canary-w"),
    )
    return Guarded(Failing(what), "odd 1.0", place)


@pytest.mark.parametrize(
    "what", [RuntimeError("canary-w"), KeyError("canary-w"), None, "text", 5], ids=repr
)
def test_whatever_an_adapter_does_is_a_typed_error(what: Any) -> None:
    """A read is broken, a write is unknown; the package is named, its words are not passed on."""
    adapter = guarded(what)
    for act in (adapter.identify, adapter.read):
        with pytest.raises(Broken, match=r"the plug-in odd 1\.0") as caught:
            asyncio.run(act())
        assert "canary" not in repr(caught.value)
        assert caught.value.__context__ is None
    if isinstance(what, Exception):
        with pytest.raises(OutcomeUnknown, match=r"the plug-in odd 1\.0"):
            asyncio.run(adapter.write(a_step(StepKind.SAVE)))
    asyncio.run(adapter.close())


def test_its_own_errors_are_cleaned() -> None:
    """A secret that a plug-in has put into an error is taken out of it."""
    told = Broken("rack-node", AT, "reading", "it said canary-w \x1b[2J")
    with pytest.raises(Broken) as caught:
        asyncio.run(guarded(told).read())
    assert "canary" not in str(caught.value) + repr(caught.value)
    assert "\x1b" not in caught.value.said


def test_a_cancel_goes_through() -> None:
    """It is no failure of the plug-in."""
    with pytest.raises(asyncio.CancelledError):
        asyncio.run(guarded(asyncio.CancelledError()).read())


def test_what_is_installed_here() -> None:
    """Read from this environment; nothing of ours is a plug-in."""
    assert all(point.group == "cutsheet.adapters" for point in installed())
