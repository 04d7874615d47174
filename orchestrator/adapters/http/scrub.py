"""A device may tell its own secret among what it holds: in a label, a version, a setting's text.

It is taken out of what goes into surveys, ledgers and reports. What a device has to be known by,
and what a plan is made of (serial, model, names, numbers, groups, addresses), stays as it is.
"""

from collections.abc import Callable
from dataclasses import replace

from orchestrator.facility.found import DeviceState, Identity

Redact = Callable[[str], str]


def identity(found: Identity, redact: Redact) -> Identity:
    """Who a device is, without its secret."""
    firmware = redact(found.firmware)
    return found if firmware == found.firmware else replace(found, firmware=firmware)


def state(found: DeviceState, redact: Redact) -> DeviceState:
    """What a device holds, without its secret."""
    held = [
        found.identity.firmware,
        *(each.label for each in found.sources.values()),
        *(each.label for each in found.destinations.values()),
        *(value for value in found.settings.values() if isinstance(value, str)),
    ]
    if all(redact(text) == text for text in held):
        return found  # nearly always
    return replace(
        found,
        identity=identity(found.identity, redact),
        sources={
            name: replace(each, label=redact(each.label)) for name, each in found.sources.items()
        },
        destinations={
            name: replace(each, label=redact(each.label))
            for name, each in found.destinations.items()
        },
        settings={
            name: redact(value) if isinstance(value, str) else value
            for name, value in found.settings.items()
        },
    )
