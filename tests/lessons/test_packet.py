"""Packets: everything for one student, nothing of anybody else, in the order of the work."""

from __future__ import annotations

import re
from collections.abc import Callable
from dataclasses import replace
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pypdfium2
import pytest
from typer.testing import CliRunner

from course.course import Course
from course.course_folder import read_course
from course.cutlist import cut_rows
from course.cutlist_files import cutlist_document
from course.readings import Reading
from lessons.commands import app
from lessons.packet import Only, Packet, file_name, packet, read_lessons
from rubrics.fit_rows import fit_rows
from rubrics.grading_rules import read_rules
from shared.render.html import write_html
from shared.render.pdf import write_pdf
from shared.render.tree import words

SIGNOFFS = """student,machine,lesson,test,score,demonstration,permission
s1,router table,2026-09-14,2026-09-15,100,2026-09-16,2026-09-17
"""
ROSTER = """id,name,bench,units,hand,large_print,hand_route,time_factor
s1,Ada Test,1,mm,right,no,,1
s2,Bo Secret,2,in,left,yes,groove edges,1.5
"""


def made(course: Course, student: str = "s1", only: str = "") -> Packet:
    return packet(course, course.student(student), read_lessons(course), Only(operation=only) if only else None)


def headings(found: Packet) -> list[str]:
    return [words(node["c"]) for node in found.document.tree if node["t"] == "h" and node["level"] == 1]


def plain(found: Packet) -> str:
    return words(found.document.tree).replace("\u00a0", " ").replace("\u2011", "-")


def test_a_packet_has_cover_safety_contents_list_sheets_and_fit_checks_in_order(
    course_of: Callable[..., Course],
) -> None:
    """The sheets come in the order in which their operations first come up."""
    course = course_of(roster=ROSTER)
    found, lessons = made(course), read_lessons(course)
    titles = headings(found)
    assert titles[1:3] == ["Safety", "Contents"]
    assert titles[3:5] == ["Cut list", "The cabinet and its parts"] and titles[-1] == "Fit-check sheet"
    assert titles[5:-1] == [f"{i}. {s[0].operation.title}" for i, s in enumerate(lessons.sheets, 1)]
    assert len(lessons.sheets) >= 30 and found.problems == ()


def test_every_sheet_starts_on_a_page_of_its_own(course_of: Callable[..., Course]) -> None:
    """Before each heading of the first level, but the first, there is a page break."""
    tree = made(course_of(roster=ROSTER)).document.tree
    places = [i for i, node in enumerate(tree) if node["t"] == "h" and node["level"] == 1]
    assert all(tree[i - 1]["t"] == "pagebreak" for i in places[1:])


def test_the_contents_list_every_step_with_its_sheet(course_of: Callable[..., Course]) -> None:
    """The joints of the door are eased after those of the back, and both point to one sheet."""
    course = course_of(roster=ROSTER)
    tree = made(course).document.tree
    table = next(n for n in tree if n["t"] == "table" and words(n["head"][1]) == "Sheet")
    rows = [[words(cell) for cell in row] for row in table["rows"]]
    eased = [row for row in rows if row[2] == "Ease the joints to fit"]
    assert [row[3] for row in eased] == ["back", "door"] and len({row[1] for row in eased}) == 1
    assert [int(row[0]) for row in rows] == list(range(1, len(read_lessons(course).works) + 1))


def test_a_packet_holds_one_students_data_only(course_of: Callable[..., Course]) -> None:
    """No other name, no accommodation, no grade: nothing says why a page looks as it does."""
    course = course_of(roster=ROSTER)
    assert "Bo Secret" not in plain(made(course, "s1")) + made(course, "s1").document.left
    theirs = plain(made(course, "s2")).lower().partition("how a fit is graded")[0]
    for word in (
        "ada test",
        "large print",
        "time factor",
        "1.5 ",
        "accommodation",
        "grade",
    ):  # the rule itself is told to all
        assert word not in theirs, word


