"""A credential's secret changed on all devices that use it, as a run that is proved step by step.

At each moment both secrets are known: the new one is in the keyring, beside the old one, before the
first write, and takes its place only when every device has been signed in to with it. What a device
takes is found by trying (see ``adapters.rotating``), so a run that broke off anywhere is taken up
again, or taken back, without anybody remembering how far it came. It is a run like others: stored
step by step, with the same locks; its steps set one setting, from ``old`` to ``new``.
"""

from collections.abc import Callable, Collection, Mapping
from dataclasses import dataclass, field, replace

from orchestrator.actions.apply import (
    Attendance,
    Ended,
    Order,
    holding,
    record_of,
    refuse_owned,
    resume,
    start,
)
from orchestrator.actions.credentials.sign_in_test import devices_of
from orchestrator.actions.desk import Desk
from orchestrator.actions.survey import survey
from orchestrator.adapters.rotating import NEW, OLD, SETTING, Rotating, Tried
from orchestrator.credentials import Credentials
from orchestrator.errors import CallError, SignInRefused
from orchestrator.facility.found import AsFound, Found
from orchestrator.facility.secret import Secret
from orchestrator.facility.step import Phase, Sequence, Step, StepKind
from orchestrator.facility.traits import Saves
from orchestrator.ledger.store import SqliteLedger, ledger_path
from orchestrator.running.events import Intended

WIDTH = 4
"""How many devices are changed at one time, once the first has been."""

_ESTIMATE_S = 1.0
_FIRST = "first one device has to take it, before others are written"


@dataclass(frozen=True, kw_only=True)
class Rotation:
    """A change of one credential's secret: the secrets by what steps call them, what was tried."""

    name: str
    secrets: Mapping[str, Secret]
    tried: dict[str, Tried] = field(default_factory=dict)

    def opened(self, desk: Desk, device: str, address: str) -> Rotating:
        """The way to a device by whichever secret it takes.

        Raises:
            CallError: its secret can't be changed.
            NoSecret: it can't be signed in to with a secret like this.
        """
        door = desk.doors(device, address, tuple(self.secrets.values()))
        if door is None:
            raise CallError(
                f"{device} is not signed in to, so it has no secret to change",
                "leave it out with --without, or take its 'credentials' out of the plan",
            )
        for secret in self.secrets.values():
            door.check(secret)
        return Rotating(
            door,
            self.secrets,
            self.tried.setdefault(device, Tried()),
            desk.traits[device],
            device=device,
            address=address,
        )

    def at(self, desk: Desk) -> Desk:
        """The desk, from which every device is spoken to by whichever secret it takes."""
        return replace(
            desk, open_adapter=lambda device, address: self.opened(desk, device, address)
        )


async def rotate(
    desk: Desk,
    credentials: Credentials,
    name: str,
    make_new: Callable[[Secret], Secret],
    attendance: Attendance,
    *,
    without: Collection[str] = (),
) -> Ended:
    """Change the secret of ``name`` on every device of the plan that uses it.

    ``make_new`` is given the old secret and gives the new one; it is not asked where a change is
    under way, which is then finished. Devices ``without`` which it is done keep the old secret;
    it stays in the keyring for them, under the name with ``-old`` behind it.

    Raises:
        CallError: no device uses it; one can't be changed, is off limits, or belongs to a run.
        NoSecret: the keyring can't be used, or the new secret can't sign in.
    """
    users = _users(desk, name, without)
    _settle_what_is_over(desk, credentials, name)
    old, pending = credentials.current(name), credentials.pending(name)
    under_way = unfinished_rotation(desk, name) if pending is not None else None
    if under_way is not None:
        return await resume_rotation(desk, credentials, under_way, attendance)
    with (
        holding(desk, attendance, f"credential rotate {name}") as held,
        SqliteLedger(desk.folder) as ledger,
    ):
        refuse_owned(ledger, users)
        known = {OLD: old} if pending is None else {OLD: old, NEW: pending}
        first = Rotation(name=name, secrets=known)
        found, wrong = await _looked_at(desk, first, users)
        if wrong:
            return Ended(run=None, why="; ".join(wrong))
        new = pending or make_new(old)
        both = replace(first, secrets={OLD: old, NEW: new})
        _check(desk, both, old, new, users)
        if without:
            credentials.add(old_name(name), old)
        if pending is None:
            credentials.begin_change(name, new)
        order = _order(desk, both, f"New secret for {name}", found, (OLD, NEW))
        record = replace(record_of(desk, order, ledger), rotates=name)
        ended = await start(both.at(desk), ledger, held, record, attendance)
    if ended.finished:
        credentials.finish_change(name)
    return ended


