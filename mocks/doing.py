"""How a request is done, with whatever goes wrong with it.

The order is that of the wire: what keeps a request from arriving comes before what keeps it from
being done, and that before what becomes of the answer.
"""

from collections.abc import Callable
from dataclasses import replace

from mocks.exchange import Begun, Exchange, Fate
from mocks.faults import Fault, Kind
from mocks.ground import FOREVER, Ground
from mocks.journal import Cause
from mocks.messages import Act, Response, Restart

SIGN_IN_WANTED = 401


def perform(ground: Ground, begun: Begun, at: float) -> Exchange:
    """Do a request that was taken; ``at`` is the instant, by the world's clock."""
    for stage in (_arriving, _doing):
        exchange = stage(ground, begun, at)
        if exchange is not None:
            return exchange
    return _answering(ground, begun, at, _effect(ground, begun, at))


def _arriving(ground: Ground, begun: Begun, at: float) -> Exchange | None:
    if fault := begun.first(Kind.REFUSE):
        ground.refuse(begun.device, FOREVER if fault.always else at + fault.seconds)
        return Exchange(Fate.REFUSED)
    if begun.first(Kind.DROP_REQUEST):
        return Exchange(Fate.CLOSED)
    if fault := begun.first(Kind.REBOOT_BEFORE):
        ground.reboot(begun.device, at, fault.seconds)
        return Exchange(Fate.CLOSED)
    return None


def _doing(ground: Ground, begun: Begun, at: float) -> Exchange | None:
    if fault := begun.first(Kind.ERROR, Kind.SIGN_IN, Kind.BUSY):
        if fault.effect:
            _effect(ground, begun, at)
        return Exchange(Fate.ANSWERED, _refusal(fault))
    if begun.first(Kind.SAYS_YES):
        return Exchange(Fate.ANSWERED, _pretence(ground, begun))
    if fault := begun.first(Kind.LATE):
        ground.later(at + fault.seconds, lambda due: _effect(ground, begun, due))
        return Exchange(Fate.ANSWERED, _pretence(ground, begun))
    return None


def _answering(ground: Ground, begun: Begun, at: float, response: Response) -> Exchange:
    if begun.first(Kind.DROP_ANSWER):
        return Exchange(Fate.CLOSED)
    if fault := begun.first(Kind.REBOOT_AFTER):
        ground.reboot(begun.device, at, fault.seconds)
        return Exchange(Fate.CLOSED)
    if begun.first(Kind.HALF_BODY):
        return Exchange(Fate.HALVED, response)
    if fault := begun.first(Kind.TRICKLE):
        return Exchange(Fate.TRICKLED, response, fault.seconds)
    return Exchange(Fate.ANSWERED, response)


def _effect(ground: Ground, begun: Begun, at: float) -> Response:
    device = ground.standing[begun.device].device
    before = device.memory
    response = _handled(ground, begun)
    ground.tell(at, begun.device, Cause.REQUEST, before)
    for later in response.later:
        ground.later(at + later.after_s, _settling(ground, begun.device, later.act))
    return response


def _pretence(ground: Ground, begun: Begun) -> Response:
    device = ground.standing[begun.device].device
    before = device.memory
    response = _handled(ground, begun)
    device.memory = before
    return response


def _handled(ground: Ground, begun: Begun) -> Response:
    device = ground.standing[begun.device].device
    wrong = begun.first(Kind.WRONG_IDENTITY)
    device.shown_serial = wrong.serial if wrong else device.unit.serial
    part = begun.first(Kind.PART)
    refused = {part.slot: part.status} if part else {}
    return device.handle(replace(begun.request, at=ground.clock(), refused=refused))


def _settling(ground: Ground, name: str, act: Act) -> Callable[[float], None]:
    def settle(at: float) -> None:
        if isinstance(act, Restart):
            ground.reboot(name, at, act.away_s)
            return
        device = ground.standing[name].device
        before = device.memory
        device.perform(act)
        ground.tell(at, name, Cause.REQUEST, before)

    return settle


def _refusal(fault: Fault) -> Response:
    headers: tuple[tuple[str, str], ...] = ()
    if fault.retry_after:
        headers += (("retry-after", fault.retry_after),)
    if fault.status == SIGN_IN_WANTED:  # RFC 9110, 15.5.2: a challenge goes with it
        headers += (("www-authenticate", 'Basic realm="device"'),)
    return Response(fault.status, headers)
