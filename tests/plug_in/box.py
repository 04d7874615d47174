"""A simulated Fulmar FB-2, an invented line box, on a loopback socket; and its package on disk."""

import asyncio
import base64
import hashlib
import shutil
import threading
import zipfile
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field
from pathlib import Path

WORD = "canary-tern-and-buoy"
HERE = Path(__file__).parent


@dataclass
class Line:
    """One line of the box."""

    number: int
    label: str
    on: bool


@dataclass
class Box:
    """The box: what it holds, what is wrong with it, and what it was told."""

    lines: dict[str, Line] = field(
        default_factory=lambda: {"1": Line(611, "MIC ONE", on=True), "2": Line(0, "-", on=False)}
    )
    trouble: str = ""
    heard: list[str] = field(default_factory=list)
    port: int = 0
    away: bool = False
    word: str = WORD

    async def talk(self, reader: asyncio.StreamReader, writer: asyncio.StreamWriter) -> None:
        """Answer line by line until the other side has gone."""
        try:
            signed = False
            while line := (await reader.readline()).decode().rstrip("\n"):
                self.heard.append(line)
                answer, signed = self._answer(line, signed=signed)
                if answer is None:
                    break
                if self.trouble == "silent":
                    await asyncio.sleep(30)
                writer.write(f"{answer}\n".encode())
                await writer.drain()
        except (OSError, asyncio.CancelledError):
            pass
        finally:
            writer.close()

    def _answer(self, line: str, *, signed: bool) -> tuple[str | None, bool]:
        word, _, rest = line.partition(" ")
        if self.trouble == "nonsense":
            return "\x00?? 7 8 9 \ufffd", signed
        if self.trouble == "busy":
            return "wait 3", signed
        if word == "key":
            good = rest == self.word and self.trouble != "sign-in"
            return ("ok" if good else f"no {rest} is not the word"), good
        if not signed:
            return "no key yet", signed
        return self._asked(word, rest), signed

    def _asked(self, word: str, rest: str) -> str | None:
        if word == "who":
            return "unit FB-2 FB-901 1.0"
        if word == "net":
            return "net 127.44.3.69/24 -"
        if word == "lines":
            held = [
                f"line {key} {each.number} {'on' if each.on else 'off'} {each.label}"
                for key, each in self.lines.items()
            ]
            return "\n".join([*held, "."])
        if word == "all":
            return self._all(rest)
        if word == "word":
            self.word = rest
            return None if self.trouble == "unanswered" else "ok"
        return self._set(rest) if word == "set" else "no such word"

    def _all(self, rest: str) -> str | None:
        """Several switches: all of them, or none."""
        wanted = dict(each.partition(" ")[::2] for each in rest.split(", "))
        if self.trouble == "part" or not wanted.keys() <= self.lines.keys():
            return "no, somebody has a hand on one of them"
        for key, switch in wanted.items():
            self.lines[key].on = switch == "on"
        return None if self.trouble == "unanswered" else "ok"

    def _set(self, rest: str) -> str | None:
        key, what, value = [*rest.split(" ", 2), ""][:3]
        if key not in self.lines or self.trouble == "rejects":
            return f"no line {key} can be set now"
        line = self.lines[key]
        if what == "number":
            if line.on:
                return "no, it is on"
            line.number = int(value)
        elif what == "label":
            line.label = value
        else:
            line.on = what == "on"
        return None if self.trouble == "unanswered" else "ok"


@contextmanager
def served() -> Iterator[Box]:
    """A box on a loopback socket, in a thread of its own."""
    box, loop, ready = Box(), asyncio.new_event_loop(), threading.Event()
    stop = asyncio.Event()

    async def serve() -> None:
        server = await asyncio.start_server(box.talk, "127.0.0.1", 0)
        box.port = server.sockets[0].getsockname()[1]
        ready.set()
        await stop.wait()
        server.close()
        for task in asyncio.all_tasks() - {asyncio.current_task()}:
            task.cancel()

    def run() -> None:
        loop.run_until_complete(serve())
        loop.run_until_complete(asyncio.sleep(0.01))
        loop.close()

    thread = threading.Thread(target=run, daemon=True)
    thread.start()
    ready.wait(5)
    try:
        yield box
    finally:
        loop.call_soon_threadsafe(stop.set)
        thread.join(5)


def install(
    site: Path,
    text: str = "",
    name: str = "fulmar-line-box",
    leads_to: str = "fulmar_adapter:plug_in",
) -> Path:
    """Put the package into a folder as an installer would: its module and its dist-info."""
    module = leads_to.partition(":")[0]
    site.mkdir(exist_ok=True)
    target = site / f"{module}.py"
    if text:
        target.write_text(text, encoding="utf-8")
    else:
        shutil.copy(HERE / "fulmar_adapter.py", target)
    info = site / f"{name.replace('-', '_')}-1.2.dist-info"
    info.mkdir()
    (info / "METADATA").write_text(
        f"Metadata-Version: 2.1\nName: {name}\nVersion: 1.2\n", encoding="utf-8"
    )
    (info / "entry_points.txt").write_text(
        f"[cutsheet.adapters]\nfulmar-box = {leads_to}\n", encoding="utf-8"
    )
    (info / "RECORD").write_text("", encoding="utf-8")
    return site


def wheel(folder: Path) -> Path:
    """The package as a wheel (the binary distribution format of PyPA), made by hand."""
    info = "fulmar_line_box-1.2.dist-info"
    held = {
        "fulmar_adapter.py": (HERE / "fulmar_adapter.py").read_text(encoding="utf-8"),
        f"{info}/METADATA": "Metadata-Version: 2.1\nName: fulmar-line-box\nVersion: 1.2\n",
        f"{info}/WHEEL": "Wheel-Version: 1.0\nGenerator: by hand\nRoot-Is-Purelib: true\n"
        "Tag: py3-none-any\n",
        f"{info}/entry_points.txt": "[cutsheet.adapters]\nfulmar-box = fulmar_adapter:plug_in\n",
    }
    rows = [f"{name},{_digest(text)},{len(text.encode())}" for name, text in held.items()]
    held[f"{info}/RECORD"] = "\n".join([*rows, f"{info}/RECORD,,"]) + "\n"
    path = folder / "fulmar_line_box-1.2-py3-none-any.whl"
    with zipfile.ZipFile(path, "w") as made:
        for name, text in held.items():
            made.writestr(name, text)
    return path


def _digest(text: str) -> str:
    made = base64.urlsafe_b64encode(hashlib.sha256(text.encode()).digest())
    return f"sha256={made.decode().rstrip('=')}"
