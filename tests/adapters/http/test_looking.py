import asyncio
from dataclasses import replace
from pathlib import Path

import pytest
from cryptography import x509
from cryptography.hazmat.primitives.serialization import Encoding

from orchestrator.adapters.http.looking import lines_of, make_looker
from orchestrator.errors import CallError
from tests.adapters.makes import PARTY, TAMARISK, a_plan
from tests.adapters.papers import authority, issued, self_signed
from tests.adapters.servers import answering, http, serving

SECURE = replace(TAMARISK, scheme="https")


def test_it_looks_where_the_device_answers(tmp_path: Path) -> None:
    """By the connect map too; only a device that speaks TLS has something to show."""
    paper, plan = issued(authority(), PARTY.address), a_plan()

    async def whole() -> str:
        async with serving(answering(http()), paper.server(tmp_path)) as server:
            ways = {PARTY.address: f"127.0.0.1:{server.port}"}
            look = make_looker(plan, {"tamarisk-node": SECURE}, ways)
            shown = await look(plan.devices["rack-node"], PARTY.address)
            assert server.heard == []
            return shown.sha256

    assert asyncio.run(whole()) == paper.sha256
    plain = make_looker(plan, {"tamarisk-node": TAMARISK}, {})
    with pytest.raises(CallError, match="not spoken to over TLS"):
        asyncio.run(plain(plan.devices["rack-node"], PARTY.address))


def test_what_a_certificate_says_of_itself() -> None:
    """Subject, issuer, names and validity; what somebody wrote into it can't move the cursor."""
    held = issued(authority(), "127.44.3.71", "unit.example")
    der = x509.load_pem_x509_certificate(held.pem).public_bytes(Encoding.DER)
    lines = lines_of(der)
    assert "names unit.example, 127.44.3.71" in lines
    assert "Tern Point invented plant" in lines[1]
    evil = x509.load_pem_x509_certificate(self_signed("a\x1b[2Jb").pem).public_bytes(Encoding.DER)
    assert all(line.isprintable() for line in lines_of(evil))
    assert lines_of(b"nonsense") == ("it can't be read; only its fingerprint is known",)
