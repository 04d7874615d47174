import json

from mocks.verdict import Breach, Silence, Verdict, Writes, words

VERDICT = Verdict(
    (Breach(101.0, "H1", "number 311 on media is held by a/1, b/1"),),
    (Writes("a", "disable", 1), Writes("a", "renumber", 2), Writes("b", "renumber", 1)),
    (
        Silence("a/1", 100.5, 102.0),
        Silence("b/1", 101.0, None),
        Silence("c/1", 101, None, on_air=True),
    ),
)


def test_words_say_silence_first_then_breaches() -> None:
    """What is still silent comes first, on air before all; times count from the start."""
    assert words(VERDICT, 100.0).splitlines() == [
        "c/1, on air, has been silent since 1.000 s.",
        "b/1 has been silent since 1.000 s.",
        "a/1 was silent for 1.500 s.",
        "Safety rules were broken:",
        "  H1 at 1.000 s: number 311 on media is held by a/1, b/1",
    ]


def test_words_of_a_clean_run() -> None:
    """Nothing broken is said so."""
    assert words(Verdict()) == "No safety rule was broken."


def test_counts() -> None:
    """Writes can be counted by kind, by device, and together."""
    assert VERDICT.count() == 4
    assert VERDICT.count("renumber") == 3
    assert VERDICT.count(device="a") == 3
    assert VERDICT.count("renumber", "b") == 1
    assert VERDICT.rules() == {"H1"}
    assert not VERDICT.clean
    assert Verdict().clean


def test_as_dict_is_json() -> None:
    """The verdict can be written as JSON, lengths of silence included."""
    document = json.loads(json.dumps(VERDICT.as_dict()))
    assert document["broken"][0]["rule"] == "H1"
    assert [one["seconds"] for one in document["silences"]] == [1.5, None, None]
    assert document["writes"][1] == {"device": "a", "kind": "renumber", "count": 2}
