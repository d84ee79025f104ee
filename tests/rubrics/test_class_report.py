"""What the class tells: findings in words, readers, digits, last term, and the two reports."""

from __future__ import annotations

import csv
import io
import random
import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction

import pytest
from typer.testing import CliRunner

from course.course import Course
from course.readings import Reading
from lessons.__main__ import app
from rubrics.class_charts import UNIT, distribution_chart, progress_chart, strip_chart
from rubrics.class_findings import CheckFigures, class_figures, findings, progress
from rubrics.class_report import facts, report, write_class_report
from rubrics.grading import grade
from rubrics.last_term import changes, figures_csv, read_last_term
from rubrics.marks import Grades
from rubrics.readers import digits, pairs, readers
from rubrics.sheet_columns import SECOND
from shared.problems import InputRefused
from shared.units import INCHES, MM

NAMES = ("Ada Test", "Bo Test", "Cy Test", "Di Test", "Ed Test", "Fay Test", "Gus Test", "Hal Test")
ROSTER = "id,name,bench,units\n" + "".join(f"s{n},{name},{n},mm\n" for n, name in enumerate(NAMES, 1))
SHOULDER, OTHER = "door.rail.top.shoulder", "door.rail.bottom.shoulder"
TOLD = ("0.35", "0.3", "0.4", "0.3", "0.25", "0.3", "0.35", "0.3")


@pytest.fixture
def class_of(course_of) -> Callable[..., Course]:
    """A class of eight whose readings are so far from what they should be, by quantity."""

    def make(off: dict[str, tuple[str, ...]], extra: str = "", units: str = "") -> Course:
        text = f"title: Test course\nid: test\ndate: 2026-10-05\nterm: autumn\ninvented: yes\n{extra}"
        course = course_of(roster=ROSTER, course=text + (f"units: {units}\n" if units else ""))
        readings = []
        for name, deviations in off.items():
            for student, text in zip(course.students, deviations, strict=False):
                if text:
                    size = course.values(student).target(name) + Fraction(text)
                    readings.append(Reading(student.id, name, 1, 1, str(size), size))
            course.log.add(readings)
            course.fresh()
        return course

    return make


def figures_of(course: Course) -> tuple[Grades, tuple[CheckFigures, ...]]:
    grades = grade(course)
    return grades, class_figures(grades)


def of(figures: tuple[CheckFigures, ...], check: str) -> CheckFigures:
    return next(one for one in figures if one.check.id == check)


def words(course: Course, shown=MM) -> list[str]:
    grades, figures = figures_of(course)
    return [one.words for one in findings(grades, figures, shown)]


class TestFigures:
    def test_the_figures_of_a_check_by_hand(self, class_of):
        """Deviations 0.1 and -0.1, four each: mean 0, deviation 0.1069, 8 of 8 inside 0.3, Cpk 0.3 / 3s."""
        _, figures = figures_of(class_of({SHOULDER: ("0.1", "-0.1") * 4}))
        found = of(figures, SHOULDER)
        assert (found.mean, found.inside, len(found.points)) == (0, 8, 8)
        assert found.sd == pytest.approx((8 * 0.01 / 7) ** 0.5)
        assert found.capability.cpk == pytest.approx(0.3 / (3 * found.sd))
        assert found.says == "cannot be told yet"
        assert [point.scaled for point in found.points] == pytest.approx([1 / 3, -1 / 3] * 4)

    def test_a_check_with_an_upper_limit_has_no_capability(self, class_of):
        """Differences pile up at nothing, so a spread about a middle says little of them."""
        _, figures = figures_of(class_of({SHOULDER: ("0.1", "-0.1") * 4, OTHER: ("0",) * 8}))
        found = of(figures, "door.shoulder.the_two_rails")
        assert (found.capability, found.inside, found.says) == (None, 8, "everyone inside")
        assert {point.scaled for point in found.points} == {0.25}

    def test_four_are_too_few_to_speak_of_a_class(self, class_of):
        """Nothing is said of four, whatever they made."""
        _, figures = figures_of(class_of({SHOULDER: ("9", "9", "9", "9")}))
        found = of(figures, SHOULDER)
        assert (found.says, found.enough, found.nobody_inside) == ("too few to say", False, False)

    @pytest.mark.parametrize(
        ("off", "says"),
        [
            (("0.01", "-0.01", "0", "0.02") * 2, "holds with room"),
            (("0.6", "-0.5", "0.1", "-0.7", "0.9", "0", "-0.4", "0.8"), "scatters"),
            (("0.22", "0.23", "0.24", "0.25") * 2, "shared: the set-up"),
            (("0.12", "0.13", "0.14", "0.29", "0.34", "0.21", "0.31", "0.15"), "off the middle"),
            (("0.9", "-0.9", "0.8", "-0.8", "1", "-1", "0.7", "-0.7"), "nobody inside"),
        ],
    )
    def test_the_figures_in_a_few_words(self, class_of, off, says: str):
        """A class that holds, scatters, shares a set-up, works too near to a limit, or fails as a whole."""
        _, figures = figures_of(class_of({SHOULDER: off}))
        assert of(figures, SHOULDER).says == says


