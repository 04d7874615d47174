"""What is lent from transit, read off the steps."""

from orchestrator.facility.step import AddressValue, Assigned, StepKind
from orchestrator.planning.ordering.drafts import Draft
from orchestrator.planning.ordering.loans import loans_of
from tests.planning.scenes import Box, scene

FACILITY = scene({"a": Box(31, {"s": (301, True)}), "b": Box(32, {"s": (302, True)})})


def moved(kind: StepKind, was: Assigned | AddressValue, then: Assigned | AddressValue) -> Draft:
    """A move of device a."""
    source = "s" if kind is StepKind.RENUMBER else None
    return Draft(
        kind=kind, device="a", room="north", at="", as_found=was, wanted=then, source=source
    )


def test_a_number_on_transit_is_a_loan() -> None:
    """From the move out to the move home, of the network's store of four."""
    steps = [
        moved(StepKind.RENUMBER, Assigned(301), Assigned(2990)),
        moved(StepKind.RENUMBER, Assigned(2990), Assigned(302)),
    ]
    assert loans_of(FACILITY, steps) == [(0, 1, 0, 4)]


def test_an_address_on_transit_is_a_loan() -> None:
    """The test network sets two addresses aside."""
    at = [AddressValue("main", f"127.44.3.{host}", 24) for host in (31, 230, 32)]
    steps = [
        moved(StepKind.READDRESS, at[0], at[1]),
        moved(StepKind.READDRESS, at[1], at[2]),
    ]
    assert loans_of(FACILITY, steps) == [(0, 1, 0, 2)]


def test_a_move_in_one_step_is_none() -> None:
    """Nothing is lent where everything goes straight home."""
    assert loans_of(FACILITY, [moved(StepKind.RENUMBER, Assigned(301), Assigned(305))]) == []
