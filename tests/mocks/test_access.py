import pytest

from mocks.access import Access
from mocks.messages import Problem


def test_wrong_tries_in_a_row_lock_it() -> None:
    """A right one before that forgets them; a request without a sign-in is no try."""
    access = Access("first-word")
    access.locks_after = 2
    for written, good in (("x", False), ("first-word", True), ("", False), ("x", False)):
        assert access.tried(written, "first-word") is good
    assert access.wrong == 1
    assert not access.tried("x", "first-word")
    assert access.locked
    assert not access.tried("first-word", "first-word")
    assert access.most_wrong == 2
    access.reboot()
    assert access.tried("first-word", "first-word")


def test_a_word_is_changed_by_who_knows_the_old_one() -> None:
    """And it is lost in a power cycle, unless it was saved."""
    access = Access("first-word")
    for was, will, status in (("x", "second-word", 403), ("first-word", "short", 422)):
        with pytest.raises(Problem) as caught:
            access.change(was, will, saved=True)
        assert caught.value.response.status == status
    access.change("first-word", "second-word", saved=False)
    assert access.word == "second-word"
    access.reboot()
    assert access.word == "first-word"
    access.change("first-word", "second-word", saved=True)
    access.reboot()
    assert access.word == "second-word"
    assert "second-word" not in repr(access)
