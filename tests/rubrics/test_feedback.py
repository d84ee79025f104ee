"""Feedback pages: what is praised, what is to be worked on, and that a page speaks of one student alone."""

from __future__ import annotations

from fractions import Fraction

import pytest

from course.readings import Reading
from rubrics.check_files import read_checks
from rubrics.feedback import feedback_document, pages, read_words, same_digits, write_feedback
from rubrics.grading import grade
from shared.problems import InputRefused
from shared.render.html import write_html
from shared.render.tree import words as text_of
from shared.units import INCHES, MM


def off(student: str, sizes: dict[str, str], attempt: int = 1) -> list[Reading]:
    return [
        Reading(student, name, place, attempt, raw, Fraction(raw))
        for name, text in sizes.items()
        for place, raw in enumerate(text.split(), 1)
    ]


def page_of(course, student: str = "s1"):
    course.fresh()
    return next(page for page in pages(grade(course)) if page.student.id == student)


def test_a_trend_tells_every_attempt(course_of):
    """Tenon attempts of 6.40, 6.25, 6.10 and 6.02 in a groove of 6.10 are told in order, each nearer to 6.00."""
    course = course_of()
    course.log.add(off("s1", {"door.groove.width": "6.1"}))
    for attempt, size in enumerate(("6.40", "6.25", "6.10", "6.02"), 1):
        course.log.add(off("s1", {"door.tenon.thickness": size}, attempt))
    (trend,) = page_of(course).trends
    assert trend.title == "door: thickness of the tenon"
    assert trend.text.startswith("6.40, 6.25, 6.10, 6.02; it should be 6.00 mm. Each attempt came nearer.")


@pytest.mark.parametrize(
    ("sizes", "says"),
    [(("6.2", "6.3", "6.1"), "nearer than the first"), (("6.1", "6.2"), "did not come nearer yet")],
)
def test_a_trend_that_wavers_is_told_as_it_is(course_of, sizes, says):
    """Better than at first, or not yet: never called steady progress."""
    course = course_of()
    for attempt, size in enumerate(sizes, 1):
        course.log.add(off("s1", {"door.tenon.thickness": size}, attempt))
    assert says in page_of(course).trends[0].text


def test_three_best_and_two_to_work_on(course_of):
    """Of many results three of different checks are praised, and the two that lost most are to be worked on."""
    course = course_of()
    course.log.add(off("s1", {
        "door.rail.top.shoulder": "261", "back.groove.width": "6", "case.outside.width": "400.1",
        "door.groove.width": "6.01", "divider.dado.1_left.depth": "6.05", "back.panel.tongue": "7.9",
        "back.rail.top.shoulder": "271", "case.diagonal.front_a": "724", "case.diagonal.front_b": "720",
    }))  # fmt: skip
    page = page_of(course)
    assert [r.title for r in page.best] == [
        "door rail top: shoulder to shoulder", "back groove: groove width", "case outside: outside width of the dry case",
    ]  # fmt: skip
    assert len(page.improve) == 2
    assert page.improve[0].title == "back rail top: shoulder to shoulder"
    assert all(result.cause for result in page.improve)
    assert page.practice.startswith("Write the sum out")
    text = text_of(feedback_document(page, course).tree)
    assert text.count("Practise one thing:") == 1 and "On the mark: 5 of 8 results" in text


def test_a_rail_short_by_two_tenons_is_told_so(course_of):
    """20 mm short with tenons of 10 mm: both tenons left out."""
    course = course_of()
    course.log.add(off("s1", {"door.rail.top.shoulder": "241"}))
    page = page_of(course)
    (result,) = page.improve
    assert result.text == "you read 241.0\u00a0mm, it should be 261.0\u00a0mm: 20.0\u00a0mm under; " + (
        "0.3\u00a0mm either way is allowed"
    )
    assert "both tenons" in result.cause
    assert "Write the sum out" in page.practice


