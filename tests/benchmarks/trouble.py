"""Random facilities for the safety benchmark: three kinds, each with all that a plan can meet.

- small ones with chains, rings, exchanges of addresses, joins, listeners and duplicates;
- those with more in them: leaves, settings with effects, saves, absent devices, and listeners that
  are off limits or did not answer;
- sources on two legs, whose groups are and are not tied to their numbers.

Every kind has a few transit numbers and addresses, or none.
"""

import random
from collections.abc import Mapping
from dataclasses import replace
from ipaddress import IPv4Address

from orchestrator.facility.numbering import NumberRange
from orchestrator.facility.plan import AddressRange, ListensTo, Network, Ref
from orchestrator.planning.scene import Scene
from tests.planning.scenes import MEDIA, Box, random_boxes, rich_boxes, scene
from tests.planning.test_two_legs import two_legs

KINDS = ("small", "rich", "two legs")


def facility(seed: int) -> Scene:
    """The facility of a seed; its kind changes with each."""
    rng = random.Random(seed + 1)
    match KINDS[seed % len(KINDS)]:
        case "small":
            return scene(random_boxes(seed), media=media_of(seed))
        case "rich":
            boxes = rich_boxes(seed)
            _trouble_listeners(rng, boxes)
            return scene(boxes, media=_transit(rng, MEDIA), width=rng.choice([1, 2, 16]))
        case _:
            return _two_legs(rng, two_legs(seed))


def media_of(seed: int) -> Network:
    """The test network, with a few transit numbers and addresses, or none."""
    return _transit(random.Random(seed + 1), MEDIA)


def _transit(rng: random.Random, network: Network) -> Network:
    """The network with a few transit numbers and addresses, or none."""
    numbers = rng.choice([0, 1, 1, 2, 4])
    addresses = rng.choice([0, 1, 2])
    numbering = network.numbering
    assert numbering is not None
    first = IPv4Address(int(network.subnet.network_address) + 230)
    return replace(
        network,
        numbering=replace(
            numbering, transit=NumberRange(2990, 2989 + numbers) if numbers else None
        ),
        transit=(AddressRange(first, first + addresses - 1),) if addresses else (),
    )


def _two_legs(rng: random.Random, where: Scene) -> Scene:
    """Both networks with as many transit numbers, and each with its own transit addresses."""
    fixed = rng.randrange(1 << 30)
    networks = {
        name: network if network.bench else _transit(random.Random(fixed), network)
        for name, network in where.plan.networks.items()
    }
    return replace(where, plan=replace(where.plan, networks=networks))


def _trouble_listeners(rng: random.Random, boxes: Mapping[str, Box]) -> None:
    """Now and then a device that only listens is off limits, or it did not answer."""
    for box in boxes.values():
        if not box.hears or box.at is not None or box.wants or box.to or rng.random() < 0.5:
            continue
        if rng.random() < 0.5:
            box.off_limits = "it carries the alerts"
        else:
            box.absent = True
            heard = rng.choice(list(boxes))
            box.planned_hears = {
                key: ListensTo(source=Ref(heard, next(iter(boxes[heard].sources), "s0")))
                for key in box.hears
            }
