"""The notes, read by somebody who knows nothing of the tool, put everything back."""

import re
from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass, field

from hypothesis import example, given
from hypothesis import strategies as st

from orchestrator.facility.found import (
    DestinationState,
    DeviceState,
    Found,
    Identity,
    InterfaceState,
    SourceState,
)
from orchestrator.facility.step import (
    AddressValue,
    Assigned,
    Hearing,
    Sequence,
    Step,
    StepKind,
    StepValue,
)
from orchestrator.reports import rollback_notes as notes
from orchestrator.running.events import Event, Failed, Failure, Intended, Proved, Sent
from orchestrator.running.record import RunRecord

Key = tuple[str, str, str]
World = dict[Key, str]

# -- an independent reader: it knows Markdown lists and the words, and nothing of the tool --------

PAIR = re.compile(r"([\w `]+?) from `([^`]*)` to `([^`]*)`")
SET = re.compile(
    r"(?:(Source|Destination) `([^`]+)`|(The unit)): set (.*?`)( unless it is so already)?\."
)


@dataclass
class Read:
    """One step as read: where, which unit, and what to set (or to save)."""

    at: str
    device: str
    words: str
    saves: bool = False
    unless: bool = False
    thing: str = ""
    fields: list[tuple[str, str, str]] = field(default_factory=list)


def read(text: str) -> Iterator[Read]:
    """Read the way back, step by step."""
    part = text.split("## The way back\n")[1].split("\n## ", 1)[0]
    at = device = ""
    for block in re.split(r"\n(?=### |\d+\. )", part):
        if visit := re.match(r"### Go to (\S+): (\S+)", block):
            at, device = visit.groups()
            continue
        if not re.match(r"\d+\. ", block):
            continue
        words = " ".join(block.split("\n\n", 1)[0].split()).split(". ", 1)[1]
        one = Read(at, device, words, saves="The unit: save" in words)
        if match := SET.search(words):
            one.thing = f"{match[1]} {match[2]}" if match[1] else match[3]
            one.unless = match[5] is not None
            one.fields = [(n.strip(" ,`"), a, b) for n, a, b in PAIR.findall(match[4])]
            assert one.fields
        yield one


# -- a made-up facility and a made-up run of it --------------------------------------------------

SAVING = "d2"
GROUP = "239.194.{}.{}:5004"