async def resume_rotation(
    desk: Desk, credentials: Credentials, run: str, attendance: Attendance
) -> Ended:
    """Go on with a change of a secret, or with one that is being taken back.

    Raises:
        LedgerError: no such run, or another run holds the facility.
        CallError: it is over; or the keyring holds no new secret any more.
    """
    name, back = _rotation_of(desk, run)
    ended = await resume(_both(credentials, name).at(desk), run, attendance)
    if ended.finished:
        (credentials.drop_change if back else credentials.finish_change)(name)
    return ended


async def take_back_rotation(
    desk: Desk, credentials: Credentials, run: str, attendance: Attendance
) -> Ended:
    """Take an unfinished change of a secret back: the old one again, on each device it reached.

    Raises:
        LedgerError: no such run, or another run holds the facility.
        CallError: it is over: nothing is known of the old secret any more.
    """
    name, back = _rotation_of(desk, run)
    if back or credentials.pending(name) is None:
        raise CallError(
            f"run {run} has changed the secret of {name} for good; the old one is not kept",
            f"'cutsheet credential rotate {name}' gives it another one",
        )
    both = _both(credentials, name)
    with (
        holding(desk, attendance, f"undo {run}") as held,
        SqliteLedger(desk.folder, create=False) as ledger,
    ):
        record, events = ledger.record(run), ledger.events(run)
        meant = {event.step for event in events if isinstance(event, Intended)}
        reached = {step.device for step in record.sequence.steps if step.id in meant}
        refuse_owned(ledger, record.before, besides=run)
        found, wrong = await _looked_at(desk, both, [n for n in record.before if n in reached])
        if wrong:
            return Ended(run=None, why="; ".join(wrong))
        title = f"Undo of {run}: {record.title}"
        order = _order(desk, both, title, found, (NEW, OLD))
        undoing = replace(record_of(desk, order, ledger), rotates=name, undoes=run)
        ended = await start(both.at(desk), ledger, held, undoing, attendance)
    if ended.finished:
        credentials.drop_change(name)
    return ended


def rotated_by(desk: Desk, run: str) -> str | None:
    """The credential whose secret ``run`` changes; None if it is a run of another sort."""
    if not ledger_path(desk.folder).exists():
        return None
    with SqliteLedger(desk.folder, looks=True) as ledger:
        return ledger.record(run).rotates


def unfinished_rotation(desk: Desk, name: str) -> str | None:
    """The unfinished run that changes the secret of ``name``, the latest; None if there is none."""
    if not ledger_path(desk.folder).exists():
        return None
    with SqliteLedger(desk.folder, looks=True) as ledger:
        runs = [run for run in ledger.unfinished() if ledger.record(run).rotates == name]
    return runs[-1] if runs else None


def _settle_what_is_over(desk: Desk, credentials: Credentials, name: str) -> None:
    """Do for the keyring what a process that died had no time for."""
    pending = credentials.pending(name)
    if pending is None or not ledger_path(desk.folder).exists():
        return
    with SqliteLedger(desk.folder, looks=True) as ledger:
        unfinished = set(ledger.unfinished())
        last = next(
            (
                record
                for line in reversed(ledger.runs())
                if (record := ledger.record(line.id)).rotates == name
            ),
            None,
        )
    if last is not None and last.undoes is not None and last.id not in unfinished:
        credentials.drop_change(name)


def old_name(name: str) -> str:
    """The name under which the old secret stays for devices that keep it."""
    return f"{name}-old"


def _users(desk: Desk, name: str, without: Collection[str]) -> tuple[str, ...]:
    using = devices_of(desk, name)
    for device in without:
        if device not in using:
            raise CallError(f"{device} does not use {name}", "leave out a device that does")
    users = tuple(device for device in using if device not in without)
    if not users:
        raise CallError(
            f"no device of the plan uses {name}",
            f"'cutsheet credential add {name}' sets a secret that no device has to be told",
        )
    for device in users:
        why = desk.plan.devices[device].off_limits
        if why is not None:
            raise CallError(
                f"{device} uses {name} and is off limits: {why}",
                "give it a credential of its own, and change that with whoever is responsible",
            )
    return users


def _rotation_of(desk: Desk, run: str) -> tuple[str, bool]:
    """The credential that ``run`` is about, and whether the run takes a change back."""
    with SqliteLedger(desk.folder, create=False, looks=True) as ledger:
        record = ledger.record(run)
    if record.rotates is None:
        raise CallError(f"run {run} changes no secret", "'cutsheet runs' lists them all")
    return record.rotates, record.undoes is not None


def _both(credentials: Credentials, name: str) -> Rotation:
    pending = credentials.pending(name)
    if pending is None:
        raise CallError(
            f"the keyring holds no new secret for {name} any more",
            f"'cutsheet credential test {name}' says which devices take the one it holds",
        )
    return Rotation(name=name, secrets={OLD: credentials.current(name), NEW: pending})


