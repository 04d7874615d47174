"""A whole change of two NMOS nodes by the command, and taken back."""

from pathlib import Path

import httpx
import pytest

from tests.cli import test_put_back as night
from tests.cli.stage import APPLY
from tests.cli.test_put_back import rack

ON = """
playbook: Another number
devices:
  rack-node: {sources: {air: {number: 412}}}
"""
CONNECTION = "/x-nmos/connection/v1.1/single"
NODE = "/x-nmos/node/v1.3"


def test_a_listener_follows_with_the_new_description(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The receiver is given what the sender says of its new group, word for word; undo as well."""
    monkeypatch.setattr(night, "PLAYBOOK", ON)
    with rack(tmp_path) as here:
        assert here.applied.status == 0, here.applied.said
        for group in ("239.194.1.156", "239.194.1.155"):
            talker, ear = here.running.url("rack-node"), here.running.url("ear-node")
            sender = httpx.get(f"{talker}{NODE}/senders").json()[0]["id"]
            receiver = httpx.get(f"{ear}{NODE}/receivers").json()[0]["id"]
            text = httpx.get(f"{talker}{CONNECTION}/senders/{sender}/transportfile").text
            active = httpx.get(f"{ear}{CONNECTION}/receivers/{receiver}/active").json()
            assert f"c=IN IP4 {group}/" in text
            described = active["transport_file"]["data"].split("\r\n")
            assert described[3:] == text.split("\r\n")[3:]  # its o= counts seconds
            assert active["sender_id"] == sender
            assert active["master_enable"] is True
            assert active["transport_params"][0]["multicast_ip"] == group
            if group.endswith("156"):
                undone = here.run("undo", here.name, *APPLY[1:])
                assert undone.status == 0, undone.said
