"""What a device can do, and how it behaves while doing it."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from enum import StrEnum

from orchestrator.facility.step import StepKind


class Saves(StrEnum):
    """When a change becomes what the device boots with."""

    AT_ONCE = "at_once"
    ON_SAVE = "on_save"


class Hears(StrEnum):
    """What a destination of the device holds of the source that it listens to."""

    NUMBER = "number"
    GROUP = "group"


class Effect(StrEnum):
    """What changing a setting does beside the change."""

    NONE = "none"
    INTERRUPTS = "interrupts"
    REBOOTS = "reboots"
    PLANT_WIDE = "plant_wide"


@dataclass(frozen=True, slots=True)
class Batch:
    """What goes to a device in one request: steps of these kinds, at most so many of them."""

    kinds: frozenset[StepKind]
    most: int


@dataclass(frozen=True, slots=True, kw_only=True)
class Traits:
    """The traits of a make and model.

    ``settle_s``: seconds after a readdress until it can be expected at the new address.
    ``late_s``: seconds within which an accepted write must show in a read-back.
    ``save_s``: seconds that a save takes.
    ``holds_sender_address``: its destinations hold the sender's address, so a repoint has to
    come after the sender's own readdress.
    ``asks_source``: before a destination of it is pointed at a source, it is asked of that
    source's own device how the stream is described, so a repoint has to come after the source's
    own renumber.
    ``gives_configuration``: it may give its whole configuration, to be kept and put back.
    ``numbers_by_rule``: it keeps groups and no numbers; the number of a source is the one that its
    groups stand for by the plan's rule, so number and groups always move together.
    ``requests``: how many requests a kind of step takes at least; where it is not known, the usual.
    ``cannot``: why it can't do a kind of step, as a clause that can follow the device's name, where
    the reason is not just that its device description has no write for it; ``instead``: what the
    user could do about it beside doing it by hand, as an order.
    ``sets_labels``: a source's label can be set. ``read_only``: settings that are told and can't be
    set. ``makes_gateway``: a readdress gives it a gateway too, whether it has told of one or not.
    ``batches``: the kinds of which it takes several steps in one request; a kind is in one at most.
    """

    can: frozenset[StepKind]
    saves: Saves = Saves.AT_ONCE
    hears: Hears = Hears.NUMBER
    legs: int = 1
    settle_s: float = 10.0
    late_s: float = 5.0
    save_s: float = 0.0
    holds_sender_address: bool = False
    asks_source: bool = False
    gives_configuration: bool = False
    requests_at_once: int = 1
    effects: Mapping[str, Effect] = field(default_factory=dict)
    models: tuple[str, ...] = ()
    tried_with: tuple[str, ...] = ()
    numbers_by_rule: bool = False
    cannot: Mapping[StepKind, str] = field(default_factory=dict)
    requests: Mapping[StepKind, int] = field(default_factory=dict)
    instead: Mapping[StepKind, str] = field(default_factory=dict)
    sets_labels: bool = True
    read_only: frozenset[str] = frozenset()
    makes_gateway: bool = True
    batches: tuple[Batch, ...] = ()

    def batch(self, kind: StepKind) -> Batch | None:
        """The batch that steps of ``kind`` can be part of; None: each goes alone."""
        return next((batch for batch in self.batches if kind in batch.kinds), None)

    def together(self, kinds: Sequence[StepKind]) -> bool:
        """Whether steps of these ``kinds``, one each, can go in one request."""
        return any(
            batch.kinds.issuperset(kinds) and len(kinds) <= batch.most for batch in self.batches
        )

    def tried(self, firmware: str) -> bool:
        """Whether it was tried with ``firmware``: 2.7 covers 2.7.3. Where nothing is named, all."""
        return not self.tried_with or any(
            firmware == version or firmware.startswith(version + ".") for version in self.tried_with
        )