def test_a_name_like_a_formula_a_tag_or_a_template_is_shown_as_text(course_of: Callable[..., Course]) -> None:
    """Never run: neither as HTML nor as a template nor as Markdown."""
    name = "=1+1 <b>{{ page }}</b> *x* | y"
    course = course_of(roster=f'id,name,bench,units\ns1,"{name}",1,mm\n')
    found = made(course)
    html = write_html(found.document)
    assert name in plain(found)
    assert "=1+1 &lt;b&gt;{{ page }}&lt;/b&gt; *x* | y" in html and "<b>{{" not in html
    assert set(file_name(found.student)) <= set("abcdefghijklmnopqrstuvwxyz0123456789-_")


def test_a_line_whose_opening_is_not_measured_is_provisional_and_says_what_to_measure(
    course_of: Callable[..., Course],
) -> None:
    """The rails of the back wait for the recess; when it is read the line shows old and new."""
    course = course_of(roster=ROSTER)
    assert "B-RT, B-RB  *: first measure" in plain(made(course))
    read = [Reading("s1", "case.back.width", p, 1, "383.0", Fraction(383), "rods") for p in (1, 2, 3)]
    course.log.add(read)
    course.fresh()
    text = plain(made(course))
    # 383.0 - 2 x 0.5 - 2 x 45 = 292.0 from shoulder to shoulder, and 2 x 10.0 for the tenons.
    assert "311.0 → 312.0" in text


def test_a_broken_lesson_file_is_told_with_file_and_line_and_the_other_sheets_are_made(
    course_folder: Callable[..., Path],
) -> None:
    """A course's own file with a misspelt caution; the built-in page stands in for it."""
    folder = course_folder(roster=ROSTER)
    (folder / "lessons").mkdir()
    (folder / "lessons" / "21_groove_edges.md").write_text("---\noperation: groove edges\nnumber: x\n---\n", "utf-8")
    course = read_course(folder)
    lessons = read_lessons(course)
    assert any(p.place.file == "21_groove_edges.md" and p.place.line for p in lessons.problems)
    assert len(headings(packet(course, course.student("s1"), lessons))) > 30


def test_a_sheet_that_cannot_be_laid_out_is_left_out_and_told(course_folder: Callable[..., Path]) -> None:
    """A course's own template with a name it does not know is told with file and line; cover and list are made."""
    folder = course_folder(roster=ROSTER)
    (folder / "lessons").mkdir()
    (folder / "lessons" / "operation.md.j2").write_text("# {{ page.title }}\n\n{{ page.nonsense }}\n", "utf-8")
    course = read_course(folder)
    found = made(course)
    assert headings(found)[-1] == "Fit-check sheet" and "Cut list" in headings(found)
    assert found.problems and all(str(p.place) == "operation.md.j2:3" for p in found.problems)


def test_one_operation_can_be_printed_alone(course_of: Callable[..., Course]) -> None:
    """Its sheet keeps its number."""
    course = course_of(roster=ROSTER)
    number = next(i for i, s in enumerate(read_lessons(course).sheets, 1) if s[0].operation.name == "groove edges")
    assert headings(made(course, only="groove edges")) == [f"{number}. Groove the inner edges"]


def test_another_cabinet_in_inches_needs_no_other_code(course_of: Callable[..., Course], two_bays_plan: str) -> None:
    """Uprights, unequal bays, a pair of doors, haunched tenons: cover, list and sheets are made in inches."""
    course = course_of(plan=two_bays_plan, roster="id,name,bench,units\ns1,Ada Test,1,in\n")
    found = made(course)
    assert found.problems == ()
    text = plain(found)
    assert "Cut the mortises" in text or "mortise" in text.lower()
    assert "30 in wide and 24 in high" in text and "Sizes in inches" in text


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("student", ["s1", "s2"])
def test_the_pdf_says_what_the_tree_says_on_every_paper_and_in_large_print(
    course_of: Callable[..., Course], paper: str, student: str
) -> None:
    """Cover and cut list and one sheet are printed without anything running off the page, and no page is blank."""
    text = f"title: Test course\nid: test\ndate: 2026-10-05\npaper: {paper}\nshop: {{machines: [router table]}}\n"
    found = made(course_of(course=text, roster=ROSTER), student)
    document = pypdfium2.PdfDocument(write_pdf(found.document))
    pages = [document[i].get_textpage().get_text_range() for i in range(len(document))]
    assert document[0].get_width() == pytest.approx(595.3 if paper == "a4" else 612, abs=0.5)
    assert all(len(page.split()) > 12 for page in pages)
    whole = " ".join(" ".join(pages).split())
    for heading in headings(found):
        assert heading in whole


