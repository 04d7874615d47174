"""Secrets before anything is asked: one message for each credential that is missing.

Without this a missing secret would be told once for each device that needs it, and a locked
keyring would prompt as often.
"""

from collections.abc import Callable, Iterable

from orchestrator.errors import CutsheetError, NoSecret
from orchestrator.facility.plan import Device
from orchestrator.facility.secret import Secret
from orchestrator.running.protocols import OpenAdapter


def asked_once(secrets: Callable[[str], Secret]) -> Callable[[str], Secret]:
    """Give each name's secret, or the reason why there is none, after asking for it once."""
    kept: dict[str, Secret | NoSecret] = {}

    def secret_of(name: str) -> Secret:
        if name not in kept:
            try:
                kept[name] = secrets(name)
            except NoSecret as error:
                kept[name] = error
        found = kept[name]
        if isinstance(found, NoSecret):
            raise NoSecret(found.what, found.fix)
        return found

    return secret_of


async def check_sign_ins(devices: Iterable[Device], open_adapter: OpenAdapter) -> None:
    """See that every device that the tool speaks to can be signed in to; nothing is sent.

    Raises:
        NoSecret: for some there is no secret that can be used; all of them are named.
    """
    needed: dict[NoSecret, list[str]] = {}
    known: dict[tuple[str, str], NoSecret] = {}
    for device in devices:
        error = await _missing(device, open_adapter) if device.speaks else None
        if error is not None:
            first = known.setdefault((error.what, error.fix), error)
            needed.setdefault(first, []).append(device.name)
    if needed:
        raise NoSecret(
            "; ".join(f"{e.what} (needed by {', '.join(names)})" for e, names in needed.items()),
            "; ".join(dict.fromkeys(error.fix for error in needed)),
        )


async def _missing(device: Device, open_adapter: OpenAdapter) -> NoSecret | None:
    try:
        await open_adapter(device.name, device.address).close()
    except NoSecret as error:
        return error
    except CutsheetError:
        pass  # whatever else is wrong with the way to it is the survey's to say
    return None
