"""Sketches of where to measure: a numbered one for each way, on paper and in the workbook."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest
from openpyxl import load_workbook

from course.course import Course
from lessons.packet import packet, read_lessons
from rubrics.check_files import read_checks
from rubrics.fit_rows import fit_rows, where_to_measure
from rubrics.sheet import measurement_workbook
from rubrics.sheet_columns import WHERE
from rubrics.where import BUILT_IN, NUMBERED, WAYS, Asked, read_where, where_drawing
from shared.problems import InputRefused
from shared.render.html import write_html
from shared.render.picture import write_png


@pytest.fixture
def course(course_of) -> Course:
    return course_of()


def numbers(svg: str) -> list[str]:
    return re.findall(r">(\d)</text>", svg)


def test_every_check_of_the_trade_has_a_sketch():
    """All items of the built-in checks that are read directly; the two that are worked out of six sizes have none."""
    bare = [(spec.name, item.title) for spec in read_checks().definitions for item in spec.items if not item.at]
    assert {name for name, _ in bare} <= {"case_square"}
    assert {item.at for spec in read_checks().definitions for item in spec.items} - {""} <= set(WAYS)


@pytest.mark.parametrize("way", WAYS)
@pytest.mark.parametrize("places", [1, 2, 3])
def test_a_sketch_has_as_many_numbers_as_there_are_places(way: str, places: int):
    """Where the number of places may differ the sketch follows it; elsewhere it is fixed."""
    made = where_drawing("Where", [Asked(way, "Check", "size", places)], read_where())
    found = numbers(made.svg)
    if way in NUMBERED:
        assert found == [str(n) for n in range(1, places + 1)]
    else:
        assert found in ([], ["1", "2", "3", "4"])


def test_what_is_measured_alike_shares_a_sketch():
    """Width and depth of a dado are read at the same places, and both are named below one sketch."""
    asked = [Asked("along", "Dado", "dado width", 3), Asked("along", "Dado", "dado depth", 3)]
    made = where_drawing("Where", asked, read_where())
    assert numbers(made.svg) == ["1", "2", "3"]
    assert made.alt == "dado width, dado depth: from end to end, the first and the last near the ends."


def test_long_lists_are_named_by_their_check():
    """What nobody would read below a sketch gives way to the title of the check."""
    asked = [Asked("diagonals", "Case square", f"diagonal of the {side}, bottom left to top right", 1)
             for side in ("front", "back", "middle")]  # fmt: skip
    assert where_drawing("Where", asked, read_where()).alt.startswith("Case square: corner to corner")


def test_one_place_is_in_the_middle():
    """A single reading has no first and last."""
    made = where_drawing("Where", [Asked("along", "Check", "stile width", 1)], read_where())
    assert made.alt == "stile width: in the middle."


def test_a_gap_read_once_on_each_side_is_shown_on_all_four():
    """One mark across the gap on the left, above and below beside the numbered one; three marks for three places."""
    for places, says in ((1, "in the middle of each side"), (3, "on each side, from corner to corner")):
        made = where_drawing("Where", [Asked("sides", "Check", "gap", places)], read_where())
        assert made.svg.count('stroke-width="0.9"') == 3 * places
        assert made.alt == f"gap: {says}."


def test_checks_without_a_sketch_draw_nothing():
    """No empty picture is printed."""
    assert where_drawing("Where", [Asked("", "Own check", "size", 2)], read_where()) is None


def test_the_paper_sheet_shows_where(course):
    """Once, after the tables of all stages."""
    page = write_html(packet(course, course.students[0], read_lessons(course)).document)
    sheet = page[page.index("<h2>Where to measure") :]
    assert where_to_measure(course, fit_rows(course, course.students[0])).svg in sheet


def test_the_workbook_shows_where(course):
    """A picture for each stage on a sheet of its own, with the same in words above it; the same bytes every time."""
    data = measurement_workbook(course, course.students[0])
    sheet = load_workbook(io.BytesIO(data))[WHERE]
    stages = list(dict.fromkeys(row.stage for row in fit_rows(course, course.students[0])))
    assert len(sheet._images) == len(stages) and sheet.protection.sheet
    words = " ".join(str(cell.value) for (cell,) in sheet.iter_rows(max_col=1) if cell.value)
    assert "faces flush: step at a joint: one place at each corner" in words
    assert data == measurement_workbook(course, course.students[0])


def test_a_course_has_words_of_its_own(course):
    """A file of the same name in the course folder is read instead."""
    text = BUILT_IN.read_text("utf-8").replace("at different tenons", "at every tenon, near the shoulder")
    (course.folder / "where.yaml").write_text(text, "utf-8")
    own = [row for row in fit_rows(course, course.students[0]) if row.stage == "frame"]
    assert "at every tenon, near the shoulder" in where_to_measure(course, own).alt


def test_words_that_are_missing_are_told(tmp_path: Path):
    """Each by its name, with the cure."""
    text = re.sub(r"^(slide|once):.*\n", "", BUILT_IN.read_text("utf-8"), flags=re.M)
    (tmp_path / "where.yaml").write_text(text, "utf-8")
    with pytest.raises(InputRefused) as refused:
        read_where(tmp_path)
    assert [(p.code, p.says, p.do) for p in refused.value.problems] == [
        ("B031", f"'{way}' has no words", "Add it, as in the built-in where.yaml.") for way in ("once", "slide")
    ]


def test_a_sketch_that_does_not_exist_is_told(course):
    """The check file is named, and what was meant."""
    (course.folder / "checks").mkdir()
    text = (
        "check: own\nstage: frame\nfor: [frame and panel]\nitems:\n"
        "  - {title: t, reads: [groove.width], at: alongg, lower: -1 mm, upper: 1 mm}\n"
    )
    (course.folder / "checks" / "own.yaml").write_text(text, "utf-8")
    (problem,) = read_checks(course.folder).problems
    assert problem.says == "at is 'alongg'" and "Did you mean 'along'?" in problem.do


def test_a_picture_is_as_large_as_its_drawing():
    """A square of 25.4 mm with 150 dots in an inch is 150 dots wide."""
    svg = '<svg xmlns="http://www.w3.org/2000/svg" width="25.4mm" height="25.4mm" viewBox="0 0 1 1"><rect width="1" height="1"/></svg>'
    data = write_png(svg)
    assert data[:8] == b"\x89PNG\r\n\x1a\n"
    assert [int.from_bytes(data[start : start + 4], "big") for start in (16, 20)] == [150, 150]
