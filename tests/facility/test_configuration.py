import pytest

from orchestrator.facility.configuration import FAILED, OK, PutBack


@pytest.mark.parametrize(
    ("status", "done"), [(OK, True), (FAILED, False), (404, False), (0, False)]
)
def test_done_is_one_status_alone(status: int, done: bool) -> None:  # noqa: FBT001
    """That of AMWA IS-14 for an object that was restored."""
    assert PutBack(path="root", status=status).done is done