def group(number: int) -> str:
    """The group of a number."""
    return GROUP.format(number // 256, number % 256)


@dataclass
class Story:
    """A run as it is made up: its steps, and what each alters in the world's own words."""

    steps: list[Step] = field(default_factory=list)
    effects: list[World] = field(default_factory=list)
    numbers: dict[tuple[str, str], int] = field(default_factory=dict)
    on: dict[tuple[str, str], bool] = field(default_factory=dict)
    hears: dict[str, int] = field(default_factory=dict)
    labels: dict[tuple[str, str], str] = field(default_factory=dict)
    domain: dict[str, int] = field(default_factory=dict)
    at: dict[str, int] = field(default_factory=dict)
    freed: dict[object, str] = field(default_factory=dict)
    last: dict[str, str] = field(default_factory=dict)

    def add(
        self,
        kind: StepKind,
        device: str,
        was: StepValue,
        will: StepValue,
        effect: World,
        *,
        waits: tuple[str, ...] = (),
        **subject: str,
    ) -> str:
        """Add a step after the device's last one and after those that it waits for."""
        name = f"s{len(self.steps) + 1}"
        before = (*((self.last[device],) if device in self.last else ()), *waits)
        self.steps.append(
            Step(
                id=name,
                kind=kind,
                device=device,
                at=f"127.44.3.{self.at[device]}",
                as_found=was,
                wanted=will,
                after=tuple(dict.fromkeys(before)),
                **subject,  # type: ignore[arg-type]
            )
        )
        self.effects.append(effect)
        self.last[device] = name
        return name

    def save(self, device: str) -> str:
        """Save, where the device has to; gives the step after which nothing can come back."""
        if device != SAVING:
            return self.last[device]
        return self.add(StepKind.SAVE, device, None, None, {})

    def switch(self, device: str, source: str, *, on: bool) -> None:
        """Switch a source."""
        if self.on[device, source] == on:
            return
        kind = StepKind.ENABLE if on else StepKind.DISABLE
        effect = {(device, f"Source {source}", "switch"): "on" if on else "off"}
        self.add(kind, device, not on, on, effect, source=source)
        self.on[device, source] = on

    def renumber(self, device: str, source: str, number: int) -> None:
        """Give a source, switched off first, a number that nobody holds."""
        if number in self.numbers.values():
            return
        self.switch(device, source, on=False)
        old = self.numbers[device, source]
        thing = f"Source {source}"
        effect = {
            (device, thing, "number"): str(number),
            (device, thing, "group"): group(number),
        }
        values = (Assigned(old, (group(old),)), Assigned(number, (group(number),)))
        waits = (self.freed[number],) if number in self.freed else ()
        self.add(StepKind.RENUMBER, device, *values, effect, waits=waits, source=source)
        self.numbers[device, source] = number
        self.freed[old] = self.save(device)

    def readdress(self, device: str, host: int) -> None:
        """Move a device, all its sources off, to an address that nobody has."""
        if host in self.at.values():
            return
        for owner, source in self.on:
            if owner == device:
                self.switch(device, source, on=False)
        old, new = f"127.44.3.{self.at[device]}", f"127.44.3.{host}"
        values = (AddressValue("main", old, 24), AddressValue("main", new, 24))
        effect = {(device, "The unit", "address of interface main"): new}
        waits = (self.freed[new],) if new in self.freed else ()
        self.add(StepKind.READDRESS, device, *values, effect, waits=waits)
        self.at[device] = host
        self.add(StepKind.CONFIRM, device, *values, {})
        self.freed[old] = self.save(device)

    def act(self, what: int, pick: int) -> None:
        """Do one of the things that a run does."""
        device = f"d{pick % 3}"
        source = f"p{pick // 3 % 2}"
        match what:
            case 0 | 1:
                self.renumber(device, source, 100 + pick % 11)
            case 2:
                self.readdress(device, 10 + pick % 5)
            case 3:
                self.switch(device, source, on=pick % 2 == 0)
            case 4:
                old, new = self.hears[device], 100 + pick % 8
                effect = {(device, "Destination in", "listens to"): str(new)}
                values = (Hearing(old), Hearing(new))
                self.add(StepKind.REPOINT, device, *values, effect, destination="in")
                self.hears[device] = new
            case 5:
                label = f"L {pick}"
                old_label = self.labels[device, source]
                effect = {(device, f"Source {source}", "label"): label}
                self.add(
                    StepKind.SET,
                    device,
                    old_label,
                    label,
                    effect,
                    source=source,
                    setting="label",
                )
                self.labels[device, source] = label
            case _:
                domain = self.domain[device]
                effect = {(device, "The unit", "ptp_domain"): str(pick)}
                self.add(StepKind.SET, device, domain, pick, effect, setting="ptp_domain")
                self.domain[device] = pick


def start() -> tuple[Story, dict[str, Found], World]:
    """Three devices with two sources each, as stored before a run and in the world's words."""
    story, before, world = Story(), {}, World()
    for n in range(3):
        device = f"d{n}"
        story.at[device], story.hears[device], story.domain[device] = 10 + n, 100, 0
        sources = {}
        for m in range(2):
            number = 100 + 2 * n + m
            story.numbers[device, f"p{m}"] = number
            story.on[device, f"p{m}"] = m == 0
            story.labels[device, f"p{m}"] = f"{device} {m}"
            thing = (device, f"Source p{m}")
            world[(*thing, "number")] = str(number)
            world[(*thing, "group")] = group(number)
            world[(*thing, "label")] = f"{device} {m}"
            world[(*thing, "switch")] = "on" if m == 0 else "off"
            sources[f"p{m}"] = SourceState(
                number=number, groups=(group(number),), label=f"{device} {m}", enabled=m == 0
            )
        world[device, "Destination in", "listens to"] = "100"
        world[device, "The unit", "ptp_domain"] = "0"
        world[device, "The unit", "address of interface main"] = f"127.44.3.{10 + n}"
        before[device] = Found(
            at=f"127.44.3.{10 + n}",
            response_s=0.1,
            state=DeviceState(
                identity=Identity(serial=f"SN-{n}", model="CE-40"),
                interfaces={"main": InterfaceState(address=f"127.44.3.{10 + n}", prefix=24)},
                sources=sources,
                destinations={"in": DestinationState(hears=100)},
                settings={"ptp_domain": 0},
            ),
        )
    return story, before, world


def run_of(story: Story, before: dict[str, Found]) -> RunRecord:
    """The record of a made-up run."""
    return RunRecord(
        id="2026-11-25-1",
        facility="Tern Point Radio",
        title="made up",
        made_at="2026-11-25T02:00:00+00:00",
        digest="d",
        sequence=Sequence(steps=tuple(story.steps)),
        expects={name: found.state.identity for name, found in before.items()},
        before=before,
    )


def held_twice(world: World, saved: World) -> list[str]:
    """The numbers and addresses held twice: as the units run, and after a power cycle.

    A unit boots with all that it saved or goes on with all that it runs on, never with some of
    each; so what it saved of one source and runs of another never meet.
    """
    found = []
    for state in (world, {**world, **saved}):
        held = [v for key, v in state.items() if key[2] in {"number", "address of interface main"}]
        found += [value for value, count in Counter(held).items() if count > 1]
    return found


def follow(text: str, world: World, saved: World) -> None:
    """Do what the notes say, and object to whatever is not as they say or not safe."""
    for step in read(text):
        if step.saves:
            assert step.at == world[step.device, "The unit", "address of interface main"]
            saved.update({key: value for key, value in world.items() if key[0] == step.device})
        for name, was, will in step.fields:
            key = (step.device, step.thing, name)
            assert world[key] == was or (step.unless and world[key] == will), step
            if not (step.unless and name.startswith("address")):
                assert step.at == world[step.device, "The unit", "address of interface main"]
            if name == "number":
                assert world[step.device, step.thing, "switch"] == "off"
            world[key] = will
        assert held_twice(world, saved) == [], step


ACTS = st.lists(st.tuples(st.integers(0, 6), st.integers(0, 200)), min_size=1, max_size=14)


@example(acts=[(0, 128), (0, 191), (0, 30)], share=72, how="stop", landed=False)
@given(
    acts=ACTS,
    share=st.integers(0, 100),
    how=st.sampled_from(["stop", "intended", "sent", "failed"]),
    landed=st.booleans(),
)
def test_following_the_notes_restores_what_was(
    acts: list[tuple[int, int]], share: int, how: str, *, landed: bool
) -> None:
    """Wherever a run stops, and whichever way a write in doubt went, the notes lead back.

    On the way nothing is held twice (as units run, and as one that must save would boot), each
    value is found where the notes say, and numbers change only while a source is off.
    """
    story, before, world = start()
    was = dict(world)
    saved = {key: value for key, value in world.items() if key[0] == SAVING}
    for what, pick in acts:
        story.act(what, pick)
    stop = len(story.steps) * share // 100
    events: list[Event] = []
    for step, effect in zip(story.steps[:stop], story.effects, strict=False):
        events += [Intended(step.id), Sent(step.id, True), Proved(step.id)]
        world.update(effect)
        if step.kind is StepKind.SAVE:
            saved.update({key: value for key, value in world.items() if key[0] == SAVING})
    if stop < len(story.steps) and how != "stop":
        step = story.steps[stop]
        events.append(Intended(step.id))
        if how != "intended":
            events.append(Sent(step.id, False))
        if how == "failed":
            events.append(Failed(step.id, Failure.UNKNOWN, "", unsure=True))
        if landed:
            world.update(story.effects[stop])
    text = notes.text(run_of(story, before), events)
    follow(text, world, saved)
    assert world == was
    assert saved == {key: value for key, value in was.items() if key[0] == SAVING}
    assert max(map(len, text.splitlines())) <= 80


@given(ACTS, st.integers(0, 100))
def test_every_step_and_every_value_of_before_is_in_the_notes(
    acts: list[tuple[int, int]], share: int
) -> None:
    """Each step stands there as done or not done, and each value written with what it was."""
    story, before, world = start()
    for what, pick in acts:
        story.act(what, pick)
    stop = len(story.steps) * share // 100
    events = [Proved(step.id) for step in story.steps[:stop]]
    text = notes.text(run_of(story, before), events)
    listed = text.split("## Each step of the run\n")[1].split("\n## ", 1)[0]
    for place, step in enumerate(story.steps):
        mark = "[x]" if place < stop else "[ ]"
        said = "done:" if place < stop else "not done, nothing to put back"
        entry = re.search(rf"^- \[.\] {step.id}, (?:.*\n  )*?.*", listed, re.MULTILINE)
        assert entry is not None
        assert mark in entry[0]
        assert said in " ".join(listed[entry.start() :].split("\n- ", 1)[0].split())
    last = " ".join(text.split("## Values before the run\n")[1].split())
    for effect in story.effects:
        for key in effect:
            if key[2] != "switch":
                assert f"`{world[key]}`" in last
