"""What is lent from transit, and for how long it can't be lent again."""

from collections.abc import Sequence

from orchestrator.facility.step import AddressValue, Assigned, StepKind
from orchestrator.planning.ordering.drafts import Draft
from orchestrator.planning.scene import Scene
from orchestrator.planning.scheduling.bounds import Loan

_Store = tuple[str, str]
_MOVES = frozenset({StepKind.RENUMBER, StepKind.READDRESS})


def loans_of(scene: Scene, drafts: Sequence[Draft]) -> list[Loan]:
    """Each loan: the step that borrows, the one that gives back, the store, and how many it has."""
    stores: dict[_Store, int] = {}
    borrowed: dict[tuple[str, str | None], int] = {}
    found: list[Loan] = []
    for index, draft in enumerate(drafts):
        if draft.kind not in _MOVES:
            continue
        interface = draft.wanted.interface if isinstance(draft.wanted, AddressValue) else None
        key = (draft.device, draft.source or interface)
        earlier = borrowed.get(key)
        borrowed[key] = index
        if earlier is not None and drafts[earlier].wanted == draft.as_found:
            store = _store(scene, draft)
            if store is not None:
                number = stores.setdefault(store, len(stores))
                found.append((earlier, index, number, _count(scene, store)))
    return found


def _store(scene: Scene, draft: Draft) -> _Store | None:
    """The kind and the network of what ``draft`` gives back; None where it is no transit's."""
    value = draft.as_found
    if isinstance(value, AddressValue):
        network = scene.plan.network_of(value.address)
        return ("address", network.name) if network and not network.bench else None
    if isinstance(value, Assigned):
        for name in scene.networks_now[draft.device]:
            numbering = scene.plan.networks[name].numbering if name else None
            if name and numbering and value.number in (numbering.transit or ()):
                return ("number", name)
    return None


def _count(scene: Scene, store: _Store) -> int:
    """How many of its kind the network sets aside."""
    kind, name = store
    network = scene.plan.networks[name]
    if kind == "address":
        return sum(int(run.last) - int(run.first) + 1 for run in network.transit)
    transit = network.numbering.transit if network.numbering else None
    return len(transit or ())
