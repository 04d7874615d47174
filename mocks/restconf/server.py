"""A RESTCONF server (RFC 8040) in front of a simulated device's memory.

It tells and changes the device's address and gateway, as its configuration; an edit is kept at
once, and an address takes effect a little later. Whoever signs in does so by Basic where the unit
has a user, else by a bearer token.
"""

import base64
import hashlib
import json
from dataclasses import replace
from typing import Any
from urllib.parse import parse_qs

from mocks.device import Device
from mocks.messages import Later, Problem, Request, Response
from mocks.restconf.edits import YANG_PATCH, PatchRefused, deleted, edited, patched, replaced
from mocks.restconf.errors import YANG_DATA, Refused, answered
from mocks.restconf.path import Segment, Tree, at, parsed
from mocks.restconf.tree import configured, fresh, read_back, shown

ROOT = "/top/restconf"
KEPT = "restconf"
HOST_META = "/.well-known/host-meta"
_METHODS = "GET, HEAD, OPTIONS, PUT, PATCH, DELETE"
_XRD = (
    "<?xml version='1.0' encoding='UTF-8'?>\n"
    "<XRD xmlns='http://docs.oasis-open.org/ns/xri/xrd-1.0'>\n"
    f"  <Link rel='restconf' href='{ROOT}'/>\n</XRD>\n"
)
Path = tuple[Segment, ...]


class RestconfServer:
    """The server of one device. ``locked_by`` names another client that has a lock, if any."""

    def __init__(self, device: Device) -> None:
        self._device = device
        self.locked_by = ""
        self.takes_yang_patch = True
        self.tells_hardware = True
        self.tells_routing = True
        if KEPT not in device.memory.running.kept:
            device.keep(device.memory.running.with_kept(KEPT, fresh()))

    def handle(self, request: Request) -> Response:
        """Answer one request; nothing is raised."""
        bare = request.path.partition("?")[0]
        if bare in (HOST_META, HOST_META + ".json"):
            return _host_meta(request, as_json=bare.endswith(".json"))
        try:
            response = self._answered(request, bare)
        except PatchRefused as refused:
            response = answered(refused.why.status, refused.status)
        except Refused as refused:
            response = refused.response
        except Problem as problem:
            said = str(problem)
            response = Refused("resource-denied", said, status=problem.response.status).response
        body = b"" if request.method == "HEAD" else response.body
        return replace(response, body=body)

    def _answered(self, request: Request, bare: str) -> Response:
        if not self._signed_in(request):
            unit = self._device.unit
            scheme = 'Basic realm="restconf"' if unit.user else 'Bearer realm="restconf"'
            refused = Refused("access-denied", "sign in", kind="protocol").response
            return replace(refused, headers=(*refused.headers, ("www-authenticate", scheme)))
        if not bare.startswith(ROOT):
            raise Refused("invalid-value", "there is nothing at that path", status=404)
        rest = bare.removeprefix(ROOT)
        if rest in _ABOUT:
            return answered(200, _ABOUT[rest])
        if rest != "/data" and not rest.startswith("/data/"):
            raise Refused("invalid-value", "there is nothing at that path", status=404)
        path = parsed(rest.removeprefix("/data"))
        if request.method == "OPTIONS":
            accepted = [YANG_DATA, *([YANG_PATCH] if self.takes_yang_patch else [])]
            return answered(200, None, (("allow", _METHODS), ("accept-patch", ", ".join(accepted))))
        if request.method in ("GET", "HEAD"):
            return self._told(request, path)
        return self._edit(request, path)

    def _signed_in(self, request: Request) -> bool:
        unit, access = self._device.unit, self._device.access
        pair = base64.b64encode(f"{unit.user}:{access.word}".encode()).decode()
        wanted = f"Basic {pair}" if unit.user else f"Bearer {access.word}"
        return access.tried(request.headers.get("authorization", ""), wanted)

    # Reading.

    def _config(self) -> Tree:
        memory = self._device.memory
        tree = configured(memory.running.kept[KEPT], memory.pending or memory.running.lan)
        return tree if self.tells_routing else _without(tree, "ietf-routing:routing")

    def _told(self, request: Request, path: Path) -> Response:
        accepted = request.headers.get("accept", "*/*")
        if not any(kind in accepted for kind in (YANG_DATA, "*/*", "application/*")):
            raise Refused("invalid-value", f"only {YANG_DATA} is told", status=406)
        asked = parse_qs(request.path.partition("?")[2])
        content = asked.pop("content", ["all"])[0]
        if asked or content not in ("config", "all"):
            raise Refused("invalid-value", "that query is not known")
        config = self._config()
        tree = config if content == "config" else self._all()
        found = at(tree, path)
        tag = (("etag", _tag(_config_at(config, path))),)
        return answered(200, _wrapped(path, found), tag)

    def _all(self) -> Tree:
        device = self._device
        running = configured(device.memory.running.kept[KEPT], device.memory.running.lan)
        tree = shown(running, device.unit, device.shown_serial)
        for name, told in (
            ("ietf-hardware:hardware", self.tells_hardware),
            ("ietf-routing:routing", self.tells_routing),
        ):
            tree = tree if told else _without(tree, name)
        return tree

    # Writing.

    def _edit(self, request: Request, path: Path) -> Response:
        config = self._config()
        if self.locked_by:
            said = f"{self.locked_by} has locked it"
            raise Refused("lock-denied", said, kind="protocol")
        wanted = request.headers.get("if-match", "*").strip()
        if wanted not in ("*", _tag(_config_at(config, path))):
            raise Refused("operation-failed", "it is not what was read", kind="protocol")
        kind = request.headers.get("content-type", "").partition(";")[0].strip().lower()
        if request.method == "DELETE":
            return self._keep(deleted(config, path))
        if request.method == "PATCH" and kind == YANG_PATCH and self.takes_yang_patch:
            return self._yang_patch(request, config, path)
        if kind != YANG_DATA:
            raise Refused("invalid-value", f"send {YANG_DATA}", status=415)
        edits = {"PUT": replaced, "PATCH": patched}
        if request.method not in edits:
            raise Refused("operation-not-supported", f"{request.method} is not done here")
        return self._keep(edits[request.method](config, path, _document(request)))

    def _yang_patch(self, request: Request, config: Tree, path: Path) -> Response:
        tree, name = edited(config, path, _document(request))
        try:
            done = self._keep(tree)
        except Refused as refused:
            raise PatchRefused(name, "", refused) from refused
        status = {"ietf-yang-patch:yang-patch-status": {"patch-id": name, "ok": [None]}}
        return replace(answered(200, status), later=done.later)

    def _keep(self, tree: Tree) -> Response:
        """Take a configuration that is valid; its address takes effect later."""
        device = self._device
        if not self.tells_routing:
            gateway = device.memory.running.lan.gateway
            tree = {**tree, **_routing_of(device, gateway)}
        kept, lan = read_back(tree)
        act = None
        if lan != (device.memory.pending or device.memory.running.lan):
            act = device.accept(lan)
        running = device.memory.running.with_kept(KEPT, kept)
        saved = device.memory.saved.with_kept(KEPT, kept)
        device.memory = replace(device.memory, running=running, saved=saved)
        response = answered(204, None)
        if act is None:
            return response
        return replace(response, later=(Later(device.unit.settle_s, act),))


