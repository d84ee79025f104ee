"""Final marks: how judged marks and the gate enter, and the plain columns for a school."""

from __future__ import annotations

import csv
import io
from fractions import Fraction

import pytest

from course.readings import Judgement, Reading
from rubrics.final import final_csv, final_marks, percent, total_share, word
from rubrics.grading import grade
from rubrics.grading_rules import read_rules
from shared.problems import InputRefused


def measured(course_of, **texts: str):
    """Ada's top rail 0.5 mm too long of a limit of 0.3: Close, two thirds of its four points; Bo nothing."""
    course = course_of(**texts)
    course.log.add([Reading("s1", "door.rail.top.shoulder", 1, 1, "261.5", Fraction("261.5"), "rule")])
    course.fresh()
    return course


COURSE = "title: Test\nid: test\ndate: 2026-10-05\nshop: {machines: [table saw]}\ngrading: {sure: 0.5"


def test_percent_rounds_a_half_up():
    """As a spreadsheet does: 62.25 is 62.3, and 5/8 of a percent 0.6."""
    assert [percent(Fraction(6225, 10000)), percent(Fraction(1, 160)), percent(None)] == [
        Fraction("62.3"), Fraction("0.6"), None]  # fmt: skip


def test_judged_marks_enter_by_their_part():
    """A fifth of the whole: 4/5 of 90 % and 1/5 of 50 % are 82 %; what is not judged counts neither way."""
    part = Fraction(1, 5)
    assert total_share(Fraction(9, 10), Fraction(1, 2), part) == Fraction(82, 100)
    assert total_share(Fraction(9, 10), None, part) == Fraction(9, 10)
    assert total_share(None, Fraction(1, 2), part) is None


def test_judged_marks_are_shown_apart_unless_the_course_says_otherwise(course_of):
    """The total is the measured percent by default, and mixed when grading says so; the rule is told in words."""
    for more, total, words in (
        ("", "66.7", "Judged marks are shown apart and not added to the points."),
        (", total: {judged: 1/5}", "73.3", "Judged marks make 20 % of the total, measured marks the rest; before "
         "anything is judged the measured marks are all of it."),
    ):  # fmt: skip
        course = measured(course_of, course=COURSE + more + "}\n")
        course.log.judge([Judgement("s1", "surface", "A", "On the mark")])
        mark = final_marks(grades := grade(course))[0]
        assert (mark.percent, mark.total) == (Fraction("66.7"), Fraction(total))
        assert percent(mark.judged.share) == 100 and words in grades.rules.words


@pytest.mark.parametrize(
    ("total", "gate", "found"),
    [(85, "met", "On the mark"), (Fraction("84.9"), "met", "Close"), (60, "none", "Close"), (0, "met", "Do again"),
     (100, "not met", "held: safety not met"), (100, "not recorded", "waits for safety"), (None, "met", "")],
)  # fmt: skip
def test_the_word_for_the_whole_waits_for_the_gate(total, gate, found):
    """Safety gives no points and costs none: the points stand, the word is held until it is met."""
    assert word(total, gate, read_rules()) == found


def test_the_words_for_the_whole_are_told():
    """Printed with the rule, from the settings."""
    assert "The word for the whole: On the mark from 85 %, Close from 60 %, Usable from 35 %, Do again below that." in (
        read_rules().words
    )


@pytest.mark.parametrize(
    ("line", "code", "says"),
    [
        ("grading: {total: {judged: 1.5}}", "B021", "'total.judged' is '1.5'"),
        ("grading: {total: {words: {Close: 90}}}", "B023", "'Close' stands below 'On the mark' but asks for as much"),
    ],
)
def test_a_rule_of_no_use_is_told(course_of, line, code, says):
    """With its line."""
    course = course_of(course=f"title: T\nid: t\n{line}\n")
    with pytest.raises(InputRefused) as refused:
        grade(course)
    [problem] = refused.value.problems
    assert (problem.code, problem.says) == (code, says)


def test_final_marks_in_plain_columns(course_of):
    """One row a student; what is not known is blank; names that look like formulas are made harmless."""
    course = measured(course_of, course=COURSE + "}\n", roster="id,name,bench\ns1,=1+1,1\ns2,Bo Test,2\n")
    course.log.judge([Judgement("s1", "safety", "A", "met"), Judgement("s2", "safety", "A", "not met")])
    text = final_csv(final_marks(grade(course)))
    first, second = csv.DictReader(io.StringIO(text))
    assert (first["student id"], first["name"], first["frame points"], first["frame of"]) == ("s1", "'=1+1", "2.67", "4")
    assert (first["points"], first["of"], first["percent"], first["judged"], first["total"]) == (
        "2.67", "4", "66.7", "", "66.7")  # fmt: skip
    assert (first["safety"], first["grade"]) == ("met", "Close")
    assert first["notes"].endswith("not measured; 6 not judged")
    assert (second["percent"], second["total"], second["safety"], second["grade"]) == ("", "", "not met", "")
