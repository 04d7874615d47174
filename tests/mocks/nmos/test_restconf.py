import base64
import time

import httpx

from mocks.nmos.restconf import RESTCONF_PORT, NmosRestconf
from mocks.restconf.server import ROOT
from mocks.server import serve
from mocks.world import World

WORLD = """
port: 0
networks: {{media: {{subnet: {net}.0/24}}}}
devices:
  node:
    {{make: nmos-restconf, model: SN-2, serial: SW-7, firmware: "1.0", address: {net}.41,
      prefix: 24, settle_s: 0.05, sign_in: {{user: engineer, secret: word}},
      sources: {{program: {{number: 411, label: PGM, enabled: true}}}}}}
"""
SELF = "/x-nmos/node/v1.3/self"
IPV4 = f"{ROOT}/data/ietf-interfaces:interfaces/interface=eth0/ietf-ip:ipv4"


def signed() -> dict[str, str]:
    """What RESTCONF wants; NMOS wants nothing."""
    return {"authorization": "Basic " + base64.b64encode(b"engineer:word").decode()}


def test_the_two_stand_at_one_address_on_ports_of_their_own(net: str) -> None:
    """Over sockets: neither answers for the other, and the address of both moves as one."""
    world = World.from_text(WORLD.format(net=net))
    with serve(world) as running, httpx.Client(headers=signed(), timeout=10) as client:
        node = f"http://{net}.41:{running.port}"
        host = f"http://{net}.41:{RESTCONF_PORT}"
        assert client.get(node + SELF).json()["tags"]["urn:x-nmos:tag:asset:instance-id/v1.0"]
        assert client.get(host + SELF).status_code == 404
        assert client.get(node + IPV4).status_code == 404
        held = client.get(f"{host}{IPV4}?content=config").json()
        held["ietf-ip:ipv4"]["address"][0]["ip"] = f"{net}.42"
        kind = {"content-type": "application/yang-data+json"}
        assert client.put(host + IPV4, json=held, headers=kind).status_code == 204
        while f"{net}.42" not in world.answering():
            time.sleep(0.01)
        running.settle()
        interfaces = client.get(f"http://{net}.42:{RESTCONF_PORT}{IPV4}").json()
        assert interfaces["ietf-ip:ipv4"]["address"][0]["ip"] == f"{net}.42"
        assert client.get(f"http://{net}.42:{running.port}{SELF}").status_code == 200


def test_behind_a_connect_map_the_host_header_tells_which_is_meant(net: str) -> None:
    """One port of this computer stands for all of an address's."""
    world = World.from_text(WORLD.format(net=net))
    with serve(world, connect_map=True) as running, httpx.Client(headers=signed()) as client:
        url = running.url("node", IPV4)
        assert client.get(url, headers={"host": f"{net}.41:{RESTCONF_PORT}"}).status_code == 200
        assert client.get(url, headers={"host": f"{net}.41:8080"}).status_code == 404


def test_streams_and_address_are_one_memory(net: str) -> None:
    """A sender's own address is the one that RESTCONF tells."""
    node = World.from_text(WORLD.format(net=net)).machine("node")
    assert isinstance(node, NmosRestconf)
    assert node.signs_in
    assert node.restconf._device is node
