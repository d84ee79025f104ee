"""How long a class takes. Run with `make bench`; nothing here is part of the tests, and no test is timed."""

from __future__ import annotations

import random
import resource
import shutil
import subprocess
import sys
from collections.abc import Iterator
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pypdfium2
import pytest

from course.changes import given_now, hand_out
from course.course import Course
from course.course_folder import read_course
from course.order import plan_order
from course.quantities import Given, Origin
from course.readings import Reading
from lessons.demo import filled_workbooks, read_scenario, simulated
from lessons.packet import packet, read_lessons
from lessons.prepare import prepare_course
from rubrics.gradebook import write_gradebook
from rubrics.grading import grade
from rubrics.intake import collect
from shared.render.files import write_file
from shared.render.html import write_html
from shared.render.pdf import write_pdf
from shared.units import length

TOP = Path(__file__).parents[2]
SIMULATED = 260
"""Students whose work is made up one by one: twenty of each of the demo's thirteen."""
SIGNED = 1000
"""Students with sign-offs at most: a file with those of many more is larger than is read."""
DEMO = Path(str(files("course").joinpath("demo")))


def course_with(folder: Path, students: int) -> Course:
    """The demo course with as many invented students, the demo's thirteen over and over."""
    shutil.copytree(DEMO, folder)
    (folder / "made.csv").unlink(missing_ok=True)  # it names students of the demo
    roster = (DEMO / "roster.csv").read_text("utf-8").splitlines()
    rows = [roster[1 + i % 13].replace(f"s{1 + i % 13:02}", f"n{i + 1:04}", 1) for i in range(students)]
    (folder / "roster.csv").write_text("\n".join([roster[0], *rows]) + "\n", "utf-8")
    signed = (DEMO / "signoffs.csv").read_text("utf-8").splitlines()
    machines = [line.split(",", 1)[1] for line in signed[1:] if line.startswith("s01,")]
    lines = [f"n{i + 1:04},{machine}" for i in range(min(students, SIGNED)) for machine in machines]
    (folder / "signoffs.csv").write_text("\n".join([signed[0], *lines]) + "\n", "utf-8")
    return read_course(folder)


def typed(course: Course) -> Iterator[Reading]:
    """Invented readings of every student; in a large class those of the first ones, who have the same stock, again."""
    scenario = read_scenario((DEMO / "scenario.yaml").read_text("utf-8"))
    texts = [simulated(course, student, scenario) for student in course.students[:SIMULATED]]
    for number, student in enumerate(course.students):
        for (quantity, place), text in texts[number % SIMULATED].items():
            yield Reading(student.id, quantity, place, 1, text, length(text, student.unit))


def measured(course: Course) -> Course:
    """The course with every student's invented readings in its log, and with what the sizes rested on then."""
    course.log.add(typed(course), given_now(course, {student.id for student in course.students}))
    course.fresh()
    return course


def test_ten_thousand_students_quantities(benchmark):
    """All quantities of 10,000 students, each with own stock and four readings of the real case."""
    graph = read_course(DEMO).cabinet.graph
    chance = random.Random(1)

    def off(name: str) -> Given:
        return Given(graph.base[graph.index[name]] + Fraction(chance.randint(-20, 20), 10), Origin.READING)

    names = ("divider.upper.width", "divider.upper.height", "door.stile.left.width", "back.groove.width")
    given = [({"stock.case.thickness": off("stock.case.thickness")}, {n: off(n) for n in names}) for _ in range(10_000)]
    benchmark.pedantic(lambda: [graph.evaluate(settings, found) for settings, found in given], rounds=1)


def test_one_student_after_a_reading(benchmark):
    """One student's quantities after one more reading."""
    course = read_course(DEMO)
    settings = course.without_log(course.students[0]).settings
    found = {"divider.upper.width": Given(Fraction("365.2"), Origin.READING)}
    benchmark(lambda: course.cabinet.graph.evaluate(settings, found))


def test_one_student_re_derived(benchmark, tmp_path):
    """One student's values out of the log, cut sizes and readings: what is done after a reading is taken in."""
    course = measured(course_with(tmp_path / "course", 13))
    student = course.students[0]

    def values() -> Fraction:
        course.fresh()
        return course.values(student).number("door.rail.top.length")

    benchmark(values)


@pytest.mark.parametrize(
    "words", [("why", "n0001", "door.rail.top.length", "--moves"), ("changes", "n0001")], ids=["why", "changes"]
)
def test_a_short_answer_as_a_whole_process(benchmark, tmp_path, words):
    """From the start of Python to its end, as at the command line, on a class that has lists and has measured all."""
    command, *rest = words
    course = course_with(tmp_path / "course", 13)
    for student in course.students:
        hand_out(course, student)
    folder = measured(course).folder
    call = [sys.executable, "-m", "lessons", command, str(folder), *rest]
    done = benchmark.pedantic(lambda: subprocess.run(call, capture_output=True, cwd=TOP), rounds=10)
    assert done.returncode == (1 if command == "changes" else 0) and done.stdout


