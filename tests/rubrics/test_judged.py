"""What is judged: described levels as data, several judges, and gates."""

from __future__ import annotations

from fractions import Fraction

import pytest

from course.readings import Judgement
from rubrics.judged import judged, read_judging
from shared.problems import InputRefused

OWN = """
levels: {Good: 1, Fair: 1/2, Not yet: 0}
items:
  lid:
    title: Lid
    look: From above.
    weight: 3
    levels: {Good: shuts with a sigh, Fair: shuts, Not yet: does not shut}
  feet:
    title: Feet
    look: On a flat surface.
    weight: 1
    levels: {Good: still, Fair: rocks a little, Not yet: rocks}
gates:
  tidy: {title: Tidy bench, look: At the end., met: swept, not met: not swept}
"""


def said(item: str, level: str, judge: str = "A") -> Judgement:
    return Judgement("s1", item, judge, level)


@pytest.fixture
def own(tmp_path):
    (tmp_path / "judged.yaml").write_text(OWN, "utf-8")
    return read_judging(tmp_path)


def test_the_built_in_items_have_four_described_levels():
    """Every item says when and how to look, and what each level means; safety is a gate and has no weight."""
    judging = read_judging()
    assert list(judging.levels.values()) == [1, Fraction(2, 3), Fraction(1, 3), 0]
    for item in judging.items:
        assert item.title and item.look and item.weight > 0
        assert list(item.levels) == list(judging.levels) and all(len(text) > 15 for text in item.levels.values())
    [gate] = judging.gates
    assert (gate.id, gate.weight, list(gate.levels)) == ("safety", 0, ["met", "not met"])


def test_a_course_replaces_what_is_judged(own):
    """A judged.yaml in the course folder is read instead of the built-in one."""
    assert [(item.id, item.weight) for item in own.items] == [("lid", 3), ("feet", 1)]
    assert own.words_of(own.items[0]) == ("Good", "Fair", "Not yet") and own.words_of(own.gates[0]) == ("met", "not met")


def test_the_share_is_weighted_over_what_is_judged(own):
    """Worked by hand: lid Fair, feet Good: (3 x 1/2 + 1 x 1) / 4 = 5/8; the lid alone 1/2; nothing is None, not 0."""
    assert judged(own, [said("lid", "Fair"), said("feet", "Good")]).share == Fraction(5, 8)
    assert judged(own, [said("lid", "Fair")]).share == Fraction(1, 2)
    assert judged(own, []).share is None and judged(own, []).done == 0


def test_judges_count_alike(own):
    """Two judges of the lid, Good and Not yet: their mean, and both are named where they differ."""
    found = judged(own, [said("lid", "Good"), said("lid", "Not yet", "B")])
    assert found.share == Fraction(1, 2) and found.marks[0].words == "Good (A), Not yet (B)"
    assert judged(own, [said("lid", "Good"), said("lid", "Good", "B")]).marks[0].words == "Good"


def test_a_level_that_is_no_longer_known_is_passed_over(own):
    """As after judged.yaml was replaced in the middle of a term."""
    assert judged(own, [said("lid", "Splendid"), said("chair", "Good"), said("feet", "Fair")]).share == Fraction(1, 2)


@pytest.mark.parametrize(
    ("levels", "word"),
    [([], "not recorded"), ([("met", "A")], "met"), ([("not met", "A")], "not met"),
     ([("met", "A"), ("not met", "B")], "not met")],
)  # fmt: skip
def test_a_gate_is_met_when_somebody_says_so_and_nobody_otherwise(own, levels, word):
    """Nothing recorded is not met yet; one judge who finds it not met is enough."""
    assert judged(own, [said("tidy", level, judge) for level, judge in levels]).gate == word


def test_a_course_without_gates(tmp_path):
    """Gates can be left out."""
    (tmp_path / "judged.yaml").write_text(OWN[: OWN.index("gates:")], "utf-8")
    assert judged(read_judging(tmp_path), []).gate == "none"


@pytest.mark.parametrize(
    ("old", "new", "code", "says"),
    [
        ("weight: 3", "wait: 3", "B040", "'wait' is not known here"),
        ("title: Lid", "title:", "B040", "'title' is missing"),
        ("Fair: shuts, ", "", "B040", "'Fair' is missing"),
        ("Fair: shuts", "Fine: shuts", "B040", "'Fine' is not known here"),
        ("weight: 3", "weight: heavy", "B041", "'weight' is 'heavy'"),
        ("Good: 1, Fair", "Good: 0, Fair", "B041", "the levels do not run from the best share to the least"),
        ("Fair: 1/2", "Fair: 3/2", "B041", "'Fair' is '3/2'"),
        ("tidy:", "lid:", "B041", "'lid' is an item too"),
        ("  tidy: {title: Tidy bench, look: At the end., met: swept, not met: not swept}", "  tidy: yes", "B040",
         "'tidy' has no lines of its own"),
    ],
)  # fmt: skip
def test_what_is_wrong_is_told_with_its_line(tmp_path, old, new, code, says):
    """Each trouble of judged.yaml, in words, with its place."""
    assert old in OWN
    (tmp_path / "judged.yaml").write_text(OWN.replace(old, new, 1), "utf-8")
    with pytest.raises(InputRefused) as refused:
        read_judging(tmp_path)
    [problem] = [p for p in refused.value.problems if p.says == says]
    assert problem.code == code and problem.place.file == "judged.yaml" and problem.place.line > 0
