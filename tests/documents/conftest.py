"""A small whole facility that is right, for tests to read or to break."""

from collections.abc import Callable
from pathlib import Path

import pytest

PLAN = """\
# The facility as it is.
facility: Tern Point Radio
networks:
  media:
    subnet: 127.44.3.0/24
    gateway: 127.44.3.254
    keep_clear: [127.44.3.1-127.44.3.20, 127.44.3.240-127.44.3.254]
    transit: 127.44.3.230-127.44.3.239
    numbering:
      range: 1-2999
      transit: 2990-2999
      numbers_per_host: 10
      first_in_block: 1
      group_range: 239.194.0.0/16
      port: 5004
  bench: {subnet: 127.0.2.0/24, bench: true}
rooms:
  studio-north: {site: point, network: media}
  rack: {site: point, network: media}
on_air: [transmitter-feed/output-1]
types:
  engine:
    speaks: corvid-engine
    credentials: engines
    sources:
      program-1: {label: PGM}
      mix-minus-{1..4}: {label: "MM-{1..4}", enabled: false}
devices:
  north-engine:
    room: studio-north
    type: engine
    address: 127.44.3.31
    blocks: [31, 32]
    serial: CV-20931
    sources:
      program-1: {number: 311, label: N-PGM-1, enabled: true}  # the main one
      mix-minus-{1..4}: {number: 312-315}
    destinations:
      codec-1: {listens_to: south-engine/program-1}
  south-engine:
    room: rack
    type: engine
    interfaces:
      main: {network: media, address: 127.44.3.41}
    serial: CV-20932
    sources:
      program-1: {number: 411, also_heard_by: [the lobby speaker]}
  transmitter-feed:
    room: rack
    speaks: tamarisk-node
    address: 127.44.3.71
    serial: TM-118
    destinations:
      output-1: {listens_to: 311}
      output-2: {listens_to: "239.194.1.55"}
  alert-inserter:
    room: rack
    address: 127.44.3.61
    numbers: [611, 612]
    off_limits: carries the emergency alert insertion
"""

PLAYBOOK = """\
playbook: Studio North, new engine
devices:
  north-engine:
    reach_at: 127.0.2.50
    unit: fresh
    address: 127.44.3.31
    sources:
      program-1: {number: 311, label: N-PGM-1, enabled: true}
      mix-minus-{1..4}: {number: auto, enabled: false}
    destinations:
      codec-1: {listens_to: south-engine/program-1}
    settings: {ptp_domain: 0}
accepts:
  - {hazard: "plant-wide:north-engine", reason: it joins alone}
"""

CORVID = """\
device: corvid-engine
make: Corvid
models: [CE-40]
tried_with: ["4.1"]
scheme: http
port: 8080
sign_in: basic
reads:
  identity: {get: /unit, fields: {serial: /serial, model: /product, firmware: /release}}
  interfaces:
    get: /lan
    fields: {address: /lan/ip, prefix: /lan/prefix, gateway: {at: /lan/router, unassigned: null}}
  sources:
    get: /streams
    entries: /streams
    key: /slot
    fields:
      number: {at: /channel, unassigned: 0}
      group: {at: /dest, unassigned: ""}
      label: /title
      enabled: /sending
  destinations:
    get: /inputs
    entries: /inputs
    key: /slot
    fields: {hears: {at: /channel, unassigned: 0}, label: /title}
settings:
  ptp_domain:
    get: /clock
    field: /domain
    effect: plant_wide
    write: {method: PUT, path: /clock, body: {domain: "{value}"}}
writes:
  disable: {method: PATCH, path: "/streams/{key}", body: {sending: "{enabled}"}}
  enable: {method: PATCH, path: "/streams/{key}", body: {sending: "{enabled}"}}
  renumber: {method: PATCH, path: "/streams/{key}", body: {channel: "{number}"}}
  set_label: {method: PATCH, path: "/streams/{key}", body: {title: "{label}"}}
  repoint: {method: PATCH, path: "/inputs/{key}", body: {channel: "{hears}"}}
  readdress:
    method: PUT
    path: /lan
    body: {ip: "{address}", prefix: "{prefix}", router: "{gateway}"}
    repeatable: false
traits: {saves: at_once, hears: number, settle_s: 0.15}
"""

TAMARISK = """\
device: tamarisk-node
make: Tamarisk
models: [TN-8]
tried_with: ["2.7"]
scheme: http
port: 8080
timeout_s: 2
sign_in: api_key
key_header: X-Node-Key
reads:
  identity: {get: /api/info, fields: {serial: /id/sn, model: /id/type, firmware: /fw}}
  interfaces:
    get: /api/ports
    entries: /ports
    fields:
      address: {at: /addr, part: address}
      prefix: {at: /addr, part: prefix}
      gateway: {at: /gw, unassigned: ""}
  sources:
    get: /api/tx
    entries: /tx
    named: "input-{key}"
    fields:
      number: {at: /num, digits: 4, unassigned: "----"}
      group: {at: /dest, unassigned: ""}
      label: /name
      enabled: {at: /state, values: {true: "on", false: "off"}}
  destinations:
    get: /api/rx
    entries: /rx
    named: "output-{key}"
    fields: {hears: {at: /from, unassigned: ""}, label: /name}
  unsaved: {get: /api/store, fields: {unsaved: /pending}}
writes:
  disable: {method: PUT, path: "/api/tx/{key}", body: {state: "{enabled}"}}
  enable: {method: PUT, path: "/api/tx/{key}", body: {state: "{enabled}"}}
  renumber: {method: PUT, path: "/api/tx/{key}", body: {num: "{number}", dest: "{group}"}}
  set_label: {method: PUT, path: "/api/tx/{key}", body: {name: "{label}"}}
  repoint: {method: PUT, path: "/api/rx/{key}", body: {from: "{hears}"}}
  save: {method: POST, path: /api/store}
  readdress:
    method: PUT
    path: "/api/ports/{key}"
    body: {addr: "{address}/{prefix}", gw: "{gateway}"}
    repeatable: false
traits: {saves: on_save, hears: group, settle_s: 1, late_s: 1, save_s: 0.1}
"""

FILES = {
    "plan.yaml": PLAN,
    "playbooks/north.yaml": PLAYBOOK,
    "devices/corvid-engine.yaml": CORVID,
    "devices/tamarisk-node.yaml": TAMARISK,
}

Write = Callable[..., Path]


@pytest.fixture
def texts() -> dict[str, str]:
    """The facility's files by name."""
    return dict(FILES)


@pytest.fixture
def facility(tmp_path: Path) -> Write:
    """Write the facility, with some files replaced, and give its folder."""

    def write(**replaced: str | bytes) -> Path:
        for name, text in FILES.items():
            path = tmp_path / name
            path.parent.mkdir(exist_ok=True)
            new = replaced.get(path.stem.replace("-", "_"), text)
            path.write_bytes(new if isinstance(new, bytes) else new.encode())
        return tmp_path

    return write
