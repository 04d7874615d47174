"""The steps of one device that do not move it: switches, labels, settings, pointers, numbers."""

from orchestrator.facility.found import DeviceState
from orchestrator.facility.plan import Ref, refs_of
from orchestrator.facility.step import StepKind
from orchestrator.facility.traits import Effect
from orchestrator.planning.aims.changes import hearing
from orchestrator.planning.ordering.moves import Move
from orchestrator.planning.ordering.saves import boots_saved
from orchestrator.planning.ordering.work import Work

_Switches = tuple[int | None, int | None]
"""The disable and the enable of a source."""


class DeviceSteps:
    """Adds the steps of each device, and the order among them."""

    def __init__(self, work: Work) -> None:
        self.work = work

    def device(self, name: str) -> None:
        """Add the steps of one device."""
        now, then = self.work.scene.states[name], self.work.wanted[name]
        moved = {self.work.moves[i].source for i in self.work.moves_of[name]}
        effects = self.work.traits(name).effects
        risky = any(
            now.settings[setting] != value and effects.get(setting, Effect.NONE) is not Effect.NONE
            for setting, value in then.settings.items()
        )
        every_off = risky or None in moved  # a readdress is a move of no source
        concerned = [
            source
            for source, wish in then.sources.items()
            if every_off or wish is not now.sources[source]
        ]
        switches: dict[str | None, _Switches] = {}
        for ref in refs_of(name, concerned):
            source = ref.name
            was, wish = now.sources[source], then.sources[source]
            off = every_off or source in moved
            switches[source] = self._switch(ref, was.enabled, wish.enabled, off=off)
            if was.label != wish.label:
                self.work.add(
                    name,
                    StepKind.SET,
                    source=source,
                    setting="label",
                    as_found=was.label,
                    wanted=wish.label,
                )
        self._settings(name, now, then)
        for destination, target in then.destinations.items():
            pointer = now.destinations[destination].hears
            if pointer != target.hears:
                self.work.repoint[Ref(name, destination)] = self.work.add(
                    name,
                    StepKind.REPOINT,
                    destination=destination,
                    as_found=hearing(pointer),
                    wanted=hearing(target.hears),
                )
        for index in self._in_turn(name):
            move = self.work.moves[index]
            if move.source is not None:
                self._renumber(index, move, *switches[move.source])

    def _switch(self, ref: Ref, was: bool, wish: bool, *, off: bool) -> _Switches:  # noqa: FBT001
        """Add the disable and the enable of a source, where it needs them."""
        disable = enable = None
        if was and (off or not wish):
            disable = self.work.disable[ref] = self.work.add(
                ref.device, StepKind.DISABLE, source=ref.name, as_found=True, wanted=False
            )
        if wish and (off or not was):
            enable = self.work.enable[ref] = self.work.add(
                ref.device,
                StepKind.ENABLE,
                source=ref.name,
                as_found=False,
                wanted=True,
                after=disable,
            )
        return disable, enable

    def _settings(self, name: str, now: DeviceState, then: DeviceState) -> None:
        for setting, value in then.settings.items():
            if now.settings[setting] == value:
                continue
            step = self.work.add(
                name,
                StepKind.SET,
                setting=setting,
                as_found=now.settings[setting],
                wanted=value,
            )
            effect = self.work.traits(name).effects.get(setting, Effect.NONE)
            if effect is Effect.REBOOTS and boots_saved(self.work, name):
                self.work.restarts[name].append(step)
            if effect is not Effect.NONE:
                for source in then.sources:
                    ref = Ref(name, source)
                    self.work.graph.order(self.work.disable.get(ref), step, f"{ref} is off")
                    self.work.graph.order(step, self.work.enable.get(ref))

    def _in_turn(self, name: str) -> list[int]:
        """The moves of a device; a way out into transit before any way home."""
        moves = self.work.moves
        return sorted(self.work.moves_of[name], key=lambda index: moves[index].lent == "home")

    def _renumber(self, index: int, move: Move, disable: int | None, enable: int | None) -> None:
        step = self.work.add(
            move.device,
            StepKind.RENUMBER,
            source=move.source,
            as_found=move.as_found,
            wanted=move.wanted,
            after=disable,
        )
        self.work.move_step[index] = self.work.freed_at[index] = step
        self.work.graph.order(step, enable)
