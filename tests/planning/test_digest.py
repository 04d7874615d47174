"""The digest of a sequence."""

from dataclasses import replace
from hashlib import sha256

import pytest

from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Phase,
    Sequence,
    Step,
    StepKind,
    StepValue,
)
from orchestrator.planning.digest import canonical, digest

STEP = Step(
    id="s1",
    kind=StepKind.SET,
    device="north-engine",
    at="127.44.3.31",
    as_found=1,
    wanted=2,
    setting="ptp_domain",
)
SEQUENCE = Sequence(steps=(STEP,), phases=(Phase(("north",)),))


def test_it_is_the_beginning_of_the_sha_256_of_the_canonical_text() -> None:
    """FIPS 180-4's own example ties the hash down; the digest is its first 16 digits."""
    assert sha256(b"abc").hexdigest().startswith("ba7816bf8f01cfea")
    assert digest(SEQUENCE) == sha256(canonical(SEQUENCE).encode()).hexdigest()[:16]


def test_it_stays_the_same_from_release_to_release() -> None:
    """An approved work order has to stay readable: this digest was written down once."""
    assert digest(SEQUENCE) == "8786f4095a5686c0"


def test_what_it_takes_to_do_is_no_part_of_what_is_done() -> None:
    """Two surveys that differ in the devices' haste alone give one digest."""
    slow = replace(SEQUENCE, steps=(replace(STEP, estimate_s=9.5),))
    assert digest(slow) == digest(SEQUENCE)


VALUES: tuple[StepValue, ...] = (
    None,
    True,
    False,
    0,
    1,
    1.0,
    "1",
    "true",
    "",
    Assigned(None),
    Assigned(1),
    Assigned(1, (None,)),
    Assigned(1, ("239.194.0.1:5004",)),
    Hearing(),
    Hearing(1),
    Hearing(None, "239.194.0.1:5004"),
    AddressValue("main", "127.44.3.31", 24),
    AddressValue("main", "127.44.3.31", 24, "127.44.3.254"),
)


def test_values_that_differ_give_digests_that_differ() -> None:
    """1, 1.0, true and "1" are four values, and so are the kinds of assignment."""
    found = {digest(Sequence(steps=(replace(STEP, wanted=value),))) for value in VALUES}
    assert len(found) == len(VALUES)


@pytest.mark.parametrize(
    "other",
    [
        replace(SEQUENCE, width=3),
        replace(SEQUENCE, phases=()),
        replace(SEQUENCE, steps=(STEP, replace(STEP, id="s2"))),
        replace(SEQUENCE, steps=(replace(STEP, after=("s0",)),)),
        replace(SEQUENCE, steps=(replace(STEP, at="127.44.3.32"),)),
        replace(SEQUENCE, steps=(replace(STEP, order=1),)),
    ],
)
def test_whatever_else_is_done_differently_shows(other: Sequence) -> None:
    """Order, place, phases and width all count."""
    assert digest(other) != digest(SEQUENCE)