def test_a_change_made_twice_is_asked_about(course_of):
    """A tenon of 6.00 read 6.40 and then 5.60: what was too much went off both cheeks. A first 5.60 tells no such thing."""
    course = course_of()
    course.log.add(off("s1", {"door.groove.width": "6.1", "door.tenon.thickness": "6.4"}))
    course.log.add(off("s1", {"door.tenon.thickness": "5.6"}, 2))
    course.log.add(off("s2", {"door.groove.width": "6.1", "door.tenon.thickness": "5.6"}))
    twice = "Was the change of the set-up applied to both cheeks? (it was 0.4\u00a0mm off before, and twice that has changed)"
    assert [(r.title, r.cause) for r in page_of(course).improve] == [("door: clearance: groove less tenon", twice)]
    (other,) = page_of(course, "s2").improve
    assert other.title == "door: clearance: groove less tenon" and "Was the change" not in other.cause


def test_a_deviation_nobody_knows_gets_the_words_of_its_check(course_of):
    """5 mm over is no known slip: the check's own words stand, without a wrong guess."""
    course = course_of()
    course.log.add(off("s1", {"door.rail.top.shoulder": "266"}))
    assert page_of(course).improve[0].cause == "Cut back to the knife line with a shoulder plane."


def test_advice_is_about_the_students_own_part(course_of):
    """The stop makes the class 3 mm long, one rail is 1.6 long: 1.4 short by its own maker, and told with both figures."""
    roster = "id,name,bench,units\n" + "".join(f"s{n},Test {n},{n},mm\n" for n in range(1, 8))
    course = course_of(roster=roster)
    for n in range(1, 8):
        course.log.add(off(f"s{n}", {"door.rail.top.shoulder": "262.6" if n == 1 else "264"}))
    (result,) = page_of(course).improve
    assert result.text.replace("\u00a0", " ") == (
        "you read 262.6 mm, it should be 261.0 mm: 1.6 mm over; +3.0 mm of it from the set-up of the class; "
        "0.3 mm either way is allowed"
    )
    assert not result.cause.startswith("Cut back")


def test_a_different_case_is_told_apart_from_the_fit(course_of):
    """The opening is told as different from the plan, the rail that follows it is praised."""
    course = course_of()
    course.log.add(off("s1", {
        "divider.upper.width": "364.8 365.0 365.2", "door.rail.top.shoulder": "261.8",
    }))  # fmt: skip
    page = page_of(course)
    (told,) = page.differences
    assert "364.8\u00a0mm instead of 364.0\u00a0mm (+0.8\u00a0mm)" in told.text
    assert "door rail top: shoulder to shoulder" in told.cause
    assert [result.title for result in page.best] == ["door rail top: shoulder to shoulder"]


def test_what_is_not_measured_is_listed_by_its_group(course_of):
    """Nothing measured: no points, no praise, and the whole list."""
    page = page_of(course_of())
    assert not page.points and not page.best
    assert any(name.startswith("Door reveals (") for name in page.missing)


def test_a_page_speaks_of_one_student_alone(course_of):
    """No other name, id or number of students stands on a page, even when the class shares a set-up."""
    roster = "id,name,units\n" + "".join(f"s{n},Person{n} Test,mm\n" for n in range(1, 9))
    course = course_of(roster=roster)
    for n in range(1, 9):
        course.log.add(off(f"s{n}", {"door.groove.width": f"6.2{n}"}))
    course.fresh()
    grades = grade(course)
    assert grades.setups
    document = feedback_document(pages(grades)[0], course)
    text = text_of(document.tree)
    assert "came with the set-up" in text
    assert not any(f"Person{n}" in text for n in range(2, 9)) and "8 of 8" not in text


def test_sizes_stand_in_the_students_own_units(course_of):
    """A student who works in inches reads no millimetre on her page."""
    course = course_of()
    course.log.add(off("s2", {"door.rail.top.shoulder": "241", "door.groove.width": "6.01"}))
    text = text_of(feedback_document(page_of(course, "s2"), course).tree).partition("Practise")[0]
    assert "\u00a0in" in text and "\u00a0mm" not in text


