"""Words of what an instructor can mend: place, what is wrong, what to do, and the names that were meant."""

from __future__ import annotations

import pytest

from shared.places import Place, read_yaml
from shared.problems import InputRefused, Problem, meant, unknown_keys


@pytest.mark.parametrize(
    ("name", "known", "words"),
    [
        ("raill", ["rail", "stile"], "Did you mean 'rail'?"),
        ("rai", ["rail", "rails", "raid", "stile"], "Did you mean 'rail' or 'raid'?"),
        ("xyz", ["stile", "rail"], "Known are: rail, stile."),
        ("xyz", [f"n{number:02}" for number in range(13)], "Known are: n00, n01, n02, n03, n04, n05, n06, n07, n08, n09, n10, n11 and 1 more."),
        ("xyz", [], "There is none to choose from."),
    ],
)
def test_the_nearest_names_are_told(name: str, known: list[str], words: str) -> None:
    """Two at most; all, up to twelve, where none is near; and that there are none."""
    assert meant(name, known) == words


def test_a_key_that_a_block_may_not_have_is_told_where_it_stands() -> None:
    """One problem for each such key, none for the others."""
    block = read_yaml("name: x\nwidht: 3 mm\nlength: 4 mm\n", "own.yaml")
    (problem,) = unknown_keys("K001", block, ("name", "width", "length"), "a part")
    assert str(problem) == "own.yaml:2:1: K001: a part has no 'widht'\n    Did you mean 'width'?"


def test_problems_are_told_in_the_order_of_the_files() -> None:
    """By file, line and column, whatever the order in which they were found."""
    places = [Place("roster.csv", 2, 1), Place("plan.yaml", 10, 1), Place("plan.yaml", 9, 7), Place("plan.yaml", 9, 3)]
    refused = InputRefused(Problem("P001", place, "it is wrong", "Mend it.") for place in places)
    assert [problem.place for problem in refused.problems] == sorted(places, key=lambda place: place.sort_key)
    assert str(refused).startswith("plan.yaml:9:3: P001: it is wrong\n    Mend it.\nplan.yaml:9:7: ")
