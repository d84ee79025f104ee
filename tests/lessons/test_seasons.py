"""The class sheet of the seasons: what is drawn and said for each wood, and whose gap is too narrow."""

from __future__ import annotations

import re
from collections.abc import Callable
from importlib.resources import files

import pytest

from course.course import Course
from course.course_folder import read_course
from course.seasons import PanelYear, frame_years, panel_years
from lessons.packet import read_lessons
from lessons.seasons import chart, frame_rows, seasons_sheet, sections, wider
from shared.render.html import write_html
from shared.render.pdf import write_pdf
from shared.render.tree import words
from shared.units import INCHES, MM

STOCK = """id,role,material,thickness 1,moisture
P1,panel,cherry,12,8
P2,panel,red oak,12,9
P3,panel,"Pine, sugar",12,
"""
ROSTER = """id,name,piece.panel,stock.panel.build,stock.panel.cut
s1,Ada Fenwick,P1,solid,
s2,Bo Larkspur,P1,solid,
s3,Cleo Marsh,P2,solid,quarter-sawn
s4,Dov Ashgrove,P3,solid,
s5,Enid Rowanwood,P1,veneered,
"""


@pytest.fixture
def course(course_of: Callable[..., Course]) -> Course:
    return course_of(roster=ROSTER, stock=STOCK)


def panels(course: Course) -> list[PanelYear]:
    return [panel for student in course.students for panel in panel_years(course, student)]


def said(course: Course) -> str:
    return " ".join(plain(words(seasons_sheet(course, read_lessons(course)).document.tree)).split())


def plain(text: str) -> str:
    return text.replace("\u00a0", " ").replace("\u2011", "-")


def test_each_wood_in_use_has_its_section(course: Course):
    """Species, cut and build apart; a figure from memory says so beside the name."""
    assert [s.title for s in sections(panels(course), MM)] == [
        "cherry, flat-sawn, solid",
        "red oak, quarter-sawn, solid",
        "Pine, sugar, flat-sawn, solid (from memory)",
        "cherry, veneered",
    ]
    cherry, _, pine, veneered = sections(panels(course), MM)
    assert cherry.basis.startswith("0.00248 of the width for each percent of moisture (Wood Handbook")
    assert pine.basis.endswith("From memory: check it before you rely on it.")
    assert veneered.basis == "It moves so little that it is counted as still."


def test_students_of_equal_panels_share_a_line(course: Course):
    """The 278 door panel in cherry: 2.8 in all, room 2.7 dry, 2.0 built, 1.3 damp, gap 3.7 to 2.3, held 7.1, needed 1.9, usual 1/8 in."""
    row = next(r for r in next(sections(panels(course), MM)).rows if plain(r.panels) == "D-P")
    assert [plain(text) for text in (row.students, row.moisture, row.width, row.change, row.room, row.gap)] == [
        "s1 AF, s2 BL", "8 %*", "278.0", "2.8", "2.7; 2.0; 1.3", "3.7; 3.0; 2.3",
    ]  # fmt: skip
    assert (row.held, row.best, row.needed, row.usual, row.concerns) == ("7.1; 3.7", "279.6", "1.9", "3.2", ())


def test_what_is_still_is_told_in_one_line(course: Course):
    """All veneered panels of a student alike: room and gap of the whole year, and what is usual."""
    veneered = list(sections(panels(course), MM))[-1]
    assert veneered.rows == ()
    assert [plain(line) for line in veneered.still] == [
        "B-P1, B-P2, D-P of s5 ER: room 2.0 mm, gap 1.5 mm, usually about 1.6 mm."
    ]


def test_choices_that_need_a_wider_gap_are_named(course_of, class_plan: str):
    """A gap of 1.5 is too narrow for the solid door panels; the veneered one keeps it."""
    plan = class_plan.replace("    use: door", "    use: door\n    panel.shadow_gap: 1.5")
    course = course_of(roster=ROSTER, stock=STOCK, plan=plan)
    assert [plain(line) for line in wider(panels(course), MM)] == [
        "s1 AF, s2 BL: door, D-P, cherry, flat-sawn, solid: the gap is 1.5 mm, about 1.9 mm is needed.",
        "s4 DA: door, D-P, Pine, sugar, flat-sawn, solid (from memory): the gap is 1.5 mm, about 1.6 mm is needed.",
    ]
    assert "These choices need a wider shadow gap" in said(course)


