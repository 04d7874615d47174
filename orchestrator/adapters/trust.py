"""By what each device's certificate is judged: joined from the plan, its type and description."""

import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import TypedDict

from orchestrator.adapters.http import certificates
from orchestrator.facility.plan import Device, Plan
from orchestrator.facility.trust import Pin, Tls, joined


class Judging(TypedDict):
    """What a way to a device takes of it (arguments of ``Transport``)."""

    tls: ssl.SSLContext
    tls_name: str | None


@dataclass(frozen=True, slots=True, kw_only=True)
class Trust:
    """What the documents trust.

    ``authorities`` holds the certificates (PEM) behind the files that they name, ``pins`` what a
    person has confirmed, by device.
    """

    authorities: Mapping[str, str] = field(default_factory=dict)
    pins: Mapping[str, Pin] = field(default_factory=dict)

    def judging(self, plan: Plan, device: Device, described: Tls | None) -> Judging:
        """The judge of a device's certificates.

        The nearest word counts: the device's (or its type's), then that of the description by
        which it is spoken to (``described``), then the plan's own.
        """
        said = joined(device.tls, described, plan.tls)
        if said.pinned:
            pin = self.pins.get(device.name)
            by = certificates.by_fingerprint(None if pin is None else pin.sha256)
        elif said.authority is not None:
            by = certificates.by_authority(self.authorities[said.authority])
        else:
            by = certificates.by_system()
        return Judging(tls=by, tls_name=said.name)

    def of_others(self, plan: Plan) -> ssl.SSLContext:
        """The judge of certificates of whom the plan does not name, as a registry.

        What the plan says at its top of an authority counts; nobody of them is confirmed.
        """
        said = plan.tls or Tls()
        if said.authority is not None:
            return certificates.by_authority(self.authorities[said.authority])
        return certificates.by_system()


def by_system_alone(_described: Tls | None) -> Judging:
    """This computer's own trust, whatever is described."""
    return Judging(tls=certificates.by_system(), tls_name=None)
