"""What is sent to ``/staged`` (AMWA IS-05 v1.1) for a step: one PATCH, activated at once.

An activation makes all that is staged active, whoever staged it. So each body carries whatever
differs between staged and active, set back to what is active: a write moves what its step says,
and nothing that another hand has left there. Three rules beside that:

- Groups are written as addresses and ports, never ``auto``: that may resolve otherwise next time.
- As many entries as legs, always.
- A body that would change nothing is not sent: an activation may interrupt the stream.
"""

from dataclasses import dataclass
from ipaddress import IPv4Address, IPv4Network
from itertools import zip_longest

from orchestrator.adapters.declared.values import Unwritable
from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.nmos import active as active_of
from orchestrator.adapters.nmos.active import AUTO, Leg
from orchestrator.adapters.nmos.sdp import MEDIA_TYPE, Described
from orchestrator.facility.description import Json
from orchestrator.facility.step import Assigned, Hearing, Step, StepKind

SOURCE_SPECIFIC = IPv4Network("232.0.0.0/8")
"""RFC 4607: joins there name the sender's address too."""

_FOLLOWING = ("rtcp_destination_ip", "fec_destination_ip")
"""What goes to the group's address beside the stream itself."""

_BOTH = len(("address", "port"))
_NOW = {"mode": "activate_immediate"}
Body = dict[str, Json]


@dataclass(frozen=True, slots=True)
class Standing:
    """What ``/active`` and ``/staged`` of one stream say."""

    active: Json
    staged: Json

    def kept(self) -> list[dict[str, Json]]:
        """For each leg, what has to be staged so that it stays as it is.

        What was staged as ``auto`` stays so, and follows what it is derived from.
        """
        pairs = zip(active_of.legs(self.active), active_of.legs(self.staged), strict=True)
        return [
            {
                name: value
                for name, value in now.items()
                if name in next_ and AUTO not in (value, next_[name]) and next_[name] != value
            }
            for now, next_ in pairs
        ]


@dataclass(frozen=True, slots=True)
class Told:
    """What a sender's node says of it: its id, its session description, and the legs in that.

    Without id and text, it is just where to point.
    """

    sender_id: str | None
    text: str | None
    legs: tuple[Described, ...]

    def leads_to(self, group: str) -> bool:
        """Whether it is the description of a stream whose first leg goes to ``group``."""
        return bool(self.legs) and self.legs[0].group == group


def body_for(step: Step, standing: Standing, told: Told | None = None) -> Body | None:
    """The body that ``step`` sends; None where it is so already.

    ``told`` is what the sender's node says of the source that a repoint is for.

    Raises:
        Unwritable: the standard has no way to say it, or it must not be said.
        Unusable: what the device says of the stream makes no sense.
    """
    if len(active_of.legs(standing.active)) != len(active_of.legs(standing.staged)):
        raise Unusable("it has not as many legs staged as active")
    match step.kind, step.wanted:
        case StepKind.DISABLE, _:
            return _disabled(standing) if active_of.master_enable(standing.active) else None
        case StepKind.ENABLE, _:
            return None if active_of.enabled(standing.active) else _enabled(standing)
        case StepKind.RENUMBER, Assigned(groups=groups):
            same = active_of.sent_to(standing.active) == groups
            return None if same else _renumbered(standing, groups)
        case StepKind.REPOINT, Hearing(group=group) as hearing:
            if group is None and hearing != Hearing():
                raise Unwritable(f"it listens to groups, not to number {hearing.number}")
            same = active_of.heard(standing.active) == group
            return None if same else _repointed(standing, group, told)
        case _:
            raise Unwritable(f"NMOS has no way to do a step '{step.kind}' to {step.wanted}")


def _disabled(standing: Standing) -> Body:
    return _sender(standing) | {"master_enable": False} | _back(standing) | {"activation": _NOW}


def _enabled(standing: Standing) -> Body:
    now = active_of.legs(standing.active)
    running = _running(now)
    for number, (leg, runs) in enumerate(zip(now, running, strict=True), 1):
        if runs and len(_explicit(leg, "destination_ip", "destination_port")) < _BOTH:
            raise Unwritable(f"its leg {number} holds no group yet; give it a number first")
    params = [
        kept | _explicit(leg, "source_ip", "destination_ip", "destination_port") | runs
        for kept, leg, runs in zip(standing.kept(), now, _flags(running), strict=True)
    ]
    return _sender(standing) | {
        "master_enable": True,
        "transport_params": params,
        "activation": _NOW,
    }