def test_prepare_writes_packets_workbooks_and_class_sheets_and_says_so(course_folder: Callable[..., Path]) -> None:
    """One packet as HTML and PDF and one workbook for each student, one of the class; exit status 0."""
    folder = course_folder(roster=ROSTER, signoffs=SIGNOFFS)
    result = CliRunner().invoke(app, ["prepare", str(folder)])
    assert result.exit_code == 0, result.output
    assert sorted(p.name for p in (folder / "out" / "packets").iterdir()) == [
        "s1-Ada-Test.html", "s1-Ada-Test.pdf", "s2-Bo-Secret.html", "s2-Bo-Secret.pdf",
    ]  # fmt: skip
    sheets = [path.name for path in sorted((folder / "out" / "sheets").glob("*.xlsx"))]
    assert sheets == ["class.xlsx", "s1-Ada-Test.xlsx", "s2-Bo-Secret.xlsx"]
    assert "2 HTML, 2 PDF" in result.output and "packets" in result.output
    assert {"order.pdf", "layouts.pdf", "board-layouts.pdf", "labels.pdf"} <= {
        path.name for path in (folder / "out" / "order").iterdir()
    }
    names = {"settings", "sign-offs", "benches", "stock", "instructor", "seasons"}
    assert {p.stem for p in (folder / "out" / "class").iterdir()} == names


def test_prepare_writes_one_sheet_of_one_student(course_folder: Callable[..., Path]) -> None:
    """Nothing else is written."""
    folder = course_folder(roster=ROSTER, signoffs=SIGNOFFS)
    result = CliRunner().invoke(
        app, ["prepare", str(folder), "--student", "s1", "--operation", "Groove the inner edges"]
    )
    assert result.exit_code == 0, result.output
    names = sorted(str(p.relative_to(folder / "out")) for p in (folder / "out").rglob("*") if p.is_file())
    assert names == [".made.json", "packets/s1-Ada-Test-groove-edges.html", "packets/s1-Ada-Test-groove-edges.pdf"]


def test_prepare_refuses_an_operation_that_the_cabinet_does_not_need(course_folder: Callable[..., Path]) -> None:
    """With the nearest name."""
    folder = course_folder(roster=ROSTER)
    result = CliRunner().invoke(app, ["prepare", str(folder), "--operation", "groove edge"])
    assert "this cabinet has no operation 'groove edge'" in str(result.exception)
    assert "Did you mean 'groove edges'?" in str(result.exception)
    assert not (folder / "out").exists()


def test_prepare_writes_one_stage_of_one_student(course_folder: Callable[..., Path]) -> None:
    """Its sheets under the numbers they have in the packet, its fit checks, and nothing else."""
    folder = course_folder(roster=ROSTER, signoffs=SIGNOFFS)
    result = CliRunner().invoke(app, ["prepare", str(folder), "--student", "s1", "--stage", "fitting"])
    assert result.exit_code == 0, result.output
    names = sorted(str(p.relative_to(folder / "out")) for p in (folder / "out").rglob("*") if p.is_file())
    assert names == [".made.json", *(f"packets/s1-Ada-Test-fitting-stage.{kind}" for kind in ("html", "pdf"))]
    html = (folder / "out" / "packets" / "s1-Ada-Test-fitting-stage.html").read_text("utf-8")
    titles = re.findall(r"<h1>(?:\d+\. )?(.*?)</h1>", html)
    assert titles == [
        "Cut and fit the shelf", "Fit the back and fix it", "Fit the door to its opening",
        "Hang the door and fit its pull and catch", "Fit-check sheet",
    ]  # fmt: skip
    assert "<h2>Fitting</h2>" in html and "<h2>Frame</h2>" not in html


