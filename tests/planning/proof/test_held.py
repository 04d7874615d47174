from orchestrator.planning.proof.held import Holdings, Nets

ONE: Nets = [("main", "media")]
TWO: Nets = [("red", "media"), ("blue", "other")]
BENCH: Nets = [("main", None)]
GROUP = "239.194.1.55:5004"


def test_each_thing_is_there_once() -> None:
    """Who asks for a number, group or address on a network again gets the same one."""
    held = Holdings()
    (number, group) = held.of_source(ONE, 311, (GROUP,))
    assert (number.thing, group.thing) == (("number", "media", 311), ("group", "media", GROUP))
    assert held.of_source(ONE, 311, (GROUP,)) == (number, group)
    assert held.stream("media", 311) is number
    assert held.stream("other", 311) is not number
    assert held.address("media", "127.0.0.1") is held.address("media", "127.0.0.1")
    assert [each.kind for each in held] == ["number", "group", "number", "address"]


def test_an_address_is_no_group() -> None:
    """Not even where the two are written alike."""
    held = Holdings()
    assert held.address("media", "239.194.1.55") is not held.stream("media", "239.194.1.55")


def test_what_is_on_no_network_of_the_facility_is_not_held() -> None:
    """A bench, an unassigned number, and a leg without a group hold nothing."""
    held = Holdings()
    assert held.of_source(BENCH, 311, (GROUP,)) == ()
    assert held.of_source(ONE, None, (None,)) == ()
    assert held.of_source(ONE, None, ()) == ()
    assert held.heard(BENCH, 311) == ()
    assert held.heard(ONE, None) == ()
    assert not list(held)


def test_two_legs_on_one_network_hold_a_number_once() -> None:
    """And a group each; on two networks, a number on each."""
    held = Holdings()
    same = held.of_source([("red", "media"), ("blue", "media")], 311, (GROUP, "239.194.1.56:5004"))
    assert [each.kind for each in same] == ["number", "group", "group"]
    apart = held.of_source(TWO, 311, (GROUP, GROUP))
    assert [each.thing[:2] for each in apart] == [
        ("number", "media"),
        ("group", "media"),
        ("number", "other"),
        ("group", "other"),
    ]


def test_what_is_pointed_at_is_listened_to() -> None:
    """From then on, and nothing else is."""
    held = Holdings()
    number, group = held.of_source(ONE, 311, (GROUP,))
    assert held.heard(ONE, 311) == (number,)
    assert (number.audible, group.audible) == ([], None)


def test_what_was_asked_for_is_known() -> None:
    """On any of the networks of a device; an address is no number and no group."""
    held = Holdings()
    held.address("other", "127.0.0.1")
    held.of_source([("main", "other")], 311, (GROUP,))
    assert set(held.known(TWO)) == {311, GROUP}
    assert set(held.known([("main", "other")])) == {311, GROUP}
    assert not held.known(ONE)
    assert not held.known(BENCH)