def test_one_packet_as_pdf(benchmark):
    """One student's packet, rows to PDF."""
    course = read_course(DEMO)
    lessons = read_lessons(course)
    benchmark.pedantic(lambda: write_pdf(packet(course, course.students[0], lessons).document), rounds=3)


@pytest.mark.benchmark(group="one packet to PDF")
@pytest.mark.parametrize("writer", ["ours", "weasyprint"])
def test_pages_per_second(benchmark, writer):
    """The same packet by our PDF writer from its tree, and by WeasyPrint from our HTML of it, in one run.

    WeasyPrint is no part of the project: where it is not installed that half is left out. Pages per second stand
    among the extra figures.
    """
    course = read_course(DEMO)
    document = packet(course, course.students[0], read_lessons(course)).document
    if writer == "ours":
        made = benchmark.pedantic(lambda: write_pdf(document), rounds=3, warmup_rounds=1)
    else:
        other = pytest.importorskip("weasyprint", reason="WeasyPrint is not installed: only our own writer is measured")
        page = write_html(document)
        made = benchmark.pedantic(lambda: other.HTML(string=page).write_pdf(), rounds=2)
    pages = len(pypdfium2.PdfDocument(made))
    benchmark.extra_info |= {"pages": pages, "pages per second": round(pages / benchmark.stats["mean"], 1)}


@pytest.mark.parametrize("students", [24, 240])
def test_prepare_a_class(benchmark, tmp_path, students):
    """All papers of a class: HTML, PDF, workbooks, class sheets."""
    course = course_with(tmp_path / "course", students)
    benchmark.pedantic(lambda: prepare_course(course), rounds=1)


@pytest.mark.parametrize("students", [24, 1000])
def test_collect_a_class(benchmark, tmp_path, students):
    """Reading a class's filled workbooks into the log."""
    course = course_with(tmp_path / "course", students)
    filled_workbooks(course, tmp_path / "in")
    benchmark.pedantic(lambda: collect(course, [tmp_path / "in"]), rounds=1)


@pytest.mark.parametrize("students", [24, 240, 1000, 10_000])
def test_collect_csv_of_a_class(benchmark, tmp_path, students):
    """Reading a class's CSV files, 240 students in each, into the log."""
    course = course_with(tmp_path / "course", students)
    lines: dict[int, list[str]] = {}
    for one in typed(course):
        cells = (one.student, one.quantity, one.place, one.raw, course.student(one.student).unit)
        lines.setdefault(int(one.student[1:]) // 240, []).append(",".join(map(str, cells)))
    for number, rows in lines.items():
        write_file(tmp_path / "in" / f"class-{number}.csv", "\n".join(["student,quantity,place,reading,unit", *rows]))
    benchmark.pedantic(lambda: collect(course, [tmp_path / "in"]), rounds=1)
    benchmark.extra_info |= used(students)


@pytest.mark.parametrize("students", [24, 240, 1000, 10_000])
def test_grade_a_class(benchmark, tmp_path, students):
    """Grading a class from the log."""
    course = measured(course_with(tmp_path / "course", students))
    benchmark.pedantic(lambda: grade(course), rounds=1)
    benchmark.extra_info |= used(students)


@pytest.mark.parametrize("students", [24, 240, 1000])
def test_gradebook_of_a_class(benchmark, tmp_path, students):
    """Writing a gradebook; ten thousand students do not go into one."""
    grades = grade(measured(course_with(tmp_path / "course", students)))
    book = benchmark.pedantic(lambda: write_gradebook(grades), rounds=1)
    benchmark.extra_info |= {**used(students), "MB": round(len(book) / 1e6, 1)}


def used(students: int) -> dict[str, int]:
    """For how many students, and the most memory this process took so far: run one bench alone to know its own."""
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss
    return {"students": students, "MB of memory at most": peak // 1024}


@pytest.mark.parametrize("students", [1, 24, 240])
def test_order_for_a_class(benchmark, tmp_path, students):
    """What to buy and how to cut it: how the time grows with the class, sheets and boards with their bounds."""
    course = course_with(tmp_path / "course", students)
    order = benchmark.pedantic(lambda: plan_order(course), rounds=1)
    benchmark.extra_info.update(
        sheets=len(order.cut_sheets), boards=len(order.cut_boards),
        gaps=[lot.plan.gap for plan in order.sheets for lot in plan.lots],
        board_gaps=[round(plan.layout.plan.gap / (plan.layout.plan.lower_bound or 1), 4) for plan in order.boards],
    )  # fmt: skip
