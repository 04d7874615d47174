import ssl
from dataclasses import replace

from orchestrator.adapters.http.certificates import by_authority, by_fingerprint, by_system
from orchestrator.adapters.trust import Trust, by_system_alone
from orchestrator.facility.trust import Pin, Tls
from tests.adapters.makes import a_plan
from tests.adapters.papers import authority, pem_of, self_signed

PEM = pem_of(authority())
PIN = Pin(sha256=self_signed().sha256, confirmed_by="an engineer", confirmed_at="2026-01-02")
TRUST = Trust(authorities={"a.pem": PEM}, pins={"rack-node": PIN})
PLAN = a_plan()
NODE = PLAN.devices["rack-node"]


def judged(described: Tls | None, trust: Trust = TRUST) -> tuple[ssl.SSLContext, str | None]:
    """By what the node's certificate is judged."""
    held = trust.judging(PLAN, NODE, described)
    return held["tls"], held["tls_name"]


def test_each_way_to_trust() -> None:
    """This computer's where nothing is said; else what the documents say."""
    assert judged(None) == (by_system(), None)
    assert judged(Tls(name="unit")) == (by_system(), "unit")
    assert judged(Tls(authority="a.pem")) == (by_authority(PEM), None)
    assert judged(Tls(pinned=True)) == (by_fingerprint(PIN.sha256), None)
    assert by_system_alone(None)["tls"] is by_system()


def test_pinned_and_never_confirmed_trusts_nothing() -> None:
    """Not this computer's authorities either."""
    assert judged(Tls(pinned=True), Trust()) == (by_fingerprint(None), None)


def test_whom_the_plan_does_not_name() -> None:
    """The authority at the plan's top counts for a registry; nobody of them is ever confirmed."""
    for said, by in (
        (None, by_system()),
        (Tls(authority="a.pem"), by_authority(PEM)),
        (Tls(pinned=True), by_system()),
    ):
        assert TRUST.of_others(replace(PLAN, tls=said)) is by
