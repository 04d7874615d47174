"""Runs of made-up facilities: planned by the planner, done in memory."""

from collections.abc import Iterable
from dataclasses import replace

from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.step import AddressValue, Step
from orchestrator.planning.digest import digest
from orchestrator.planning.dry_run import dry_run
from orchestrator.planning.result import DryRun
from orchestrator.planning.scene import Scene
from orchestrator.running.events import Event, Finished, Intended, Proved, Sent
from orchestrator.running.present import put
from orchestrator.running.record import RunRecord


def proved(steps: Iterable[Step]) -> list[Event]:
    """The events of steps that were done one after the other."""
    return [
        event
        for step in steps
        for event in (Intended(step.id), Sent(step.id, known=True), Proved(step.id))
    ]


def planned(scene: Scene) -> DryRun:
    """The dry-run, which nothing stops."""
    plan = dry_run(scene)
    assert plan.proved, plan.hazards
    assert not plan.stopped, plan.hazards
    return plan


def record_of(scene: Scene, plan: DryRun) -> RunRecord:
    """The record of a run of ``plan``."""
    before = {
        name: entry
        for name in dict.fromkeys(step.device for step in plan.sequence.steps)
        if isinstance(entry := scene.found.devices[name], Found)
    }
    return RunRecord(
        id="r1",
        facility="Test",
        title="A test",
        made_at="2026-11-25T02:00:00+00:00",
        digest=digest(plan.sequence),
        sequence=plan.sequence,
        expects={name: entry.state.identity for name, entry in before.items()},
        before=before,
        mended=plan.mended,
    )


def run(scene: Scene, count: int | None = None) -> tuple[RunRecord, list[Event], AsFound]:
    """A run with its first ``count`` steps done (None: all), and the survey after it."""
    plan = planned(scene)
    steps = plan.sequence.steps[:count]
    events = proved(steps)
    if count is None:
        events.append(Finished())
    return record_of(scene, plan), events, after(scene.found, steps)


def after(found: AsFound, steps: Iterable[Step]) -> AsFound:
    """The survey once ``steps`` are done."""
    devices = dict(found.devices)
    for step in steps:
        entry = devices[step.device]
        assert isinstance(entry, Found)
        at = step.wanted.address if isinstance(step.wanted, AddressValue) else entry.at
        devices[step.device] = replace(entry, at=at, state=put(entry.state, step, step.wanted))
    return replace(found, devices=devices)
