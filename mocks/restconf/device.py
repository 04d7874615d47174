"""A simulated device that is spoken to by RESTCONF alone: it has an address, and no streams."""

from mocks.device import Device, Unit
from mocks.messages import Request, Response
from mocks.restconf.server import RestconfServer
from mocks.state import Memory


class Restconf(Device):
    """A simulated host."""

    make = "restconf"
    keeps_at_once = True
    listens_by = "group"
    derives_group = False

    def __init__(self, unit: Unit, memory: Memory) -> None:
        super().__init__(unit, memory)
        self.restconf = RestconfServer(self)

    def handle(self, request: Request) -> Response:
        """Answer one request, perhaps changing the memory; nothing is raised."""
        return self.restconf.handle(request)
