"""What is vacant by the record: places for new devices, numbers left in each device's blocks.

The JSON document, ``cutsheet/vacant/1``::

    facility
    places[]  network, first, last (addresses), hosts, numbers? (first, last)
    own[]     device, network, numbers[]
"""

from collections.abc import Iterator, Sequence

from orchestrator.planning.vacant import Own, Place
from orchestrator.reports.layout import heading, table, wrap
from orchestrator.reports.values import Json


def text(facility: str, places: Sequence[Place], own: Sequence[Own], at_least: int = 1) -> str:
    """For people. ``at_least``: how many host parts in a row were asked for."""
    lines = wrap(
        f"Vacant in the record of {facility}, playbooks counted. Nothing was asked of any "
        "device: before anything moves, a run looks whether somebody answers there."
    )
    lines += heading("Places for a new device")
    if places:
        rows = [_place(place) for place in places]
        lines += table(("network", "addresses", "hosts in a row", "their numbers"), rows)
    else:
        lines += wrap(f"No {at_least} hosts in a row are vacant." if at_least > 1 else "None.")
    if own:
        lines += heading("Numbers left in the devices' own blocks")
        left = [(o.device, o.network, _runs(o.numbers) or "none") for o in own]
        lines += table(("device", "network", "numbers"), left)
    return "\n".join(lines) + "\n"


def _place(place: Place) -> tuple[str, str, str, str]:
    alone = place.first == place.last
    addresses = place.first if alone else f"{place.first} to {place.last}"
    return place.network, addresses, str(place.hosts), str(place.numbers or "not numbered")


def _runs(numbers: Sequence[int]) -> str:
    return ", ".join(str(a) if a == b else f"{a}-{b}" for a, b in _ends(numbers))


def _ends(numbers: Sequence[int]) -> Iterator[tuple[int, int]]:
    """The first and last of each run of numbers that follow one another."""
    first = last = None
    for number in numbers:
        if first is None or last is None:
            first = last = number
        elif number == last + 1:
            last = number
        else:
            yield first, last
            first = last = number
    if first is not None and last is not None:
        yield first, last


def as_json(facility: str, places: Sequence[Place], own: Sequence[Own]) -> Json:
    """As the document that the module describes."""
    return {
        "schema": "cutsheet/vacant/1",
        "facility": facility,
        "places": [
            {
                "network": place.network,
                "first": place.first,
                "last": place.last,
                "hosts": place.hosts,
                **(
                    {"numbers": {"first": place.numbers.first, "last": place.numbers.last}}
                    if place.numbers
                    else {}
                ),
            }
            for place in places
        ],
        "own": [
            {"device": one.device, "network": one.network, "numbers": list(one.numbers)}
            for one in own
        ],
    }