def test_names_are_text(course_of):
    """Braces, tags and emphasis in a name print as they are."""
    course = course_of(roster="id,name\ns1,{{ 7*7 }} <b>*Ada*</b>\n")
    html = write_html(feedback_document(page_of(course), course))
    assert "{{ 7*7 }} &lt;b&gt;*Ada*&lt;/b&gt;" in html and "49 " not in html


def test_large_print_is_the_students_own(course_of):
    """The page is printed large for a student who needs it, and says nothing about it."""
    course = course_of(roster="id,name,large_print\ns1,Ada,yes\ns2,Bo,no\n")
    one, two = (feedback_document(page, course) for page in pages(grade(course)))
    assert (one.large_print, two.large_print) == (True, False)
    assert "print" not in text_of(one.tree)


def test_every_student_gets_a_page_as_html_and_pdf(course_of, tmp_path):
    """Files are named by id and name; the same grades give the same bytes."""
    course = course_of()
    course.log.add(off("s1", {"door.rail.top.shoulder": "241"}))
    grades = grade(course)
    written = write_feedback(grades, tmp_path / "pages")
    assert [path.name for path in written] == ["s1-Ada-Test.html", "s2-Bo-Test.html"]
    before = {path.name: path.read_bytes() for path in (tmp_path / "pages").iterdir()}
    assert before["s1-Ada-Test.pdf"].startswith(b"%PDF") and len(before) == 4
    write_feedback(grades, tmp_path / "again")
    assert {path.name: path.read_bytes() for path in (tmp_path / "again").iterdir()} == before


def test_sizes_in_a_row_have_the_same_decimals():
    """6.4 beside 6.25 is written 6.40."""
    assert same_digits([Fraction("6.4"), Fraction("6.25")], MM) == ["6.40", "6.25"]
    assert same_digits([Fraction("25.4"), Fraction("6.35")], INCHES) == ["1.00", "0.25"]


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("practice: {tenon: x}", "'any' is missing under practice"),
        ("practice: {any: x}\ntrend: {nearer: x}", "'not yet' is missing under trend"),
    ],
)
def test_words_of_no_use_are_refused(course_folder, text, says):
    """A feedback.yaml of the course folder that lacks something is told so."""
    folder = course_folder()
    (folder / "feedback.yaml").write_text(text, "utf-8")
    with pytest.raises(InputRefused) as refused:
        read_words(folder)
    assert any(says in problem.says for problem in refused.value.problems), [p.says for p in refused.value.problems]


def test_a_mistake_comes_with_what_can_still_be_done(course_of):
    """Rails 1.5 short: the page carries the ways out with their new sizes, the least loss first."""
    course = course_of()
    rails = ("back.rail.top.shoulder", "back.rail.bottom.shoulder")
    course.log.add(Reading("s1", name, 1, 1, "289.5", Fraction("289.5")) for name in rails)
    course.fresh()
    page = pages(grade(course))[0]
    (remedy,) = page.remedies
    text = text_of(feedback_document(page, course).tree).replace("\u00a0", " ")
    assert "What can still be done" in text and remedy.options[0].name in text
    assert "139.2" in text or "139.3" in text


def test_every_built_in_check_has_a_practice_task_of_its_own():
    """The task for any check is only for checks that an instructor adds; what is named exists."""
    words = read_words()
    specs = {spec.name: {item.title for item in spec.items} for spec in read_checks().definitions}
    graded = {spec.name for spec in read_checks().definitions if any(item.kind != "measure" for item in spec.items)}
    named = {name.partition(".")[0] for name in words.practice}
    assert graded <= named and named - set(specs) == {"any"}
    inner = [name.partition(".") for name in words.practice if "." in name]
    assert all(what == "rest" or what in specs[name] for name, _, what in inner)


def test_a_course_has_a_page_of_its_own(course_of):
    """A template of the same name in the course's folder `lessons` is used instead, for every word of the page."""
    course = course_of()
    (course.folder / "lessons").mkdir()
    (course.folder / "lessons" / "feedback.md.j2").write_text("# Dear {{ student.name }}\n\nWell done.\n", "utf-8")
    assert text_of(feedback_document(page_of(course), course).tree).split() == ["Dear", "Ada", "Test", "Well", "done."]