def _renumbered(standing: Standing, groups: tuple[str | None, ...]) -> Body:
    now, staged = active_of.legs(standing.active), active_of.legs(standing.staged)
    if len(groups) != len(now):
        raise Unwritable(f"it has {len(now)} leg(s), and the step gives {len(groups)} group(s)")
    params = []
    for kept, leg, next_, group in zip(standing.kept(), now, staged, groups, strict=True):
        moved = _moved(leg, next_, group)
        params.append(
            kept | _explicit(leg, "source_ip") | moved | {"rtp_enabled": active_of.runs(leg)}
        )
    return {
        "receiver_id": None,
        "master_enable": active_of.master_enable(standing.active),
        "transport_params": params,
        "activation": _NOW,
    }


def _moved(leg: Leg, staged: Leg, group: str | None) -> Body:
    """One leg's new group, and what follows it unless it follows by itself."""
    address, port = _split(group, "it holds a group on each leg, and can't be given none")
    to = {"destination_ip": address, "destination_port": port}
    return to | _following(leg, staged, leg.get("destination_ip"), address)


def _following(leg: Leg, staged: Leg, old: Json, address: Json) -> Body:
    """What was set outright to the ``old`` group's address beside the stream itself."""
    return {
        name: address
        for name in _FOLLOWING
        if name in staged and staged[name] != AUTO and leg.get(name) == old != AUTO
    }


def _repointed(standing: Standing, group: str | None, told: Told | None) -> Body:
    """Pointed at a group; with the sender's own description where that leads to just there.

    Each leg is said outright. One that the described stream has not is off.
    """
    if group is None:
        return {"sender_id": None, "master_enable": False} | _back(standing) | {"activation": _NOW}
    now, staged = active_of.legs(standing.active), active_of.legs(standing.staged)
    if told is None or not told.leads_to(group):
        if len(set(active_of.heard_by_leg(standing.active))) > 1:
            raise Unwritable("its legs listen to different groups, and are to be pointed by hand")
        told = Told(None, None, (Described(group),) * len(now))
    params = []
    legs = zip_longest(told.legs[: len(now)], standing.kept(), now, staged, _running(now))
    for to, kept, leg, next_, runs in legs:
        if to is None:
            params.append(kept | {"rtp_enabled": False})
            continue
        joined = _joined(to)
        follows = _following(leg, next_, leg.get("multicast_ip"), joined["multicast_ip"])
        params.append(
            kept | _explicit(leg, "interface_ip") | joined | follows | {"rtp_enabled": runs}
        )
    return {
        "sender_id": told.sender_id,
        "master_enable": True,
        "transport_file": {"data": told.text, "type": told.text and MEDIA_TYPE},
        "transport_params": params,
        "activation": _NOW,
    }


def _joined(to: Described) -> Body:
    """A leg that joins a group.

    Any address may be the sender's, so that it may be readdressed without making anybody deaf;
    but for a group that needs it.
    """
    address, port = _split(to.group, "")
    named = IPv4Address(address) in SOURCE_SPECIFIC
    if named and to.source is None:
        raise Unwritable(f"to join {address} it would need the sender's own address (RFC 4607)")
    return {
        "source_ip": to.source if named else None,
        "multicast_ip": address,
        "destination_port": port,
    }


def _back(standing: Standing) -> Body:
    """What another hand has staged, set back; empty if there is nothing."""
    kept = standing.kept()
    return {"transport_params": kept} if any(kept) else {}


def _sender(standing: Standing) -> Body:
    """The receiver that a sender is set to, kept as it is."""
    now = standing.active if isinstance(standing.active, dict) else {}
    return {"receiver_id": now.get("receiver_id")}


def _explicit(leg: Leg, *members: str) -> Body:
    """Those of a leg's values that are told, to be staged as they are."""
    return {name: leg[name] for name in members if leg.get(name) not in (None, AUTO)}


def _running(now: list[dict[str, Json]]) -> list[bool]:
    """Which legs run once the stream is on: as now, or all where none would."""
    found = [active_of.runs(leg) for leg in now]
    return found if any(found) else [True] * len(found)


def _flags(running: list[bool]) -> list[Body]:
    return [{"rtp_enabled": runs} for runs in running]


def _split(group: str | None, without: str) -> tuple[str, int]:
    if group is None:
        raise Unwritable(without)
    address, _, port = group.rpartition(":")
    try:
        return str(IPv4Address(address)), int(port)
    except ValueError:
        raise Unwritable(f"{group} is no address:port") from None
