"""What a sequence asks of devices that can't do it, and the way out of each."""

from collections.abc import Iterator

from orchestrator.facility.hazard import Grade, Hazard
from orchestrator.facility.step import AddressValue, StepKind
from orchestrator.facility.traits import Traits
from orchestrator.planning.ordering.drafts import Draft, Graph
from orchestrator.planning.scene import Scene

_SET = StepKind.SET
_BY_HAND = "do it by hand and take it out of the playbook"


def incapable(scene: Scene, graph: Graph) -> Iterator[Hazard]:
    """A hazard for each thing that a device is to do and can't, by its traits; each said once.

    A gateway that a device does not tell, and so is not given, stops nothing: it may need none.
    """
    said: set[tuple[str, str]] = set()
    for draft in graph.drafts:
        traits = scene.traits[draft.device]
        what = _lacking(traits, draft)
        if what is not None and (draft.device, what) not in said:
            said.add((draft.device, what))
            yield _stops(traits, draft, what)
        if not traits.makes_gateway and draft.kind is StepKind.READDRESS:
            yield from _gateway(draft)


def _lacking(traits: Traits, draft: Draft) -> str | None:
    """What the device can't do of ``draft``, in a word; None if it can."""
    if draft.kind not in traits.can:
        return str(draft.kind)
    if draft.kind is not _SET:
        return None
    if draft.source is not None:
        return None if traits.sets_labels else "label"
    return draft.setting if draft.setting in traits.read_only else None


def _stops(traits: Traits, draft: Draft, lacking: str) -> Hazard:
    name, why = draft.device, traits.cannot.get(draft.kind)
    instead = traits.instead.get(draft.kind, "")
    if why is None:
        doing = lacking if lacking == draft.kind else f"set its {lacking}"
        doing = "set the label of a source" if lacking == "label" else doing
        why = f"it has no way to {doing}, by its device description"
        instead = instead or "add the write to its device description"
    return Hazard(
        name=f"can-not:{name}:{lacking}",
        rule="traits",
        grade=Grade.STOPS,
        what=f"{name}: {why}",
        where=(name,),
        fix=f"{instead}, or {_BY_HAND}" if instead else _BY_HAND,
    )


def _gateway(draft: Draft) -> Iterator[Hazard]:
    was, wanted = draft.as_found, draft.wanted
    if not isinstance(was, AddressValue) or not isinstance(wanted, AddressValue):
        return
    if was.gateway is None and wanted.gateway is not None:
        yield Hazard(
            name=f"no-gateway:{draft.device}/{wanted.interface}",
            rule="traits",
            grade=Grade.INFORMATION,
            what=f"{draft.device} tells no gateway, so none is set with its new address",
            where=(draft.device,),
            fix=f"if it needs {wanted.gateway} as its gateway, set that by hand",
        )