def test_prepare_refuses_a_stage_that_the_cabinet_does_not_have(course_folder: Callable[..., Path]) -> None:
    """With the nearest name; and an operation and a stage together."""
    folder = course_folder(roster=ROSTER)
    result = CliRunner().invoke(app, ["prepare", str(folder), "--stage", "fiting"])
    assert str(result.exception).startswith(
        "lessons: L033: this cabinet has no stage 'fiting'\n    Did you mean 'fitting'?"
    )
    result = CliRunner().invoke(app, ["prepare", str(folder), "--stage", "case", "--operation", "cut dadoes"])
    assert result.exit_code == 2 and "do not go together" in " ".join(result.output.split())
    assert not (folder / "out").exists()


def test_the_order_of_the_work_is_printed_with_its_sheets(course_folder: Callable[..., Path]) -> None:
    """In the words of the course; work that shares a sheet has its number."""
    folder = course_folder(roster=ROSTER, signoffs=SIGNOFFS)
    (folder / "course.yaml").write_text((folder / "course.yaml").read_text("utf-8") + "terms: uk\n", "utf-8")
    result = CliRunner().invoke(app, ["sequence", str(folder)])
    lines = [line for line in result.output.splitlines() if line[:3].strip().isdigit()]
    assert lines[0] == "  1  Measure the stock: case, divider, shelf, back, door"
    eased = [line for line in lines if "Ease the joints" in line]
    assert [line.partition(": ")[2] for line in eased] == ["back", "door"] and eased[0][:3] == eased[1][:3]
    assert " 11  Cut the housings: divider" in lines


@pytest.mark.parametrize(
    ("first", "then", "says"),
    [
        ("groove edges", "Cut the tenons on the rails", "follows 'groove edges (back, door)': it needs"),
        ("1", "2", "both prepare"),
        ("hang the door", "fit the door", "It does not: 'fit the door (door)' comes first."),
        ("cut dadoes", "cut dadoes", "'cut dadoes' and 'cut dadoes' are one piece of work."),
    ],
)
def test_why_one_operation_comes_before_another_is_said(
    course_folder: Callable[..., Path], first: str, then: str, says: str
) -> None:
    """By name, title or number of the sheet."""
    folder = course_folder(roster=ROSTER, signoffs=SIGNOFFS)
    result = CliRunner().invoke(app, ["sequence", str(folder), "--why", first, then])
    assert result.exit_code == 0 and says in result.output, result.output


def test_why_refuses_an_operation_that_the_cabinet_does_not_need(course_folder: Callable[..., Path]) -> None:
    """With the nearest name."""
    folder = course_folder(roster=ROSTER, signoffs=SIGNOFFS)
    result = CliRunner().invoke(app, ["sequence", str(folder), "--why", "cut dado", "fit the door"])
    assert "this cabinet has no operation 'cut dado'" in str(result.exception)
    assert "Did you mean 'cut dadoes'?" in str(result.exception)


def test_several_students_may_be_named(course_folder: Callable[..., Path]) -> None:
    """Each of them gets a packet; one that is unknown is refused before anything is written."""
    folder = course_folder(roster=ROSTER)
    result = CliRunner().invoke(app, ["prepare", str(folder), "--student", "s1", "--student", "nobody"])
    assert "nobody" in str(result.exception) and not (folder / "out").exists()
    CliRunner().invoke(app, ["prepare", str(folder), "--student", "s1", "--student", "s2", "--operation", "fit the back"])
    assert {path.name.split("-")[0] for path in (folder / "out").rglob("*.pdf")} == {"s1", "s2"}


