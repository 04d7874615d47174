"""A facility's first documents: every line says what belongs there; the whole passes a check."""

import json
from pathlib import Path

from orchestrator.documents.files import replace_text
from orchestrator.documents.places import PLAN_FILE
from orchestrator.documents.schema import WHATS, json_schema
from orchestrator.errors import CallError

PLAN = """\
# yaml-language-server: $schema=.schemas/plan.json
#
# The master record, AS IT IS: who owns which address and channel number. What is
# wanted instead stands in playbooks/. It changes when a run is adopted, or when a
# person corrects it. Take the marks (#) away where you fill something in.
facility: {name}

networks:
  # The addresses here are reserved for documents (RFC 5737): put in your own.
  media:
    subnet: 198.51.100.0/24
    # gateway: 198.51.100.254
    # Addresses that no device ever gets: switches, clocks, laptops.
    # keep_clear: [198.51.100.1-198.51.100.20]
    # Lent for a minute when two devices change places; nobody keeps one.
    # transit: 198.51.100.230-198.51.100.231
    numbering:
      range: 1-2999               # channel numbers
      # transit: 2990-2999        # lent when two sources change numbers
      numbers_per_host: 10        # the device at .31 owns 310 to 319
      first_in_block: 1           # and its first source is 311
      group_range: 239.192.0.0/16 # number n streams to the n-th address of it
      port: 5004
  # A cable to one unit, apart from the facility.
  # bench: {{subnet: 192.0.2.0/24, bench: true}}

rooms:
  first-room: {{site: first-site, network: media}}

# Destinations that are on air: all that feeds them is not interrupted without a
# release. The tool protects what stands here and under off_limits, and nothing else.
# on_air: [transmitter-feed/input-1]

# In the place of the braces, lines such as those below.
devices: {{}}
  # engine:
  #   room: first-room
  #   speaks: a-device-description   # in devices/; or nmos, or restconf
  #   address: 198.51.100.31
  #   blocks: [31, 32]            # more sources than one block holds
  #   serial: AB-1234             # how it proves to be the one meant
  #   credentials: engines        # a name: 'cutsheet credential add engines'
  # alert-inserter:
  #   room: first-room
  #   address: 198.51.100.61
  #   numbers: [611, 612]
  #   off_limits: carries the emergency alert insertion
"""

PLAYBOOK = """\
# yaml-language-server: $schema=../.schemas/playbook.json
#
# What is wanted of some devices; what is not named stays as it is.
playbook: First change
# In the place of the braces, lines such as those below.
devices: {}
  # engine:
  #   address: 198.51.100.31
  #   sources:
  #     program-1: {number: 311, label: PGM-1, enabled: true}
  #     mix-minus-{1..4}: {number: auto, enabled: false}
  #   destinations:
  #     codec-1: {listens_to: other-engine/program-1}   # or a number, or a group
"""


def begin(folder: Path, name: str) -> tuple[str, ...]:
    """Write a facility's first documents into ``folder``, which is made.

    Returns:
        The files, as paths in ``folder``.

    Raises:
        CallError: there is something in ``folder``, or it can't be written.
    """
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CallError(
            f"there is something at {folder} already; nothing was written",
            "name a folder that is not there yet, or an empty one",
        )
    files = {
        PLAN_FILE: PLAN.format(name=json.dumps(name, ensure_ascii=False)),
        "playbooks/first-change.yaml": PLAYBOOK,
        **{f".schemas/{what}.json": json.dumps(json_schema(what), indent=2) for what in WHATS},
    }
    try:
        for place in ("devices", "playbooks", ".schemas"):
            (folder / place).mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise CallError(
            f"{folder} can't be made: {error.strerror}", "name a place that may be written to"
        ) from None
    for path, text in files.items():
        replace_text(folder / path, text)
    return (*files, "devices/")