class TestFindings:
    def test_a_set_up_is_named_with_what_to_look_at(self, class_of):
        """The shoulder is 0.3 over for the class: the stop is looked at, not the students."""
        first = words(class_of({SHOULDER: TOLD}))[0]
        assert first == (
            "Most of the class is 0.3\u00a0mm over at 'shoulder to shoulder' (door rail top): look at the stop, not at "
            "the students. 8 of 8 results share it; it is taken out before grading."
        )

    def test_two_places_with_one_cause_are_one_finding(self, class_of):
        """Both rails from one stop: one sentence."""
        course = class_of({SHOULDER: TOLD, OTHER: TOLD})
        told = [text for text in words(course) if "look at the stop" in text]
        assert len(told) == 1 and "(door rail top and door rail bottom)" in told[0] and "16 of 16" in told[0]

    def test_sizes_are_told_in_the_units_of_the_course(self, class_of):
        """In inches where the course works in inches."""
        assert "0.012\u00a0in over" in words(class_of({SHOULDER: TOLD}), INCHES)[0]

    def test_a_check_that_nobody_passes_is_about_the_check(self, class_of):
        """Far on both sides: no set-up, and no eight bad students."""
        told = words(class_of({SHOULDER: ("0.9", "-0.9", "0.8", "-0.8", "1", "-1", "0.7", "-0.7")}))
        assert any(text.startswith("Nobody keeps the limits at 'door rail top: shoulder to shoulder' (0 of 8)")
                   for text in told)  # fmt: skip

    def test_a_check_that_nobody_fails_is_praised(self, class_of):
        """All inside: a partner can see it."""
        told = words(class_of({SHOULDER: ("0.01", "-0.01") * 4}))
        assert told == [
            "Everyone keeps the limits at: shoulder to shoulder. Well done; a partner can see these, and the "
            "instructor's time is better spent elsewhere."
        ]

    def test_a_lean_that_chance_does_not_explain_is_told_and_not_taken_out(self, class_of):
        """Seven of eight lie over, five of them by enough: short of three quarters, so no set-up."""
        course = class_of({SHOULDER: ("0.2", "0.2", "0.25", "0.2", "0.25", "0.1", "0.12", "0.14")})
        grades, figures = figures_of(course)
        assert grades.setups == ()
        told = [one.words for one in findings(grades, figures, MM) if "leans over" in one.words]
        assert len(told) == 1 and "by 0.18\u00a0mm in the mean (between 0.14\u00a0mm and 0.23\u00a0mm)" in told[0]

    def test_one_far_off_is_named_for_the_instructor_and_left_in(self, class_of):
        """20 mm short: a second look, and the mean still has it."""
        course = class_of({SHOULDER: ("0.05", "-0.05", "0", "0.1", "-20", "0", "-0.1", "0.05")})
        grades, figures = figures_of(course)
        found = next(one for one in findings(grades, figures, MM) if "far from the others" in one.words)
        assert found.words.startswith("1 result stands far") and "None is left out" in found.words
        assert found.names == ("s5 door rail top: shoulder to shoulder",)
        assert of(figures, SHOULDER).mean == Fraction("-19.95") / 8

    def test_progress_counts_what_came_nearer(self, class_of):
        """One rail made again and nearer, one made again and not."""
        course = class_of({SHOULDER: ("0.9", "0.5")})
        for student, text in zip(course.students, ("0.1", "0.8"), strict=False):
            size = course.plan_values.target(SHOULDER) + Fraction(text)
            course.log.add([Reading(student.id, SHOULDER, 1, 2, str(size), size)])
        course.fresh()
        grades, figures = figures_of(course)
        frame = next(one for one in progress(grades, figures) if one.stage == "frame")
        assert (frame.measured, frame.again, frame.nearer) == (2, 2, 1)


