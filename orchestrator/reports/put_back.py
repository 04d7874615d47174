"""What came of putting a device's whole configuration back, object by object.

The JSON document, ``cutsheet/put-back/1``::

    run, device, written, why
    tried[]     path, status, said[]: what the device said that it would do
    done[]      path, status, said[]: what it did; empty where nothing was written
    came_on[]   sources that are on now
"""

from collections.abc import Sequence

from orchestrator.facility.configuration import PutBack
from orchestrator.reports.layout import heading, item, wrap
from orchestrator.reports.values import Json


def text(
    run: str,
    device: str,
    tried: Sequence[PutBack],
    done: Sequence[PutBack] | None,
    *,
    why: str = "",
    came_on: Sequence[str] = (),
) -> str:
    """What came of it, for people: what is on, and what was not done, first."""
    lines: list[str] = []
    if came_on:
        lines += wrap(f"On now: {', '.join(came_on)} of {device}. Bring levels up by hand, slowly.")
    told = tried if done is None else done
    well = sum(one.done for one in told)
    if done is None:
        lines += wrap(f"Nothing was written to {device}: {why}.")
        lines += wrap(f"It would put back {well} of {len(told)} objects as before run {run}.")
    else:
        lines += wrap(f"{device} put back {well} of {len(told)} objects as before run {run}.")
    failed = [one for one in told if not one.done]
    if failed:
        lines += heading("Not put back")
        for one in failed:
            lines += item(one.path, f"{one.status} {'; '.join(one.said)}".strip(), 2)
    noted = [one for one in told if one.done and one.said]
    if noted:
        lines += heading("Its own words")
        for one in noted:
            lines += item(one.path, "; ".join(one.said), 2)
    if done is not None:
        lines += wrap("Next: 'cutsheet audit'.")
    return "\n".join(lines) + "\n"


def as_json(
    run: str,
    device: str,
    tried: Sequence[PutBack],
    done: Sequence[PutBack] | None,
    *,
    why: str = "",
    came_on: Sequence[str] = (),
) -> Json:
    """What came of it, as the document that the module describes."""
    return {
        "schema": "cutsheet/put-back/1",
        "run": run,
        "device": device,
        "written": done is not None,
        "why": why,
        "tried": [_plain(one) for one in tried],
        "done": [_plain(one) for one in done or ()],
        "came_on": list(came_on),
    }


def _plain(one: PutBack) -> Json:
    return {"path": one.path, "status": one.status, "said": list(one.said)}
