import pytest

from orchestrator.adapters.declared import values
from orchestrator.adapters.declared.values import Unwritable, encode
from orchestrator.adapters.http.json_pointer import Unusable
from orchestrator.facility.description import Json, Pick
from orchestrator.facility.wanted import SettingValue

PLAIN = Pick(at="")
DIGITS = Pick(at="", digits=4, unassigned="----", has_unassigned=True)
ZERO = Pick(at="", unassigned=0, has_unassigned=True)
NULL = Pick(at="", unassigned=None, has_unassigned=True)
SWITCH = Pick(at="", values={"true": "on", "false": "off"})
RATE = Pick(at="", values={"48000": "48k", "96000": "96k"})
ADDRESS = Pick(at="", part="address")
PREFIX = Pick(at="", part="prefix")
PORT = Pick(at="", part="port")
CHANNEL = Pick(at="", within="CH-{value}", unassigned="none", has_unassigned=True)
PADDED = Pick(at="", within="CH-{value}.", digits=4)
INVERTED = Pick(at="", values={"true": 0, "false": 1})
RATE_KHZ = Pick(at="", within="{value} kHz")
MODE = Pick(at="", within="<{value}>", values={"48000": "48k", "true": "yes", "false": "no"})


@pytest.mark.parametrize(
    ("pick", "raw", "ours"),
    [
        (PLAIN, 311, 311),
        (DIGITS, "0421", 421),
        (DIGITS, "----", None),
        (ZERO, 0, None),
        (NULL, None, None),
        (CHANNEL, "CH-421", 421),
        (CHANNEL, "none", None),
        (PADDED, "CH-0421.", 421),
        (MODE, "<48k>", 48000),
    ],
)
def test_numbers_come_and_go(pick: Pick, raw: Json, ours: int | None) -> None:
    """A number is read from the device's writing and written back the same."""
    assert values.number(pick, raw) == ours
    assert encode(pick, ours) == raw
    assert type(encode(pick, ours)) is type(raw)


@pytest.mark.parametrize(
    ("pick", "raw"),
    [
        (PLAIN, "311"),
        (PLAIN, True),
        (PLAIN, 3.5),
        (PLAIN, None),
        (PLAIN, [1]),
        (ZERO, False),
        (DIGITS, 421),
        (DIGITS, "421"),
        (DIGITS, "42x1"),
        (DIGITS, "+421"),
        (CHANNEL, "421"),
        (CHANNEL, "CH-"),
        (CHANNEL, "CH-x"),
        (CHANNEL, 421),
        (PADDED, "CH-0421"),
        (PADDED, "CH-421."),
        (PADDED, "CH-."),
        (DIGITS, "٠٤٢١"),
    ],
)
def test_what_is_no_number_is_refused(pick: Pick, raw: Json) -> None:
    """Neither truth values nor fractions nor figures of another script pass for numbers."""
    with pytest.raises(Unusable):
        values.number(pick, raw)


@pytest.mark.parametrize("value", [12345, -1, True, "421"])
def test_digits_that_do_not_fit_are_not_written(value: SettingValue) -> None:
    """A number with more digits than the device keeps is refused, never cut."""
    with pytest.raises(Unwritable):
        encode(DIGITS, value)


def test_a_way_to_say_unassigned_is_needed() -> None:
    """Nobody guesses what a device takes for 'unassigned'."""
    with pytest.raises(Unwritable, match="unassigned"):
        encode(PLAIN, None)


@pytest.mark.parametrize("value", [float("inf"), float("nan"), "MIC \ud800"])
def test_what_json_can_not_say_is_not_written(value: SettingValue) -> None:
    """It is refused before anything is sent, not while it is sent."""
    with pytest.raises(Unwritable, match="can't be put into JSON"):
        encode(PLAIN, value)


def test_switches_come_and_go() -> None:
    """The table of values is used both ways; what it lacks is refused both ways."""
    assert [values.switch(SWITCH, "on"), values.switch(SWITCH, "off")] == [True, False]
    assert [encode(SWITCH, True), encode(SWITCH, False)] == ["on", "off"]
    assert values.switch(PLAIN, True) is True
    for raw in ("On", 1, None):
        with pytest.raises(Unusable):
            values.switch(SWITCH, raw)
        with pytest.raises(Unusable):
            values.switch(Pick(at=""), raw)
    with pytest.raises(Unwritable, match="true, false"):
        encode(SWITCH, "standby")


