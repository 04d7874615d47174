"""What a rehearsal takes for granted."""

from dataclasses import replace

from orchestrator.running.terms import Terms
from orchestrator.running.window import Window
from tests.planning.hand import chain, join
from tests.rehearsal.premises_of import of


def test_every_device_of_the_sequence_is_expected_as_it_was_found() -> None:
    """Identities come from the survey, for the devices that the run touches."""
    assert {name: who.serial for name, who in of(chain()).expects.items()} == {
        "a": "SN-a",
        "b": "SN-b",
        "c": "SN-c",
    }


def test_a_bench_is_no_network_of_the_facility() -> None:
    """An address on a bench or on no known network has none."""
    what = of(join())
    assert what.network_at("127.44.3.31") == "media"
    assert what.network_at("127.0.2.50") is None
    assert what.network_at("198.51.100.1") is None


def test_a_device_that_was_not_found_is_no_unit() -> None:
    """Only what answered can be simulated."""
    boxes = chain()
    boxes["c"].absent = True
    boxes["c"].hears = {}
    assert set(of(boxes).units) == {"a", "b"}


def test_a_rehearsal_begins_as_the_window_opens() -> None:
    """Without a window: when the survey was made."""
    what = of(chain())
    assert what.begins.isoformat() == what.found.taken_at
    window = Window(
        opens="2026-03-29T02:00:00+01:00", closes="2026-03-29T05:00:00+02:00", zone="Europe/Paris"
    )
    assert replace(what, terms=Terms(window=window)).begins.isoformat() == window.opens
    assert what.rooms == {"a": "north", "b": "north", "c": "north"}
