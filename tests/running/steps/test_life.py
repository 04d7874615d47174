"""The table of a step's life as a whole."""

import pytest

from orchestrator.running.steps.life import LIFE, Happening, OutOfTurn, Stage, goes, table_text

OVER = {Stage.PROVED, Stage.FAILED}


def test_every_stage_can_be_reached_and_left() -> None:
    """From the first stage every other can be reached; only proved and failed have no way on."""
    reached, front = {Stage.INTENDING}, [Stage.INTENDING]
    while front:
        here = front.pop()
        for (stage, _), then in LIFE.items():
            if stage is here and then.stage not in reached:
                reached.add(then.stage)
                front.append(then.stage)
    assert reached == set(Stage)
    assert {stage for stage, _ in LIFE} == set(Stage) - OVER


def test_every_happening_is_in_the_table() -> None:
    """No happening is there for nothing."""
    assert {happening for _, happening in LIFE} == set(Happening)


def test_a_write_comes_only_right_after_a_read() -> None:
    """The stages that lead to a write read the device, also where its new address was probed."""
    before = {stage for (stage, _), then in LIFE.items() if then.stage is Stage.SENDING}
    assert before == {Stage.LOOKING, Stage.SEEKING}
    probes = {stage for (stage, _), then in LIFE.items() if then.stage is Stage.PROBING}
    assert probes == {Stage.LOOKING, Stage.SEEKING}


def test_what_fails_after_a_write_is_unsure() -> None:
    """A failure found while reading back, or seeking, says that the write may have landed."""
    after = {Stage.CHECKING, Stage.SEEKING, Stage.SEEKING_NEW}
    fails = {key: then for key, then in LIFE.items() if then.stage is Stage.FAILING}
    assert all(then.unsure for (stage, _), then in fails.items() if stage in after)
    assert not any(then.unsure for (stage, _), then in fails.items() if stage not in after)


def test_what_is_not_in_the_table_is_refused() -> None:
    """A step that stores its intent can't be told that it was accepted."""
    with pytest.raises(OutOfTurn, match="'store the intent' was told 'accepted'"):
        goes(Stage.INTENDING, Happening.ACCEPTED)


def test_the_table_prints_a_line_for_each_row() -> None:
    """Markdown, with the failure and whether it may have landed in words."""
    lines = table_text().splitlines()
    assert len(lines) == len(LIFE) + 2
    assert "| read before the write | as found | write |" in lines
    assert (
        "| read back | still as found | store that it failed: not done, may have landed |" in lines
    )
    assert "| write | refused | store that it failed: the reason told |" in lines