def _routing_of(device: Device, gateway: str | None) -> Tree:
    lan = replace(device.memory.running.lan, gateway=gateway)
    name = "ietf-routing:routing"
    return {name: configured(device.memory.running.kept[KEPT], lan)[name]}


_ABOUT: dict[str, Any] = {
    "": {
        "ietf-restconf:restconf": {
            "data": {},
            "operations": {},
            "yang-library-version": "2019-01-04",
        }
    },
    "/operations": {"ietf-restconf:operations": {}},
    "/yang-library-version": {"ietf-restconf:yang-library-version": "2019-01-04"},
}


def _host_meta(request: Request, *, as_json: bool) -> Response:
    if request.method not in ("GET", "HEAD"):
        return Response(405, (("allow", "GET, HEAD"),))
    if as_json:
        links = {"links": [{"rel": "restconf", "href": ROOT}]}
        return Response(200, (("content-type", "application/json"),), json.dumps(links).encode())
    return Response(200, (("content-type", "application/xrd+xml"),), _XRD.encode())


def _wrapped(path: Path, value: Any) -> dict[str, Any]:
    if not path:
        return {"ietf-restconf:data": value}
    return {path[-1].wrapped: [value] if path[-1].keys else value}


def _config_at(config: Tree, path: Path) -> Any:
    try:
        return at(config, path)
    except Refused:
        return None


def _tag(value: Any) -> str:
    """The entity tag of a resource: it changes with the configuration below it, and only then."""
    text = json.dumps(value, sort_keys=True)
    return f'"{hashlib.sha256(text.encode()).hexdigest()[:16]}"'


def _without(tree: Tree, name: str) -> Tree:
    return {key: value for key, value in tree.items() if key != name}


def _document(request: Request) -> Any:
    try:
        return json.loads(request.body)
    except ValueError as error:
        raise Refused("malformed-message", "the body is no JSON") from error
