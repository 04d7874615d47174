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
    return replace(found, firmware=redact(found.firmware))


def state(found: DeviceState, redact: Redact) -> DeviceState:
    """What a device holds, without its secret."""
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
