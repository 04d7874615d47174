"""How long steps take, by the measured pace of their devices and what is known of their kind."""

import math
from collections import defaultdict
from collections.abc import Iterable, Mapping
from functools import lru_cache

from orchestrator.facility.found import Found
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect, Traits
from orchestrator.planning.ordering.drafts import Draft
from orchestrator.planning.scene import Scene

REQUESTS: Mapping[StepKind, int] = {
    StepKind.CONFIRM: 2,
    StepKind.BY_HAND: 0,
}
REQUESTS_OF_A_WRITE = 5
"""Identity and value before, the write, identity and value after; where traits say no number.

A readdress is read back by its confirm, but read twice before it is sent.
"""


def estimate(scene: Scene, draft: Draft, *, steady: bool = True) -> float:
    """Seconds that a step takes: its requests at the device's pace, and its traits.

    The pace is the one that the survey measured; ``steady``: rounded, for what is to come out
    alike for two surveys of one facility.
    """
    traits = scene.traits[draft.device]
    usual = REQUESTS.get(draft.kind, REQUESTS_OF_A_WRITE)
    pace = _pace(scene, draft.device, steady=steady)
    seconds = pace * traits.requests.get(draft.kind, usual)
    if draft.kind is StepKind.CONFIRM or _restarts(draft, traits):
        seconds += traits.settle_s
    if draft.kind is StepKind.SAVE:
        seconds += traits.save_s
    return seconds


def estimate_all(scene: Scene, drafts: Iterable[Draft], *, steady: bool = True) -> None:
    """Note in each of ``drafts`` how long it takes, to the millisecond; as :func:`estimate`.

    Alike steps of devices with one pace and the same traits take equally long.
    """
    alike: dict[tuple[float, int], dict[object, float]] = defaultdict(dict)
    of_device: dict[str, dict[object, float]] = {}
    for draft in drafts:
        known = of_device.get(draft.device)
        if known is None:
            pace = _pace(scene, draft.device, steady=steady)
            known = of_device[draft.device] = alike[pace, id(scene.traits[draft.device])]
        what: object = draft.kind
        if draft.setting is not None:
            what = (draft.kind, draft.source is None and draft.setting)
        seconds = known.get(what)
        if seconds is None:
            seconds = known[what] = round(estimate(scene, draft, steady=steady), 3)
        draft.seconds = seconds


def _pace(scene: Scene, device: str, *, steady: bool) -> float:
    """Seconds that a request to ``device`` takes; none, if it was not found."""
    entry = scene.found.devices[device]
    response = entry.response_s if isinstance(entry, Found) else 0.0
    return _steady(response) if steady and isinstance(entry, Found) else response


def _restarts(draft: Draft, traits: Traits) -> bool:
    """Whether the device is away for a while after the step."""
    of_device = draft.kind is StepKind.SET and draft.source is None
    return of_device and traits.effects.get(draft.setting or "") is Effect.REBOOTS


@lru_cache
def _steady(response_s: float) -> float:
    """A measured pace rounded up to 1, 2 or 5 times a power of ten, and to 5 ms at least.

    Two surveys never measure quite the same; the same facility should give the same sequence.
    """
    power = 10.0 ** math.floor(math.log10(max(response_s, 0.005)) + 1e-9)
    return next(step * power for step in (1, 2, 5, 10) if step * power >= response_s - 1e-9)