def test_nobody_needs_a_wider_gap(course: Course):
    """When all gaps stay open the sheet says so."""
    assert list(wider(panels(course), MM)) == []
    assert "No choice needs a wider shadow gap" in said(course)


def test_a_panel_that_bottoms_out_is_told(course_of, class_plan: str):
    """Flat-sawn red oak, 2.05 on each side, has nothing left in the damp season."""
    plan = class_plan.replace("panel: {material: cherry", "panel: {material: red oak")
    assert (
        "it may swell to the bottom of its groove: cut in the driest season it has -0.1 mm left there in the dampest"
        in said(course_of(plan=plan))
    )


def test_frames_have_their_reveals(course: Course):
    """Stiles of 50 and 50 change by 1.0 in all; the door's reveal of 1.5 goes from 1.7 over it to 1.3."""
    frames = [frame for student in course.students for frame in frame_years(course, student)]
    back, door = frame_rows(frames, MM)
    assert [plain(t) for t in (door.frame, door.students, door.stiles, door.change, door.reveal)] == [
        "door", "all", "100.0", "1.0", "1.7; 1.5; 1.3",
    ]  # fmt: skip
    assert (back.closes, door.closes) == (False, False)


def test_a_reveal_that_may_close_is_marked(course_of, class_plan: str):
    """The back's reveal of 0.4 is less than half of what its stiles change."""
    assert "may close" in said(course_of(plan=class_plan.replace("reveal: 0.5", "reveal: 0.4")))
    assert "may close" not in said(course_of(plan=class_plan))


def test_the_drawing_is_to_scale(course: Course):
    """Across the section, room and gap of each season have one scale; the field moves against the dashed line."""
    panel = next(p for p in panels(course) if p.panel == "door.panel.1")
    drawing = chart(panel, MM)
    scale = float(re.search(r'data-scale="([\d.]+)"', drawing.svg)[1])
    starts = {
        name: [float(x) for x in re.findall(rf'<rect x="([-\d.]+)"[^>]*data-name="{name}"', drawing.svg)]
        for name in ("tongue", "field")
    }
    gap, fit = panel.gap(panel.fit), panel.fit
    seasons = ((fit.driest, gap.driest), (fit.built, gap.built), (fit.dampest, gap.dampest))
    assert starts["tongue"] == pytest.approx([float(at.clearance) * scale for at, _ in seasons], abs=0.001)
    assert starts["field"] == pytest.approx([(10.5 + float(open_)) * scale for _, open_ in seasons], abs=0.001)
    assert plain(drawing.alt) == (
        "Section through the stile and the edge of a 278.0 mm panel of cherry, flat-sawn, solid. "
        "driest, 6 %: about room 2.7 mm, gap 3.7 mm; as built, 8 %: about room 2.0 mm, gap 3.0 mm; "
        "dampest, 10 %: about room 1.3 mm, gap 2.3 mm."
    )


def test_inches_are_shown_in_parts(course: Course):
    """A class in inches reads the same panel in sixty-fourths."""
    row = next(r for r in next(sections(panels(course), INCHES)).rows if plain(r.panels) == "D-P")
    assert [plain(t) for t in (row.width, row.change, row.usual)] == ["10 15/16", "7/64", "1/8"]


def test_it_is_about_and_never_graded(course: Course):
    """The sheet says so, names no student, and marks the usual gap as common practice."""
    text = said(course)
    assert "all of them about: average figures describe a species, not a board. Nothing here is graded." in text
    assert "Usual gap is common practice: 1/16 in for a veneered or sheet panel, 1/8 in for a solid one" in text
    assert "Fenwick" not in text


def test_a_climate_out_of_order_is_said(course_of, class_plan: str):
    """Nothing is worked out, and the sheet says what to do."""
    text = said(course_of(plan=class_plan + "climate: {dry: 9}\n"))
    assert "The moisture contents of the climate are not in order; check says what to mend." in text
    assert "Gap needed" not in text.partition("How to read this")[0]


@pytest.mark.parametrize("name", ["demo", "demo_inches"])
def test_it_is_written_as_html_and_pdf(name: str):
    """Both demo classes have the sheet, with a drawing for each wood."""
    course = read_course(files("course").joinpath(name))
    sheet = seasons_sheet(course, read_lessons(course))
    assert sheet.file_name == "seasons"
    html = write_html(sheet.document)
    assert html.count("<svg") == len({p.wood for p in panels(course)})
    assert write_pdf(sheet.document).startswith(b"%PDF")
