"""A simulated device that speaks NMOS for its streams and RESTCONF for its addresses.

Both stand at one address: NMOS at the world's port, RESTCONF at a port of its own. Which of the two
a request came to is told by its Host header (RFC 9110, 7.2).
"""

from typing import ClassVar

from mocks.device import Unit
from mocks.messages import Request, Response
from mocks.nmos.node import Nmos
from mocks.restconf.server import RestconfServer
from mocks.state import Memory

RESTCONF_PORT = 8043


class NmosRestconf(Nmos):
    """A simulated node whose host can be told another address."""

    make = "nmos-restconf"
    signs_in: ClassVar[bool] = True
    more_ports: ClassVar[tuple[int, ...]] = (RESTCONF_PORT,)

    def __init__(self, unit: Unit, memory: Memory) -> None:
        super().__init__(unit, memory)
        self.restconf = RestconfServer(self)

    def handle(self, request: Request) -> Response:
        """Answer one request, perhaps changing the memory; nothing is raised."""
        if request.headers.get("host", "").rpartition(":")[2] == str(RESTCONF_PORT):
            return self.restconf.handle(request)
        return super().handle(request)
