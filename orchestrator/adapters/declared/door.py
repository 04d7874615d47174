"""The door of a described device: signing in with a secret that is tried, and changing it.

Each try has a way of its own, so that no cookie and no connection of an earlier sign-in stands in
for it.
"""

from collections.abc import Iterable
from dataclasses import replace

import httpx

from orchestrator.adapters.declared.bodies import fill
from orchestrator.adapters.http.messages import Request, Response
from orchestrator.adapters.http.retries import Patience
from orchestrator.adapters.http.sign_in import sign_in
from orchestrator.adapters.http.transport import Transport
from orchestrator.adapters.way import Opening, OpenWay
from orchestrator.errors import SignInRefused
from orchestrator.facility.description import ChangeSecret, Description
from orchestrator.facility.secret import Secret
from orchestrator.running.protocols import DeviceAdapter


class DescribedDoor:
    """The door of one device (a ``Door``). ``hide`` are secrets that no text may show."""

    def __init__(
        self,
        description: Description,
        change: ChangeSecret,
        open_way: OpenWay,
        to: Opening,
        hide: Iterable[Secret],
    ) -> None:
        self._description = description
        self._change = change
        self._open_way = open_way
        self._to = to
        self._hide = tuple(hide)

    @property
    def by_hand(self) -> bool:
        """No: its description says how."""
        return False

    def check(self, secret: Secret) -> None:
        """See that a sign-in with ``secret`` could be written at all; nothing is sent.

        Raises:
            NoSecret: it can't.
        """
        self._auth(secret)

    async def takes(self, secret: Secret | None) -> bool:
        """Whether the device takes ``secret`` now; None: no sign-in at all.

        Raises:
            DeviceError: it could not be asked.
        """
        asked = Request(method="GET", path=self._change.proof, doing="trying a sign-in")
        try:
            await self._said(asked, secret)
        except SignInRefused:
            return False
        return True

    async def change(self, now: Secret, new: Secret) -> None:
        """Change its secret from ``now`` to ``new``, once.

        Raises:
            OutcomeUnknown: sent, and no whole answer came.
            DeviceError: surely not done.
        """
        rule = self._change.rule
        held = {"user": now.user, "secret": now.reveal(), "new_secret": new.reveal()}
        asked = Request(
            method=rule.method,
            path=rule.path,
            doing="changing its secret",
            body=fill(rule, held),
            content_type=rule.content_type,
        )
        await self._said(asked, now)

    def inside(self, secret: Secret) -> DeviceAdapter:
        """The device, signed in to with ``secret``."""
        return self._open_way(replace(self._to, secrets=lambda _: secret, hide=self._hide))

    async def close(self) -> None:
        """Nothing is left open between two requests."""

    async def _said(self, asked: Request, secret: Secret | None) -> Response:
        transport = self._transport(secret)

        async def once(request: Request) -> Response:
            async with self._to.gate():
                return await transport.send(request)

        try:
            return await (self._to.patience or Patience()).send(asked, once)
        finally:
            await transport.close()

    def _transport(self, secret: Secret | None) -> Transport:
        held = self._description
        auth = None if secret is None else self._auth(secret)
        return replace(self._to, hide=self._hide).transport(
            held.scheme,
            held.port,
            timeout_s=held.timeout_s,
            auth=auth,
            secret=secret,
            tls=held.tls,
        )

    def _auth(self, secret: Secret) -> httpx.Auth | None:
        held, name = self._description, self._to.device.credentials or ""
        return sign_in(held.sign_in, secret, name, held.key_header, held.session)