class TestReaders:
    def twice(self, course: Course, apart: tuple[str, ...]) -> Course:
        for student, text in zip(course.students, apart, strict=False):
            own = next(one for one in course.log.readings(student.id) if one.quantity == SHOULDER)
            size = own.value - Fraction(text)
            course.log.add([replace(own, raw=str(size), value=size, reader=SECOND)])
        course.fresh()
        return course

    def test_limits_of_agreement_stand_with_each_tool(self, class_of):
        """Differences 0.1 and 0.3, four each: mean 0.2, deviation 0.1069; with the rule."""
        course = self.twice(class_of({SHOULDER: ("0",) * 8}), ("0.1", "0.3") * 4)
        found = readers(grade(course)).tools
        assert [(one.instrument, one.count, one.found.bias) for one in found] == [("rule", 8, Fraction("0.2"))]
        assert found[0].found.sd == pytest.approx((8 * 0.01 / 7) ** 0.5)

    def test_levels_of_both_readers_are_compared(self, class_of):
        """Six alike, two a level apart: 6 of 8, and kappa by hand.

        Table rows own, columns second: on the mark 4 and 2, close 0 and 2. Weighted expected disagreement
        (6*4 + 2*4)/64 of weight 1 on 6*4 + 2*4 = 32 of 64, observed 2 of 8: kappa 1 - 0.25 / 0.5 = 0.5.
        """
        course = self.twice(
            class_of({SHOULDER: ("0", "0", "0", "0", "0.28", "0.28", "0.45", "0.45")}),
            ("0", "0", "0", "0", "-0.1", "-0.1", "0", "0"),
        )
        found = readers(grade(course)).levels
        assert (found.count, found.same, found.kappa) == (8, 6, Fraction(1, 2))

    def test_where_only_one_level_was_given_kappa_has_no_meaning(self, class_of):
        """Full agreement on one level is told as it is."""
        course = self.twice(class_of({SHOULDER: ("0",) * 8}), ("0",) * 8)
        found = readers(grade(course)).levels
        assert (found.same, found.kappa) == (8, None)
        assert "agreement beyond chance cannot be told" in report(facts(grade(course)), True).readers[-1]

    def test_one_dissent_among_like_levels_is_not_called_no_agreement(self, class_of):
        """Seven of eight alike on one level: kappa would be 0, since chance alone gives 7 of 8; it is not told."""
        off = ("0", "0", "0", "0", "0", "0", "0", "0.3")
        course = self.twice(class_of({SHOULDER: off}), ("0",) * 7 + ("-0.1",))
        found = readers(grade(course)).levels
        assert (found.count, found.same, found.kappa) == (8, 7, None)
        assert report(facts(grade(course)), True).readers[-1] == (
            "Both readings came to the same level at 7 of 8 results; nearly all are of one level, so agreement beyond "
            "chance cannot be told."
        )

    def test_the_students_own_reading_comes_first(self):
        """Whoever was taken in first, the difference is own less second."""
        own = Reading("s1", SHOULDER, 1, 1, "10", Fraction(10))
        second = replace(own, raw="9", value=Fraction(9), reader=SECOND)
        assert [pair.apart for pair in pairs([second, own])] == [1]