def _check(desk: Desk, both: Rotation, old: Secret, new: Secret, users: tuple[str, ...]) -> None:
    """See that the new secret is one, and that every device could sign in with it."""
    if new.reveal() == old.reveal():
        raise CallError("the new secret is the old one", "choose another one")
    for device in users:
        both.opened(desk, device, desk.plan.devices[device].address)


async def _looked_at(
    desk: Desk, rotation: Rotation, users: tuple[str, ...] | list[str]
) -> tuple[AsFound, list[str]]:
    """Every device as it is now, and in words what forbids to write to one of them."""
    there = rotation.at(desk)
    entries = {}
    wrong: list[str] = []
    for device in users:
        seen = await survey(desk.plan, desk.asked, there.open_adapter, desk.clock, only=device)
        entry = entries[device] = seen.devices[device]
        if not isinstance(entry, Found):
            wrong.append(entry.why)
            continue
        adapter = rotation.opened(desk, device, entry.at)
        try:
            wrong.extend(await _forbids(desk, device, entry, adapter))
        finally:
            await adapter.close()
    taken_at = desk.clock.now().isoformat()
    return AsFound(facility=desk.plan.facility, taken_at=taken_at, devices=entries), wrong


async def _forbids(desk: Desk, device: str, entry: Found, adapter: Rotating) -> list[str]:
    traits, firmware = desk.traits[device], entry.state.identity.firmware
    found = []
    if not traits.tried(firmware):
        found.append(
            f"{device} runs firmware {firmware}, with which its device description was not tried"
        )
    untouched = entry.state.settings.get(SETTING) == OLD
    if traits.saves is Saves.ON_SAVE and entry.state.unsaved and untouched:
        found.append(
            f"{device} has unsaved changes, which would be saved with its secret: save them, or "
            "let it forget them"
        )
    try:
        open_to_all = await adapter.open_to_all()
    except SignInRefused:
        open_to_all = False
    if open_to_all:
        fix = "name a path that wants one as 'proof' under writes: {credential: ..} in its device "
        fix += "description"
        if adapter.by_hand:
            fix = "leave it out with --without, or take its 'credentials' out of the plan"
        what = f"{device} answers whoever asks, so nothing would prove a sign-in: {fix}"
        found.append(what)
    return found


def _order(
    desk: Desk, both: Rotation, title: str, found: AsFound, change_of: tuple[str, str]
) -> Order:
    """The steps from one secret to the other: one device first, then the others side by side.

    What a person has to do comes last: whoever can be told by the tool shows before that the new
    secret is one that is taken.
    """
    steps: list[Step] = []
    first: tuple[str, ...] = ()
    by_hand = {name: _by_hand(desk, both, name, entry) for name, entry in found.devices.items()}
    for device, entry in sorted(found.devices.items(), key=lambda each: by_hand[each[0]]):
        assert isinstance(entry, Found), "the others were refused"
        change = Step(
            id=str(len(steps) + 1),
            kind=StepKind.SET,
            device=device,
            at=entry.at,
            as_found=change_of[0],
            wanted=change_of[1],
            setting=SETTING,
            after=first,
            why=(_FIRST,) if first else (),
            order=len(steps),
            estimate_s=_ESTIMATE_S,
        )
        if by_hand[device] and entry.state.settings.get(SETTING) != change_of[1]:
            steps.append(_person(change))
            change = replace(
                change, id=str(len(steps) + 1), after=(steps[-1].id,), why=(), order=len(steps)
            )
        steps.append(change)
        if desk.traits[device].saves is Saves.ON_SAVE and not by_hand[device]:
            steps.append(_save(change, desk.traits[device].save_s))
        first = first or (steps[-1].id,)
    rooms = dict.fromkeys(desk.plan.devices[device].room for device in found.devices)
    return Order(
        title=title,
        sequence=Sequence(steps=tuple(steps), phases=(Phase(tuple(rooms)),), width=WIDTH),
        found=found,
        hazards=(),
        mended={},
    )


def _by_hand(desk: Desk, both: Rotation, device: str, entry: object) -> bool:
    return isinstance(entry, Found) and both.opened(desk, device, entry.at).by_hand


def _person(change: Step) -> Step:
    """What somebody does at the device itself, before it is signed in to with what was set."""
    which = {OLD: "the old secret again", NEW: "the new secret"}[str(change.wanted)]
    return replace(
        change,
        kind=StepKind.BY_HAND,
        as_found=None,
        wanted=None,
        setting=f"set {which} at the device itself",
        estimate_s=0.0,
    )


def _save(change: Step, seconds: float) -> Step:
    return replace(
        change,
        id=str(change.order + 2),
        kind=StepKind.SAVE,
        as_found=None,
        wanted=None,
        setting=None,
        after=(change.id,),
        why=(),
        order=change.order + 1,
        estimate_s=_ESTIMATE_S + seconds,
    )
