"""A secret that prints as nothing."""

import logging
import pickle
import traceback
from dataclasses import replace

import pytest

from orchestrator.facility.secret import Secret

SECRET = Secret("engineer", "tulip-forty-two")


@pytest.mark.parametrize(
    "shown",
    [
        repr(SECRET),
        str(SECRET),
        f"{SECRET}",
        f"{SECRET!r:>40}",
        "%s %r" % (SECRET, SECRET),  # noqa: UP031  # the way that logging formats
        repr([SECRET]),
        repr({"a": SECRET}),
    ],
)
def test_no_way_to_print_it_shows_it(shown: str) -> None:
    """Neither by itself nor inside something else."""
    assert "tulip" not in shown


def test_a_log_does_not_show_it(caplog: pytest.LogCaptureFixture) -> None:
    """A careless log line gives nothing away."""
    with caplog.at_level(logging.DEBUG):
        logging.getLogger("test").debug("signing in with %s", SECRET)
    assert "tulip" not in caplog.text
    assert "(secret)" in caplog.text


def test_a_traceback_does_not_show_it() -> None:
    """An exception that carries it gives nothing away."""
    shown = "".join(traceback.format_exception(ValueError(SECRET)))
    assert "tulip" not in shown


def test_only_asking_reveals_it() -> None:
    """And what is made of it keeps to that."""
    assert SECRET.reveal() == "tulip-forty-two"
    other = replace(SECRET, user="other")
    assert (other.user, other.reveal()) == ("other", "tulip-forty-two")
    assert pickle.loads(pickle.dumps(SECRET)) == SECRET  # noqa: S301  # our own bytes
