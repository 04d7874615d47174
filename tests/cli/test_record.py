"""The commands about the record: new, vacant."""

from pathlib import Path

from tests.cli.stage import cutsheet, facility


def test_a_new_folder_can_be_checked_and_asked_at_once(tmp_path: Path) -> None:
    """Made, checked, and the first vacant place is the first host."""
    made = cutsheet("new", str(tmp_path / "ours"), "--name", "Ours")
    assert made.status == 0, made.err
    assert "plan.yaml" in made.out
    checked = cutsheet("check", "--facility", str(tmp_path / "ours"))
    assert checked.status == 0, checked.err
    free = cutsheet("vacant", "--json", "--facility", str(tmp_path / "ours"))
    assert free.json["places"][0]["first"] == "198.51.100.1"


def test_a_folder_with_something_in_it_is_left_alone(tmp_path: Path) -> None:
    """Status 2, and it says what to do."""
    (tmp_path / "x").write_text("")
    refused = cutsheet("new", str(tmp_path))
    assert refused.status == 2
    assert "fix: name a folder" in refused.err


def test_vacant_of_the_example(tmp_path: Path) -> None:
    """What somebody has, or a playbook wants, is not offered; a big box needs two in a row."""
    where = str(facility(tmp_path / "tern"))
    shown = cutsheet("vacant", "--facility", where)
    assert shown.status == 0, shown.err
    assert "Nothing was asked" in shown.out
    assert max(map(len, shown.out.splitlines())) <= 80
    document = cutsheet("vacant", "--json", "--facility", where).json
    taken = {"127.44.3.31", "127.44.3.36", "127.44.3.56", "127.44.3.230", "127.44.3.254"}
    ends = {place[end] for place in document["places"] for end in ("first", "last")}
    assert not ends & taken
    two = cutsheet("vacant", "--hosts", "2", "--json", "--facility", where).json
    assert min(place["hosts"] for place in two["places"]) >= 2


def test_vacant_where_nothing_is(tmp_path: Path) -> None:
    """More in a row than there are: status 1, in words; a network that is not there: status 2."""
    where = str(facility(tmp_path / "tern"))
    none = cutsheet("vacant", "--hosts", "300", "--facility", where)
    assert none.status == 1
    assert "No 300 hosts in a row" in none.out
    assert cutsheet("vacant", "--network", "mdeia", "--facility", where).status == 2
