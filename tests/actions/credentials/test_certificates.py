from orchestrator.actions.credentials.certificates import Seen
from orchestrator.facility.trust import Pin


def seen(before: Pin | None) -> Seen:
    """A certificate as a device showed it."""
    return Seen(device="x", at="127.44.3.71", sha256="AB", says=(), serial=None, before=before)


def test_only_the_one_confirmed_is_known() -> None:
    """Neither another nor none. Whole commands are in the tests of the command line."""
    pin = Pin(sha256="AB", confirmed_by="an engineer", confirmed_at="2026-01-02")
    assert seen(pin).known
    assert not seen(Pin(sha256="CD", confirmed_by="x", confirmed_at="y")).known
    assert not seen(None).known