class TestDigits:
    SIZES = (
        "back.groove.width", "door.groove.width", "door.groove.front_lip", "back.groove.front_lip", "back.groove.depth",
        "door.groove.depth", "back.tenon.length",
    )  # fmt: skip

    def read(self, course: Course, chance: random.Random, step: int, wide: int = 40, places: int = 1) -> Course:
        """Seven sizes of each student in steps of so many hundredths; all places of a thing within 0.01 mm."""
        readings = []
        for student in course.students:
            for name in self.SIZES:
                made = 600 + chance.randrange(-wide, wide)
                for place in range(1, places + 1):
                    size = Fraction((made + chance.choice((-1, 0, 0, 1))) // step * step, 100)
                    readings.append(Reading(student.id, name, place, 1, str(float(size)), size))
        course.log.add(readings)
        return course

    def test_even_digits_of_a_caliper_are_no_matter(self, class_of):
        """56 readings with even hundredths."""
        found = digits(self.read(class_of({}), random.Random(7), 1))
        assert [(one.tool, one.what, one.readings, one.uneven) for one in found] == [
            ("digital caliper", "the hundredths of a millimeter", 56, False)
        ]

    def test_readings_to_the_nearest_five_pile_up(self, class_of):
        """Every reading ends in 0 or 5, and the report asks kindly."""
        course = self.read(class_of({}), random.Random(7), 5)
        found = digits(course)
        assert found[0].uneven and found[0].most == "100 % end in 0 or 5, where 20 % are expected"
        assert "not about anybody" in report(facts(grade(course)), False).digits[0]

    def test_a_thing_read_at_three_places_counts_once(self, class_of):
        """Its places lie within a hundredth of each other: 168 readings are 56 things, and no surprise."""
        found = digits(self.read(class_of({}), random.Random(7), 1, places=3))
        assert [(one.readings, one.uneven) for one in found] == [(56, False)]

    def test_sizes_that_a_class_makes_alike_say_nothing(self, class_of):
        """Within 0.06 mm of 6.00 some hundredths never come up, whoever reads them."""
        assert digits(self.read(class_of({}), random.Random(7), 1, wide=6)) == ()

    def test_one_wild_reading_does_not_make_a_size_wide(self, class_of):
        """Made alike, and one student 2 mm off at everything."""
        course = self.read(class_of({}), random.Random(7), 1, wide=6)
        course.log.add([Reading("s1", name, 1, 1, "8.03", Fraction("8.03")) for name in self.SIZES])
        course.fresh()
        assert digits(course) == ()


class TestLastTerm:
    def before(self, class_of, tmp_path, off) -> str:
        _, figures = figures_of(class_of({SHOULDER: off}))
        course = figures_of(class_of({SHOULDER: off}))[0].course
        (tmp_path / "then.csv").write_text(figures_csv(course, figures), "utf-8")
        course.log.path.unlink()
        return "last_term: ../then.csv\n"

    def test_the_file_holds_figures_and_nobody(self, class_of):
        """One line a check, with the limits, and no name in it."""
        course = class_of({SHOULDER: ("0.1", "-0.1") * 4})
        text = figures_csv(course, figures_of(course)[1])
        line = next(row for row in csv.DictReader(io.StringIO(text)) if row["check"] == SHOULDER)
        assert (line["term"], line["readings"], line["inside"], line["mean mm"], line["lower mm"], line["upper mm"]) == (
            "autumn", "8", "8", "0.000000", "-0.300000", "0.300000",
        )  # fmt: skip
        assert not any(name in text for name in NAMES)

    def test_a_clear_change_is_told_both_ways(self, class_of, tmp_path):
        """From all 1 mm over to all right: smaller, and more inside."""
        extra = self.before(class_of, tmp_path, ("1", "1.1", "0.9", "1") * 2)
        course = class_of({SHOULDER: ("0", "0.1", "-0.1", "0") * 2}, extra)
        found = changes(read_last_term(course), figures_of(course)[1])
        assert [one.told for one in found if one.check.id == SHOULDER] == [
            ("more keep the limits", "smaller than last term")
        ]
        part = report(facts(grade(course)), False).last_term
        assert part.name == "autumn"
        assert part.told == (
            "door rail top: shoulder to shoulder: more keep the limits, smaller than last term (0 of 8 inside, now 8 "
            "of 8).",
        )

    def test_what_chance_explains_is_no_change(self, class_of, tmp_path):
        """The same scatter again: nothing is told, and the table still shows both."""
        extra = self.before(class_of, tmp_path, ("0.1", "-0.2", "0.3", "0", "0.2", "-0.1", "0.1", "-0.3"))
        course = class_of({SHOULDER: ("-0.1", "0.2", "0.1", "-0.2", "0.3", "0", "0.2", "0.1")}, extra)
        part = report(facts(grade(course)), False).last_term
        assert part.told == ("No change that chance could not explain.",)
        assert [row.title for row in part.rows] == ["door rail top: shoulder to shoulder"]

    def test_shares_inside_other_limits_are_not_compared(self, class_of, tmp_path):
        """A band that was changed since."""
        extra = self.before(class_of, tmp_path, ("0.1", "-0.2", "0.3", "0", "0.2", "-0.1", "0.1", "-0.3"))
        course = class_of({SHOULDER: ("0.4", "-0.2") * 4}, extra + "bands: {door.rail.top.shoulder: {upper: 0.5 mm}}\n")
        part = report(facts(grade(course)), False).last_term
        assert [row.inside for row in part.rows] == ["other limits then"]

    def test_a_missing_file_is_told(self, class_of):
        """With the line of course.yaml and the cure."""
        course = class_of({}, "last_term: nowhere.csv\n")
        with pytest.raises(InputRefused) as refused:
            read_last_term(course)
        problem = refused.value.problems[0]
        assert problem.code == "B070" and str(problem.place) == "course.yaml:6:12"
        assert "nowhere.csv" in problem.says
        assert problem.do == (
            "Give last_term the path of a class-figures.csv that `grade` wrote, from the course folder."
        )

    @pytest.mark.parametrize(
        ("text", "code", "says"),
        [
            ("student,points\ns1,3\n", "B070", "the column 'course' is missing"),
            ("many", "B071", "the figures of 'door.x' are none"),
        ],
    )
    def test_a_file_that_is_none_is_told(self, class_of, tmp_path, text: str, code: str, says: str):
        """Columns that are missing, and numbers that are none."""
        if text == "many":
            heads = "course,term,check,title,stage,readings,inside,mean mm,sd mm,lower mm,upper mm\n"
            text = heads + "c,t,door.x,Door,frame,many,3,0,0.1,,1\n"
        (tmp_path / "then.csv").write_text(text, "utf-8")
        with pytest.raises(InputRefused) as refused:
            read_last_term(class_of({}, "last_term: ../then.csv\n"))
        assert [(p.code, p.says) for p in refused.value.problems] == [(code, says)]


class TestReport:
    def test_the_one_that_is_hung_up_names_nobody(self, class_of, tmp_path):
        """No name and no id in words or pictures; the instructor's has both."""
        course = class_of({SHOULDER: ("0.05", "-0.05", "0", "0.1", "-20", "0", "-0.1", "0.05"), OTHER: ("0.1", "9")})
        write_class_report(facts(grade(course)), tmp_path / "out")
        wall = (tmp_path / "out" / "class-report.html").read_text("utf-8")
        own = (tmp_path / "out" / "class-report-instructor.html").read_text("utf-8")
        assert not [name for name in NAMES if name in wall] and not re.search(r"\bs[1-8]\b", wall)
        assert "s5 door rail top" in own and re.search(r">s5<", own)
        assert "Nobody is named here." in wall and "it names students" in own

    def test_what_few_measured_is_not_hung_up(self, class_of):
        """Two results would be two people."""
        found = facts(grade(class_of({SHOULDER: ("0",) * 8, OTHER: ("0.1", "9")})))
        titles = [[row.title for stage in report(found, named).stages for row in stage.rows] for named in (False, True)]
        assert titles[0] == ["door rail top: shoulder to shoulder"]
        assert "door rail bottom: shoulder to shoulder" in titles[1]
        assert report(found, False).left_out.startswith("Checks that fewer than 5 have measured are left out: ")

    def test_a_class_without_readings_gets_a_report(self, class_of, tmp_path):
        """Nothing measured is no error, and no chart is empty paper."""
        files = write_class_report(facts(grade(class_of({}))), tmp_path / "out")
        assert [path.name for path in files] == [
            "class-report.html", "class-report.pdf", "class-report-instructor.html", "class-report-instructor.pdf",
            "class-figures.csv",
        ]  # fmt: skip
        assert "Nothing stands out yet: 0 results are in." in files[0].read_text("utf-8")

    def test_the_same_readings_give_the_same_bytes(self, class_of, tmp_path):
        """Nothing in it tells the time."""
        grades = grade(class_of({SHOULDER: TOLD}))
        first, second = (write_class_report(facts(grades), tmp_path / name) for name in ("a", "b"))
        assert [path.read_bytes() for path in first] == [path.read_bytes() for path in second]

    def test_words_of_the_course_are_used(self, class_of, tmp_path):
        """UK spelling where the course writes so."""
        grades = grade(class_of({SHOULDER: TOLD}, "terms: uk\n"))
        text = write_class_report(facts(grades), tmp_path)[0].read_text("utf-8")
        assert "centred class" in text and "centered" not in text


class TestCharts:
    def test_every_result_is_a_dot_in_its_row(self, class_of):
        """Eight results: six dots within three limits, rings where outside, an arrow for each beyond."""
        _, figures = figures_of(class_of({SHOULDER: ("0", "0.1", "-0.1", "0.31", "-0.5", "0.2", "5", "-20")}))
        made = strip_chart("Frames", [of(figures, SHOULDER)], {}, MM)
        full, ring = (len(re.findall(rf'<circle[^>]*fill="{fill}"', made.svg)) for fill in ("#000000", "#ffffff"))
        heads = len(re.findall(r"<polygon", made.svg))
        assert (full, ring, heads) == (4, 2, 2)
        assert "4 of 8 inside" in made.alt and "\u00b10.3\u00a0mm: 4 of 8" in made.svg

    def test_dots_never_cover_each_other(self, class_of):
        """Equal results stand side by side."""
        _, figures = figures_of(class_of({SHOULDER: ("0.1",) * 5}))
        made = strip_chart("Frames", [of(figures, SHOULDER)], {}, MM)
        places = re.findall(r'<circle cx="([^"]+)" cy="([^"]+)"', made.svg)
        assert len(set(places)) == 5

    @pytest.mark.parametrize(("third", "said"), [("5.1", ["s8, s7"]), ("0.6", ["s8", "s7"])])
    def test_names_of_results_at_one_place_stand_together(self, class_of, third, said):
        """Two results beyond the edge, or one there and one further in: no name is printed over another."""
        _, figures = figures_of(class_of({SHOULDER: ("0", "0.01", "0.02", "0.03", "-0.01", "-0.02", third, "5")}))
        made = strip_chart("Frames", [of(figures, SHOULDER)], {"s7": "s7", "s8": "s8"}, MM)
        assert re.findall(r">(s\d[^<]*)<", made.svg) == said

    def test_a_crowd_is_drawn_as_a_row_that_widens(self, class_of):
        """Eighty results have no room for dots: steps of a fifth of a limit, the tallest where most results lie."""
        _, figures = figures_of(class_of({SHOULDER: ("0", "0.01", "0.02", "0.2", "0.03", "0.01", "5", "-20")}))
        one = of(figures, SHOULDER)
        made = strip_chart("Frames", [replace(one, points=one.points * 10)], {"s7": "s7"}, MM)
        assert "<circle" not in made.svg and ">s7<" not in made.svg and len(re.findall("<polygon", made.svg)) == 2
        steps = re.findall(r'<rect x="([^"]+)"[^>]*height="([^"]+)" fill="#9a9a9a"', made.svg)
        assert [float(x) / UNIT for x, _ in steps] == pytest.approx([0.0, 0.6])
        assert float(steps[0][1]) == pytest.approx(5 * float(steps[1][1]), rel=1e-3)
        assert "the wider a row, the more results" in made.svg

    def test_columns_count_all_results(self, class_of):
        """Eight results in the columns and the two tails."""
        _, figures = figures_of(class_of({SHOULDER: ("0", "0.1", "-0.1", "0.31", "-0.5", "0.2", "5", "-20")}))
        made = distribution_chart([of(figures, SHOULDER)])
        counts = [int(text) for text in re.findall(r'font-size="[^"]+" fill[^>]*>(\d+)</text>', made.svg)]
        assert sum(counts) == 8 and "4 of 8 results lie within their limits" in made.alt
        assert "1 lie more than three limits under, 1 more than three over" in made.alt

    def test_the_shaded_band_of_the_columns_lies_between_the_limits(self, class_of):
        """One limit under to one over, where the marks of the scale are."""
        _, figures = figures_of(class_of({SHOULDER: ("0", "0.1")}))
        svg = distribution_chart([of(figures, SHOULDER)]).svg
        left, wide = map(float, re.search(r'<rect x="(-?[\d.]+)"[^>]* width="([\d.]+)"[^>]*fill="#e4e4e4"', svg).groups())
        at = {text: float(x) for x, text in re.findall(r'<text x="(-?[\d.]+)"[^>]*>([-+]?\d)</text>', svg)}
        assert (left, left + wide) == (at["-1"], at["+1"])

    def test_no_columns_without_results(self, class_of):
        """Nothing measured, no picture."""
        assert distribution_chart(figures_of(class_of({}))[1]) is None

    def test_the_bars_say_their_numbers(self, class_of):
        """Measured and inside, in words too."""
        grades, figures = figures_of(class_of({SHOULDER: ("0", "9")}))
        made = progress_chart(progress(grades, figures))
        asked = sum(one.asked for one in figures if one.check.stage == "frame")
        assert f"frame: 2 of {asked} measured, 1 inside" in made.alt
        assert f"1 inside, 2 measured of {asked}" in made.svg
        wide = sorted({float(text) for text in re.findall(r'<rect[^>]* width="([\d.]+)"', made.svg)} - {0})
        assert wide == pytest.approx([100 / asked, 200 / asked, 100], abs=0.001)


def test_the_command_writes_the_reports_beside_the_gradebook(class_of):
    """After `grade` they lie in `out`."""
    folder = class_of({SHOULDER: TOLD}).folder
    done = CliRunner().invoke(app, ["grade", str(folder)])
    assert done.exit_code == 1 and "what the class tells" in done.output
    assert (folder / "out" / "class-report.pdf").read_bytes().startswith(b"%PDF")


def test_figures_that_cannot_be_read_stop_the_command_before_anything_is_written(class_of):
    """Exit 2 with the reason, and no half of the papers in `out`."""
    folder = class_of({SHOULDER: TOLD}, "last_term: nowhere.csv\n").folder
    done = CliRunner().invoke(app, ["grade", str(folder)])
    assert isinstance(done.exception, InputRefused) or done.exit_code == 2
    assert not (folder / "out").exists()