def test_prepare_with_a_broken_lesson_file_writes_all_and_exits_with_one(course_folder: Callable[..., Path]) -> None:
    """File, line, what is wrong, what to do; the packets are there."""
    folder = course_folder(roster=ROSTER)
    (folder / "lessons").mkdir()
    (folder / "lessons" / "21_groove_edges.md").write_text("no head\n", "utf-8")
    result = CliRunner().invoke(app, ["prepare", str(folder), "--student", "s1"])
    assert result.exit_code == 1
    assert "21_groove_edges.md:1:1: L001: the file has no head between two lines `---`" in result.output
    assert (folder / "out" / "packets" / "s1-Ada-Test.pdf").exists()


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("is: dado.width", "is: dado.wdth", "09_story_rod.md:25:9: L023: the set-up number 'width of the dado' of 'make a "
         "story rod': there is no quantity 'dado.wdth' here (in the divider)"),
        ("stage: case", "stag: case", "09_story_rod.md:6:1: L002: the head has no 'stag'"),
        ("- The rod is turned end for end.", "- ::: warning", "W004: the box 'warning' is never closed"),
    ],
)  # fmt: skip
def test_a_broken_own_page_is_told_and_the_built_in_one_stands_in(
    course_folder: Callable[..., Path], old: str, new: str, says: str
) -> None:
    """Unknown name, bad head, unclosed box: with file and line; no page of the packet is missing, and a page replaced
    and one added beside it are in."""
    folder = course_folder(roster=ROSTER)
    plain = read_lessons(read_course(folder)).sheets
    built_in = files("lessons") / "operations"
    (folder / "lessons").mkdir()
    for name, before, after in (
        ("09_story_rod.md", old, new), ("08_mark_out.md", "title: Mark out the case", "title: Mark it our way"),
    ):  # fmt: skip
        text = (built_in / name).read_text("utf-8")
        assert text.count(before) == 1
        (folder / "lessons" / name).write_text(text.replace(before, after), "utf-8")
    added = (built_in / "25_ease_to_fit.md").read_text("utf-8").replace("number: 25", "number: 60")
    added = added.replace("operation: ease the joints to fit", "operation: show the joints").replace(
        "title: Ease", "title: Show"
    )
    (folder / "lessons" / "60_show.md").write_text(added, "utf-8")
    course = read_course(folder)
    lessons = read_lessons(course)
    (problem,) = [one for one in lessons.problems if "09_story_rod.md" in one.place.file and says in str(one)]
    assert problem.do
    titles = [sheet[0].operation.title for sheet in lessons.sheets]
    assert len(titles) == len(plain) + 1
    assert {"Make a story rod and strike the dado lines", "Mark it our way", "Show the joints to fit"} <= set(titles)
    assert "Mark it our way" in words(packet(course, course.student("s1"), lessons).document.tree)


@pytest.mark.parametrize(("student", "most"), [("s01", 2), ("s03", 2), ("s04", 4)])
def test_the_cut_list_is_short_and_the_same_in_a_packet_and_alone(demo_folder: Path, student: str, most: int) -> None:
    """Two pages in mm and in inches, four in large print; one layout for both uses."""
    course = read_course(demo_folder)
    person = course.student(student)
    alone = cutlist_document(course, person, cut_rows(course, person))
    tree = packet(course, person, read_lessons(course)).document.tree
    start = next(i for i, node in enumerate(tree) if node["t"] == "h" and words(node["c"]) == "Cut list")
    assert tree[start : start + len(alone.tree)] == alone.tree
    assert len(pypdfium2.PdfDocument(write_pdf(alone))) <= most
    assert "**" not in words(tree)


def test_the_fit_check_sheet_has_a_table_for_each_stage_and_sketches_on_four_pages(demo_folder: Path) -> None:
    """Every reading stands on it once, under its stage, with instrument and who sees it; the sketches come last."""
    course = read_course(demo_folder)
    student = course.student("s01")
    found = packet(course, student, read_lessons(course)).document
    start = next(i for i, n in enumerate(found.tree) if n["t"] == "h" and words(n["c"]) == "Fit-check sheet")
    tree = found.tree[start:]
    assert [words(n["c"]) for n in tree[1:] if n["t"] == "h"] == [
        "Stock", "Case", "Frame", "Fitting", "Finish", "How a fit is graded", "Where to measure",
    ]  # fmt: skip
    lines = [
        [words(cell).replace("\u00a0", " ") for cell in row] for n in tree if n["t"] == "table" for row in n["rows"]
    ]
    rows = fit_rows(course, student)
    assert [(line[0], line[3]) for line in lines] == [
        (f"{r.title}: {r.what}", f"{r.instrument}, {r.who}") for r in rows
    ]
    assert len(pypdfium2.PdfDocument(write_pdf(replace(found, tree=tree)))) == 4