def test_settings_come_and_go() -> None:
    """A word of the table stands for the figure that a playbook would give."""
    assert values.scalar(RATE, "96k") == 96000
    assert encode(RATE, 48000) == "48k"
    assert values.scalar(PLAIN, 0.5) == 0.5
    assert values.scalar(PLAIN, False) is False
    assert values.scalar(Pick(at="", digits=3), "007") == 7
    nothing: tuple[Json, ...] = (None, {}, [])
    for raw in nothing:
        with pytest.raises(Unusable, match=r"no (single )?value"):
            values.scalar(PLAIN, raw)


def test_texts() -> None:
    """A figure is taken for its text, as some devices give serials; a truth value is not."""
    assert values.text(PLAIN, 118) == "118"
    assert values.text(PLAIN, "N-PGM-1") == "N-PGM-1"
    assert values.text(NULL, None) is None
    with pytest.raises(Unusable):
        values.text(PLAIN, True)


@pytest.mark.parametrize(
    ("raw", "address", "prefix"),
    [("127.44.3.71/24", "127.44.3.71", 24), ("127.44.3.71/0", "127.44.3.71", 0)],
)
def test_compound_texts(raw: str, address: str, prefix: int) -> None:
    """Address and prefix length are the two parts of one text."""
    assert values.address(ADDRESS, raw) == address
    assert values.prefix(PREFIX, raw) == prefix
    assert values.number(PORT, "239.194.1.165:5004") == 5004
    assert values.address(ADDRESS, "239.194.1.165:5004") == "239.194.1.165"


@pytest.mark.parametrize(
    "raw", ["127.44.3.71", "127.44.3.71/33", "127.44.3.71/x", "127.44.3.71/-1"]
)
def test_prefix_lengths_that_are_none(raw: str) -> None:
    """No length, one past 32, and what is no figure."""
    with pytest.raises(Unusable):
        values.prefix(PREFIX, raw)


@pytest.mark.parametrize("raw", ["", "127.44.3", "127.44.3.256", "127.044.3.71", "::1", None])
def test_addresses_that_are_none(raw: Json) -> None:
    """Only whole dotted IPv4 addresses pass."""
    with pytest.raises(Unusable):
        values.address(PLAIN, raw)


def test_parts_are_written_as_themselves() -> None:
    """The body joins the parts; each by itself is the plain value."""
    assert [encode(ADDRESS, "127.44.3.71"), encode(PREFIX, 24)] == ["127.44.3.71", 24]
    assert [encode(ADDRESS, "239.194.1.165:5004"), encode(PORT, "239.194.1.165:5004")] == [
        "239.194.1.165",
        5004,
    ]


def test_a_switch_may_be_the_wrong_way_round() -> None:
    """A device with a mute where we have an enable; 1 is not true."""
    assert (values.switch(INVERTED, 0), values.switch(INVERTED, 1)) == (True, False)
    assert (encode(INVERTED, True), encode(INVERTED, False)) == (0, 1)
    with pytest.raises(Unusable):
        values.switch(INVERTED, False)
    assert values.switch(MODE, "<no>") is False
    assert encode(MODE, True) == "<yes>"


@pytest.mark.parametrize(("raw", "ours"), [("48 kHz", 48), ("044 kHz", "044"), ("x kHz", "x")])
def test_a_setting_with_its_unit(raw: str, ours: SettingValue) -> None:
    """A figure where it is one, and written back as it was."""
    assert values.scalar(RATE_KHZ, raw) == ours
    assert encode(RATE_KHZ, ours) == raw


def test_a_figure_in_another_unit() -> None:
    """48 kHz is 48000 to a playbook, with the text around it or without, there and back."""
    plain = Pick(at="/r", unit=("kHz", "Hz"))
    worded = Pick(at="/r", within="{value} kHz", unit=("kHz", "Hz"))
    for pick, theirs, ours in (
        (plain, 48, 48000),
        (plain, 44.1, 44100),
        (worded, "48 kHz", 48000),
        (worded, "44.1 kHz", 44100),
        (Pick(at="/r", unit=("dB/10", "dB")), -35, -3.5),
    ):
        assert values.scalar(pick, theirs) == ours
        assert values.encode(pick, ours) == theirs


@pytest.mark.parametrize("raw", [True, "fast", "nan", None])
def test_what_is_no_figure_has_no_unit(raw: object) -> None:
    """Told with what it is; a playbook that gives none is told too."""
    with pytest.raises(Unusable):
        values.scalar(Pick(at="/r", unit=("kHz", "Hz")), raw)
    for ours in (True, "fast"):
        with pytest.raises(Unwritable, match="no figure in Hz"):
            values.encode(Pick(at="/r", unit=("kHz", "Hz")), ours)
