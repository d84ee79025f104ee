"""Random classes: whatever was measured, however it is graded, a spreadsheet works out what Python did, cell by cell.

The classes are drawn from a seed: one to eight students in mm and inches, sheets half filled, slips, parts made again up
to three times, second readers, corrections, damp wood, work of others, every policy, other levels, judges who
disagree, US and UK words.
Twenty of them are compared each time; FAIRFIT_BOOKS says how many otherwise, `make books` compares two hundred.
"""

from __future__ import annotations

import io
import os
import random
import subprocess
import zipfile
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import openpyxl
import pytest

from course.course import Course
from course.course_folder import read_course
from course.readings import MOISTURE, Judgement, Reading
from lessons.demo import Event, Scenario, Shift, simulated
from rubrics.gradebook import write_gradebook
from rubrics.grading import grade
from rubrics.judged import read_judging
from rubrics.marks import Grades
from shared.units import length

BOOKS = int(os.environ.get("FAIRFIT_BOOKS", "20"))
BATCH = 20
ALWAYS = """<?xml version="1.0" encoding="UTF-8"?>
<oor:items xmlns:oor="http://openoffice.org/2001/registry" xmlns:xs="http://www.w3.org/2001/XMLSchema"
 xmlns:xsi="http://www.w3.org/2001/XMLSchema-instance">
<item oor:path="/org.openoffice.Office.Calc/Formula/Load"><prop oor:name="OOXMLRecalcMode" oor:op="fuse">
<value>0</value></prop></item></oor:items>
"""
"""Settings of a spreadsheet program that works every formula out when it opens a file."""
MM = files("course").joinpath("demo", "plan.yaml").read_text("utf-8")
PLANS = (
    MM[: MM.index("  back:\n")] + MM[MM.index("  door:\n") :],
    MM[: MM.index("  door:\n")],
    files("course").joinpath("demo_inches", "plan.yaml").read_text("utf-8"),
)
"""A door without a framed back, a framed back without a door, and a cabinet in inches."""
LEVELS = (
    "",
    "levels: {Good: {within: 1, share: 1}, Not yet: {share: 0}}\n",
    "levels: {A: {within: 0.8, share: 1}, B: {within: 1.5, share: 0.9}, C: {within: 2.5, share: 1/2}, "
    "D: {within: 4, share: 1/7}, E: {share: 0}}\n",
)


def random_course(chance: random.Random, folder: Path) -> Course:
    """A course folder with a random class, all that was measured and judged in its log."""
    folder.mkdir(parents=True)
    count = chance.choice((1, 2, 3, 4, 8))
    plan = chance.choice(PLANS)
    lines = [f"s{n},Test {n},{n},{chance.choice(('mm', 'in'))}" for n in range(1, count + 1)]
    (folder / "roster.csv").write_text("id,name,bench,units\n" + "\n".join(lines) + "\n", "utf-8")
    (folder / "plan.yaml").write_text(plan, "utf-8")
    (folder / "course.yaml").write_text(
        f"title: Test\nid: test\ndate: 2026-10-05\nterms: {chance.choice(('us', 'uk'))}\nshop: {{machines: [table saw, router table]}}\n"
        f"grading: {{policy: {chance.choice(('better', 'latest', 'capped'))}, sure: {chance.choice((0.5, 0.95, 0.99))}, "
        f"set-up: {{students: {chance.choice((3, 6))}}}, total: {{judged: {chance.choice((0, '1/5', '1/3', 1))}}}}}\n",
        "utf-8",
    )
    own = chance.choice(LEVELS)
    if own:
        rest = files("rubrics").joinpath("grading.yaml").read_text("utf-8")
        (folder / "grading.yaml").write_text(own + rest[rest.index("\npolicy:") :], "utf-8")
    if chance.random() < 0.2 and count > 1 and "  door:" in plan:
        (folder / "made.csv").write_text("student,what,by\ns1,door.stile.left,partner s2\ns1,door.groove,instructor\n", "utf-8")
    course = read_course(folder)
    course.log.add(random_readings(chance, course))
    course.log.judge(random_judgements(chance, course))
    course.fresh()
    return course


def random_readings(chance: random.Random, course: Course) -> Iterator[Reading]:
    """Readings as careless people take them."""
    spread = {tool: Fraction(chance.randint(2, 40), 100) for tool in ("caliper", "rule", "rods", "feeler", "tape")}
    shifts = (Shift("*.tenon.thickness", Fraction(chance.randint(-30, 30), 100), ("s2",)),)
    sizes = [q.name for q in course.cabinet.graph.quantities if q.read]
    events = tuple(
        Event(student.id, chance.choice(sizes), 0, Fraction(chance.choice((-100, -25, -3, 1, 12)), 10), "")
        for student in course.students
    )
    scenario = Scenario(str(chance.random()), spread, shifts, events, {}, {})
    for student in course.students:
        filled = chance.choice((0, 0.3, 0.9, 1))
        for (name, place), text in simulated(course, student, scenario).items():
            if chance.random() > filled:
                continue
            value = length(text, student.unit)
            one = Reading(student.id, name, place, 1, text, value, source="a.xlsx", cell=f"E{place}")
            yield one
            attempt = 1
            while chance.random() < 0.08 and attempt < 3:
                attempt += 1
                moved = max(value + Fraction(chance.randint(-60, 60), 64) * Fraction("0.396875"), Fraction(0))
                yield replace(one, attempt=attempt, value=moved, raw=f"{float(moved)} mm", note="cut again")
            if chance.random() < 0.03:
                slip = value + chance.choice((100, Fraction("25.4"), -value / 2))
                yield replace(one, value=slip, raw=f"{float(slip)} mm", source="b.xlsx")
            if chance.random() < 0.03:
                other = value + Fraction(chance.randint(-3, 3), 10)
                yield replace(one, value=max(other, Fraction(0)), raw=f"{float(other)} mm", reader="second")
            if chance.random() < 0.02:
                yield replace(one, value=None, raw="six", reader="", held="'six' is not a length", source="c.xlsx")
        for part in course.cabinet.parts:
            if chance.random() < 0.1:
                wet = Fraction(chance.randint(5, 16))
                yield Reading(student.id, part.name + MOISTURE, 1, 1, str(wet), wet, source="a.xlsx")


