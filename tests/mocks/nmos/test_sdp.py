import pytest

from mocks.nmos.sdp import Leg, describe, read

ONE = Leg("192.0.2.20", "239.192.10.1", 5004)
TWO = Leg("198.51.100.20", "239.192.10.2", 5006)


def test_a_description_has_its_lines_in_order() -> None:
    """The order of RFC 8866, section 5; a multicast connection carries its TTL (5.7)."""
    lines = describe("PGM", 7, 3, [ONE]).split("\r\n")
    assert lines[:4] == ["v=0", "o=- 7 3 IN IP4 192.0.2.20", "s=PGM", "t=0 0"]
    assert lines[4:6] == ["m=audio 5004 RTP/AVP 98", "c=IN IP4 239.192.10.1/32"]
    assert "a=rtpmap:98 L24/48000/2" in lines
    assert lines[-1] == ""


def test_no_name_is_a_space() -> None:
    """The s= line must not be empty (RFC 8866, 5.3)."""
    assert "\r\ns= \r\n" in describe("", 7, 3, [ONE])


def test_a_single_host_has_no_ttl() -> None:
    """Only multicast carries one (RFC 8866, 5.7)."""
    text = describe("PGM", 7, 3, [Leg("192.0.2.20", "192.0.2.9", 5004)])
    assert "\r\nc=IN IP4 192.0.2.9\r\n" in text


def test_two_legs_are_duplicates() -> None:
    """Two media sections, grouped (RFC 7104)."""
    text = describe("PGM", 7, 3, [ONE, TWO])
    assert "a=group:DUP primary secondary" in text
    assert text.count("m=audio") == 2


@pytest.mark.parametrize("legs", [[ONE], [ONE, TWO]])
@pytest.mark.parametrize("end", ["\r\n", "\n"])
def test_what_is_described_is_read(legs: list[Leg], end: str) -> None:
    """With either line end."""
    assert read(describe("PGM", 7, 3, legs).replace("\r\n", end)) == legs


def test_connection_and_source_may_stand_above_the_media() -> None:
    """Then they hold for all of it; without a filter no source is told."""
    text = "v=0\ns=x\nc=IN IP4 239.192.10.1/32\nt=0 0\nm=audio 5004 RTP/AVP 98\n"
    assert read(text) == [Leg("", "239.192.10.1", 5004)]


@pytest.mark.parametrize(
    "text",
    [
        "",
        "hello",
        "v=0\ns=x\n",
        "v=0\ns=x\nm=audio many RTP/AVP 98\nc=IN IP4 239.192.10.1/32\n",
        "v=0\ns=x\nm=\nc=IN IP4 239.192.10.1/32\n",
        "v=0\ns=x\nm=audio 5004 RTP/AVP 98\n",
        "v=0\ns=x\nm=audio 5004 RTP/AVP 98\nc=IN IP4 somewhere/32\n",
    ],
)
def test_nonsense_is_refused(text: str) -> None:
    """No description, no media, no port, no address."""
    with pytest.raises(ValueError, match=r"\w"):
        read(text)
