import json

import pytest

from mocks.nmos.sdp import Leg, describe
from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.adapters.nmos.sdp import Described, described
from tests.amwa import STANDARDS, needs_schemas

RFC_7104 = """v=0
o=ali 1122334455 1122334466 IN IP4 dup.example.com
s=DUP Grouping Semantics
t=0 0
m=video 30000 RTP/AVP 100
c=IN IP4 233.252.0.1/127
a=source-filter:incl IN IP4 233.252.0.1 198.51.100.1 198.51.100.2
a=rtpmap:100 MP2T/90000
a=ssrc:1000 cname:ch1@example.com
a=ssrc:1010 cname:ch1@example.com
a=ssrc-group:DUP 1000 1010
a=mid:Ch1
"""
"""RFC 7104, 4.1: duplicates told apart by their SSRC alone (from memory, not rechecked)."""

SEPARATE = """v=0
o=ali 1122334455 1122334466 IN IP4 dup.example.com
s=DUP Grouping Semantics
t=0 0
a=group:DUP S1a S1b
m=video 30000 RTP/AVP 100
c=IN IP4 233.252.0.1/127
a=source-filter:incl IN IP4 233.252.0.1 198.51.100.1
a=rtpmap:100 MP2T/90000
a=mid:S1a
m=video 30000 RTP/AVP 101
c=IN IP4 233.252.0.2/127
a=source-filter:incl IN IP4 233.252.0.2 198.51.100.1
a=rtpmap:101 MP2T/90000
a=mid:S1b
"""
"""RFC 7104, section 4.2: separate destination addresses (from memory, not rechecked)."""


def test_one_leg_however_its_packets_are_doubled() -> None:
    """Two sources in one media section are one leg, and no one address is the sender's."""
    assert described(RFC_7104) == (Described("233.252.0.1:30000"),)


def test_two_legs_in_the_order_of_their_group() -> None:
    """Whichever stands first in the text."""
    one = Described("233.252.0.1:30000", "198.51.100.1")
    two = Described("233.252.0.2:30000", "198.51.100.1")
    assert described(SEPARATE) == (one, two)
    assert described(SEPARATE.replace("DUP S1a S1b", "DUP S1b S1a")) == (two, one)


def test_what_is_not_grouped_is_no_other_leg() -> None:
    """A second stream in the text is another stream (RFC 5888, 5)."""
    assert len(described(SEPARATE.replace("a=group:DUP S1a S1b\n", ""))) == 1


@pytest.mark.parametrize("legs", [1, 2])
@pytest.mark.parametrize("end", ["\r\n", "\n"])
def test_what_a_simulated_sender_describes(legs: int, end: str) -> None:
    """With either line end."""
    given = [Leg("192.0.2.20", "239.192.10.1", 5004), Leg("198.51.100.20", "239.192.10.2", 5006)]
    found = described(describe("PGM", 7, 3, given[:legs]).replace("\r\n", end))
    assert found == tuple(Described(f"{one.group}:{one.port}", one.source) for one in given[:legs])


def test_a_filter_for_all_may_stand_at_the_top() -> None:
    """RFC 4570, 3.1: an asterisk, at session level."""
    text = (
        "v=0\no=- 1 1 IN IP4 192.0.2.9\ns=x\nc=IN IP4 232.1.2.3/64\n"
        "a=source-filter: incl IN IP4 * 192.0.2.9\nt=0 0\nm=audio 5004/2 RTP/AVP 98\n"
    )
    assert described(text) == (Described("232.1.2.3:5004", "192.0.2.9"),)
    assert described(text.replace("incl", "excl")) == (Described("232.1.2.3:5004"),)


@pytest.mark.parametrize(
    "text",
    [
        "",
        "{}",
        "v=0\ns=x\n",
        "v=0\nm=audio 5004 RTP/AVP 98\n",
        "v=0\nc=IN IP6 ff0e::1\nm=audio 5004 RTP/AVP 98\n",
        "v=0\nc=IN IP4 239.1.1.1/32\nm=audio\n",
        "v=0\nc=IN IP4 239.1.1.1/32\nm=audio \u0665 RTP/AVP 98\n",
    ],
)
def test_what_is_none(text: str) -> None:
    """It is said in words."""
    with pytest.raises(Unusable):
        described(text)


@needs_schemas
def test_the_published_example_is_read() -> None:
    """The transport file in an example of AMWA IS-05 v1.1 (receiver-patch-transportfile)."""
    folder = STANDARDS / "is-05" / "examples"
    held = json.loads((folder / "receiver-patch-transportfile.json").read_text(encoding="utf-8"))
    found = described(held["transport_file"]["data"])
    assert found == (Described("232.250.98.80:5010", "172.29.226.25"),)