def random_judgements(chance: random.Random, course: Course) -> Iterator[Judgement]:
    """Levels by up to two judges, some of a level that is no longer known."""
    judging = read_judging()
    for student in course.students:
        for item in judging.all:
            for judge in ("A", "B"):
                if chance.random() < 0.5:
                    level = chance.choice((*judging.words_of(item), "Splendid"))
                    yield Judgement(student.id, item.id, judge, level, source="judged.csv")


def cells(book: bytes) -> dict[tuple[str, int, int], object]:
    """What every cell of a workbook says, by sheet, row and column; empty cells left out."""
    sheets = openpyxl.load_workbook(io.BytesIO(book), read_only=True, data_only=True)
    return {
        (sheet.title, row, column): value
        for sheet in sheets
        for row, line in enumerate(sheet.iter_rows(values_only=True), 1)
        for column, value in enumerate(line, 1)
        if value not in (None, "")
    }


def differences(one: bytes, other: bytes) -> list[str]:
    """Cells of two workbooks that do not say the same."""
    ours, theirs = cells(one), cells(other)
    found = []
    for place in sorted(ours.keys() | theirs.keys()):
        a, b = ours.get(place), theirs.get(place)
        if isinstance(a, (int, float)) and isinstance(b, (int, float)):
            if abs(a - b) <= 1e-8:
                continue
        elif str(a) == str(b) and not str(a).startswith("#"):
            continue
        found.append(f"{place}: {a!r} is {b!r}")
    return found


def recalculated(books: dict[str, bytes], folder: Path, office: str) -> dict[str, bytes]:
    """The workbooks after a spreadsheet program has worked out all formulas, all in one call."""
    profile = folder / "profile" / "user"
    profile.mkdir(parents=True, exist_ok=True)
    (profile / "registrymodifications.xcu").write_text(ALWAYS, "utf-8")
    paths = [folder / f"{name}.xlsx" for name in books]
    for path, data in zip(paths, books.values(), strict=True):
        path.write_bytes(data)
    subprocess.run(
        [office, "--headless", f"-env:UserInstallation=file://{folder}/profile", "--convert-to",
         "xlsx:Calc MS Excel 2007 XML", "--outdir", str(folder / "out"), *map(str, paths)],
        check=True, capture_output=True, timeout=900,
    )  # fmt: skip
    return {name: (folder / "out" / f"{name}.xlsx").read_bytes() for name in books}


@pytest.mark.parametrize("first", range(0, BOOKS, BATCH))
def test_a_spreadsheet_works_out_what_was_graded(first, tmp_path, office):
    """Every cell of the gradebooks of random classes, after all formulas were worked out again."""
    books, graded = {}, []
    for seed in range(first, min(first + BATCH, BOOKS)):
        course = random_course(random.Random(f"class {seed}"), tmp_path / f"course{seed}")
        graded.append(grade(course))
        books[f"book{seed}"] = write_gradebook(graded[-1])
    found = {name: differences(books[name], data) for name, data in recalculated(books, tmp_path, office).items()}
    assert {name: told[:10] for name, told in found.items() if told} == {}
    assert all(zipfile.is_zipfile(io.BytesIO(data)) for data in books.values())
    assert said_of(graded) == SAID if first == 0 else said_of(graded) <= SAID


SAID = {"several attempts", "set-up", "elsewhere", "measure again", "waiting", "damp", "not measured", "every policy"}


def said_of(graded: list[Grades]) -> set[str]:
    """What happens in these classes, so that the comparison is known to have met it: the first twenty meet all."""
    marks = [mark for one in graded for mark in one.marks]
    met = {
        "several attempts": any(mark.attempt > 1 for mark in marks),
        "set-up": any(mark.setup_shift for mark in marks),
        "elsewhere": any(mark.elsewhere for mark in marks),
        "measure again": any(mark.again for mark in marks),
        "waiting": any(one.waiting for each in graded for one in each.students),
        "damp": any(mark.wood for mark in marks),
        "not measured": any(one.not_measured for each in graded for one in each.students),
        "every policy": len({one.rules.policy for one in graded}) == 3,
    }
    return {word for word, found in met.items() if found}