def test_the_rule_of_grading_is_on_the_fit_check_sheet_before_anything_is_measured(course_of) -> None:
    """Every sentence of the rule, with the course's own policy; a rule of no use is told with its place."""
    course = course_of(course="title: T\nid: t\ngrading: {policy: capped, redo: 1/2}\n")
    said = words(made(course).document.tree).replace("\u00a0", " ")
    assert [
        line for line in read_rules(course.folder, course.settings).words if line.replace("\u00a0", " ") not in said
    ] == []
    assert "what was made again earns at most 1/2 of the points" in said
    bad = made(course_of(course="title: T\nid: t\ngrading: {policy: worst}\n"))
    assert [str(one).splitlines()[0] for one in bad.problems] == ["course.yaml:3:19: B022: the policy is 'worst'"]


def test_every_part_of_another_shape_is_drawn_with_its_joints(demo_folder: Path) -> None:
    """The section, then one drawing for each shape: two equal stiles share one, two rails of other length do not."""
    course = read_course(demo_folder)
    tree = packet(course, course.student("s01"), read_lessons(course)).document.tree
    start = next(i for i, n in enumerate(tree) if n["t"] == "h" and words(n["c"]) == "The cabinet and its parts")
    end = next(i for i, n in enumerate(tree[start:], start) if n["t"] == "pagebreak")
    drawn = [n["alt"].partition(":")[0] for n in tree[start:end] if n["t"] == "svg"]
    assert "cut through from front to back" in drawn[0]
    assert drawn[1:] == [
        "C-SL, side left", "C-T, top", "C-B, bottom", "V-D, divider", "H-H, shelf", "B-SL, stile left",
        "B-RT, rail top", "B-M, muntin", "B-P1, panel 1", "D-SL, stile left", "D-RT, rail top", "D-P, panel",
        "R-F, front", "R-SL, side left", "R-B, back", "R-U, bottom",
    ]  # fmt: skip


@pytest.mark.parametrize(("student", "most"), [("s01", 3), ("s04", 8)])
def test_what_stands_before_the_cut_list_is_short(demo_folder: Path, student: str, most: int) -> None:
    """Cover, safety and contents: a page each; in large print the cover is one page too."""
    course = read_course(demo_folder)
    found = packet(course, course.student(student), read_lessons(course)).document
    end = next(i for i, n in enumerate(found.tree) if n["t"] == "h" and words(n["c"]) == "Cut list")
    pages = pypdfium2.PdfDocument(write_pdf(replace(found, tree=found.tree[: end - 1])))
    assert len(pages) <= most and "Safety" in pages[1].get_textpage().get_text_range()


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("student", ["s01", "s05"])
def test_an_operation_is_one_sheet_of_paper(demo_folder: Path, student: str, paper: str) -> None:
    """No operation takes more than the two sides of a sheet, and a second side is at least a quarter full."""
    course = read_course(demo_folder)
    found = replace(packet(course, course.student(student), read_lessons(course)).document, paper=paper)
    sides: dict[str, list[float]] = {}
    for page in pypdfium2.PdfDocument(write_pdf(found)):
        text = page.get_textpage()
        foot = text.get_text_range().strip().splitlines()[-1]
        lowest = min(text.get_rect(i)[1] for i in range(text.count_rects()) if text.get_rect(i)[1] > 40)
        sides.setdefault(foot.partition(" Page ")[0], []).append(1 - lowest / page.get_height())
    operations = {foot: filled for foot, filled in sides.items() if foot[:1].isdigit()}
    assert len(operations) == 42
    assert all(len(filled) <= 2 and filled[-1] > 0.25 for filled in operations.values()), operations
