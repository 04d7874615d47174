"""A network of its own with quiet units on it, to look at from ``test_presence``.

Run as a program in a network namespace of its own: it makes a cable (a veth pair), stands at its
one end as 10.77.0.1, and at the other end answers by hand, frame by frame, as units do that let no
connection in: 10.77.0.2 answers who has its address (RFC 826), 10.77.0.3 an echo as well
(RFC 792), and 10.77.0.4 nothing. What the probe says of each is printed as JSON.
"""

import asyncio
import json
import socket
import struct
import subprocess
import sys
import threading
from pathlib import Path
from time import monotonic, sleep

HERE, ARP_ONLY, WITH_ECHO, NOBODY = (f"10.77.0.{n}" for n in (1, 2, 3, 4))
MAC = bytes.fromhex("020000000002")
ARP, IPV4 = 0x0806, 0x0800


def _ip(*words: str) -> None:
    subprocess.run(["ip", *words], check=True)


def cable() -> socket.socket:
    """Make the cable; its far end, where frames come in as they are."""
    _ip("link", "set", "lo", "up")
    _ip("link", "add", "near", "type", "veth", "peer", "name", "far")
    _ip("addr", "add", f"{HERE}/24", "dev", "near")
    for end in ("near", "far"):
        _ip("link", "set", end, "up")
    Path("/proc/sys/net/ipv4/ping_group_range").write_text("0 2147483647", encoding="ascii")
    far = socket.socket(socket.AF_PACKET, socket.SOCK_RAW, socket.htons(0x0003))
    far.bind(("far", 0))
    return far


def answer(far: socket.socket, present: set[str]) -> None:
    """Answer frames for the units that are present, for ever."""
    while True:
        frame = far.recv(2048)
        (kind,) = struct.unpack_from("!H", frame, 12)
        if kind == ARP and struct.unpack_from("!H", frame, 20) == (1,):
            who = socket.inet_ntoa(frame[38:42])
            if who in present:
                body = struct.pack("!HHBBH", 1, IPV4, 6, 4, 2) + MAC + frame[38:42] + frame[22:32]
                far.send(frame[6:12] + MAC + struct.pack("!H", ARP) + body)
        elif kind == IPV4 and frame[23] == 1 and frame[34] == 8:
            who = socket.inet_ntoa(frame[30:34])
            if who == WITH_ECHO and who in present:
                far.send(_echoed(frame))


def _echoed(frame: bytes) -> bytes:
    answer = bytearray(frame)
    answer[0:6], answer[6:12] = frame[6:12], MAC
    answer[26:30], answer[30:34] = frame[30:34], frame[26:30]
    answer[34] = 0
    (old,) = struct.unpack_from("!H", frame, 36)
    total = old + 0x0800  # type 8 became 0: the one's complement sum grows by as much
    struct.pack_into("!H", answer, 36, (total & 0xFFFF) + (total >> 16))
    return bytes(answer)


def main() -> None:
    """Look at everybody, twice at one who leaves meanwhile, and print what is said."""
    from orchestrator.adapters.http.probe import make_probe  # noqa: PLC0415 - as a program of its own
    from tests.adapters.makes import TAMARISK, a_plan  # noqa: PLC0415

    present = {ARP_ONLY, WITH_ECHO}
    threading.Thread(target=answer, args=(cable(), present), daemon=True).start()
    sleep(0.3)
    probe = make_probe(a_plan(), {"tamarisk-node": TAMARISK}, {}, timeout_s=0.5)
    said: dict[str, str | None] = {}
    for address in (ARP_ONLY, WITH_ECHO, NOBODY):
        said[address] = asyncio.run(probe("rack-node", address))
    present.clear()
    sleep(0.3)
    said["left"] = asyncio.run(probe("rack-node", ARP_ONLY))
    began = monotonic()
    asyncio.run(probe("rack-node", NOBODY))
    sys.stdout.write(json.dumps({**said, "seconds": monotonic() - began}))


if __name__ == "__main__":
    sys.path.insert(0, str(Path(__file__).parents[2]))
    main()
