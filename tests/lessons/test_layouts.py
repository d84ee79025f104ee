"""The papers of an order: drawings to scale, cuts in order, labels where the paper has them, cautions on each page."""

from __future__ import annotations

import re
import xml.etree.ElementTree as ET
from fractions import Fraction
from math import ceil

import pytest
from typer.testing import CliRunner

from course.course_folder import read_course
from course.cut_sheets import CutStep
from course.cutting.checker import bounds_in
from course.cutting.proof_file import proof_text
from course.order import plan_order
from course.order_files import order_workbook
from course.order_settings import read_order_settings
from lessons.__main__ import app
from lessons.cautions import missing_controls
from lessons.certificates import certificates, lots_of, unit_in_words
from lessons.labels import Label, label_pages, part_labels
from lessons.layouts import SHEET_WORK, board_pages, documents, fence_rows, kits, sheet_pages, stop_rows, write_papers
from lessons.sheet_drawings import sheet_drawing
from shared.render.html import write_html
from shared.render.sketch import Sketch

SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture
def order(demo_order):
    return demo_order


def kept_of(sheet) -> dict:
    """A name for each offcut."""
    return {area: f"left {number}" for number, area in enumerate(sheet.kept, 1)}


def rects(svg: str) -> dict[str, tuple[float, ...]]:
    """Named rectangles of a drawing: x, y, width, height. [mm of paper]"""
    return {
        node.get("data-name"): tuple(float(node.get(k)) for k in ("x", "y", "width", "height"))
        for node in ET.fromstring(svg).iter(f"{SVG}rect")
        if node.get("data-name")
    }


def test_every_piece_is_drawn_to_scale_where_it_is_cut(order):
    """Each rectangle, divided by the scale, is the piece's place and size; the label names student and part."""
    for sheet in (*order.cut_sheets, *order.cut_boards):
        drawing = sheet_drawing(sheet, order.shown, kept_of(sheet))
        scale = float(re.search(r'data-scale="([\d.]+)"', drawing.svg)[1])
        drawn = rects(drawing.svg)
        for part in sheet.parts:
            area = part.area
            wanted = [float(v) * scale for v in (area.x, area.y, area.length, area.width)]
            assert drawn[part.need.name] == pytest.approx(wanted, abs=0.002)
        words = [node.text for node in ET.fromstring(drawing.svg).iter(f"{SVG}text")]
        assert {part.need.name for part in sheet.parts if part.need.student} <= set(words)


def test_cuts_are_numbered_and_the_kerf_is_drawn(order):
    """Every cut has its number on the drawing, and a rectangle as wide as the blade."""
    sheet = order.cut_sheets[0]
    svg = sheet_drawing(sheet, order.shown, kept_of(sheet)).svg
    scale = float(re.search(r'data-scale="([\d.]+)"', svg)[1])
    words = [node.text for node in ET.fromstring(svg).iter(f"{SVG}text")]
    for step in sheet.steps:
        assert str(step.number) in words
        assert min(rects(svg)[f"cut {step.number}"][2:]) == pytest.approx(3.2 * scale, abs=0.002)


def test_no_two_words_of_a_drawing_cover_each_other(order):
    """Labels and cut numbers stand clear of each other on every sheet."""
    seen = []
    kept = Sketch.done

    def done(sketch, margin=1.5):
        seen.append(sketch)
        return kept(sketch, margin)

    Sketch.done = done
    try:
        for sheet in (*order.cut_sheets, *order.cut_boards):
            sheet_drawing(sheet, order.shown, kept_of(sheet))
    finally:
        Sketch.done = kept
    for sketch in seen:
        for number, (text, area) in enumerate(sketch.labels):
            for other, place in sketch.labels[number + 1 :]:
                assert not area.meets(place), (text, other)


def test_cuts_of_one_setting_stand_in_one_row(order):
    """The rows count all cuts of the sheet, in order, and neighbours differ."""
    for page, sheet in zip(sheet_pages(order), order.cut_sheets, strict=True):
        assert sum(row.count for row in page.steps) == len(sheet.steps)
        assert all((a.cut, a.setting) != (b.cut, b.setting) for a, b in zip(page.steps, page.steps[1:], strict=False))
        assert page.steps[0].numbers.startswith("1")


def test_a_fence_setting_serves_all_sheets_at_once(order):
    """Sides, tops and bottoms of both thicknesses share the rip at 205."""
    row = next(row for row in fence_rows(order) if row.setting == "205.0")
    steps: list[CutStep] = [s for sheet in order.cut_sheets for s in sheet.steps if s.rip and s.setting == 205]
    assert (row.cut, row.count) == ("rip, along the sheet", len(steps))
    assert "sheet-A 1; sheet-A 2" in row.sheets and "sheet-B; extra sheet-B" in row.sheets


def test_one_stop_names_its_students_and_parts(order):
    """In the demo seven students have sheet A: 21 parts at 376.8."""
    from course.stops import stops

    row = next(row for row in stop_rows(order, stops(order.course)) if row.setting == "length 376.8")
    assert (row.count, row.stock) == (21, "sheet-A")
    assert row.students.startswith("s01 AF, s02 BL") and row.parts == "C\u2011T, C\u2011B, V\u2011D"


def test_a_kit_holds_every_blank_of_one_student_and_nobody_elses(order):
    """Twenty-three parts for each of thirteen students, one more where a panel is of two strips; then the class's."""
    found = kits(order)
    glued = {one.need.student for plan in order.boards for one in plan.layout.glued}
    people = [student.id for student in order.course.students]
    assert [len(kit.rows) for kit in found[:-1]] == [23 + (student in glued) for student in people]
    assert {"s05", "s06", "s12"} <= glued
    assert found[0].title == "Ada Fenwick (s01)"
    cut = {part.need.name: sheet.name for sheet in (*order.cut_sheets, *order.cut_boards) for part in sheet.parts}
    assert [row.comes_from for row in found[0].rows] == [cut[n.name] for n in order.blanks if n.student == "s01"]
    assert len(found[-1].rows) == sum(1 for need in order.blanks if not need.student)


def test_there_is_one_label_for_each_piece(order):
    """No piece without a label and no label twice but for spares and test pieces."""
    labels = part_labels(order)
    assert len(labels) == len(order.blanks)
    heads = [label.lines[0] for label in labels if re.match(r"s\d\d ", label.lines[0])]
    glued = [one for plan in order.boards for one in plan.layout.glued if one.need.student]
    assert len(heads) == len(set(heads)) == 13 * 23 + len(glued)


def test_labels_stand_where_their_paper_has_them(order, tmp_path):
    """Own paper of 2 x 2 labels: the fourth starts at left + across, top + down, and each text stays on its label."""
    (tmp_path / "order.yaml").write_text(
        "labels: {paper: {width: 100 mm, height: 80 mm}, columns: 2, rows: 2, label: {width: 40 mm, height: 30 mm},"
        " first: {left: 5 mm, top: 6 mm}, step: {across: 45 mm, down: 35 mm}}\n"
    )
    settings = read_order_settings(tmp_path, [])
    assert settings.problems == ()
    pages = label_pages(
        [Label((f"s01 L-{n}", "a very long name of a part " * 3, "x")) for n in range(5)], settings.labels
    )
    assert len(pages) == 2
    root = ET.fromstring(pages[0])
    assert (root.get("width"), root.get("height")) == ("100mm", "80mm")
    texts = list(root.iter(f"{SVG}text"))
    corners = [(5, 6), (50, 6), (5, 41), (50, 41)]
    for number, text in enumerate(texts):
        left, top = corners[number // 3]
        wide = len(text.text) * 0.64 * float(text.get("font-size"))
        assert left <= float(text.get("x")) and float(text.get("x")) + wide <= left + 40
        assert top < float(text.get("y")) < top + 30


PAPERS = ("a4 14", "a4 24", "a4 40", "letter 10", "letter 30")


@pytest.mark.parametrize("name", PAPERS)
def test_nothing_is_printed_outside_a_label(order, tmp_path, name: str):
    """Every label of every paper that is known by name: on the paper, none on another, all texts inside."""
    (tmp_path / "order.yaml").write_text(f"label_paper: {name}\n")
    settings = read_order_settings(tmp_path, [])
    assert settings.problems == ()
    paper, count = settings.labels, int(name.split()[1])
    assert paper.columns * paper.rows == count
    pages = label_pages(part_labels(order)[: count + 1], paper)
    assert len(pages) == 2
    for number, text in enumerate(ET.fromstring(pages[0]).iter(f"{SVG}text")):
        column, row = number // 3 % paper.columns, number // 3 // paper.columns
        left, top = float(paper.left + column * paper.across), float(paper.top + row * paper.down)
        size, x, y = (float(text.get(key)) for key in ("font-size", "x", "y"))
        assert left <= x and x + len(text.text) * 0.64 * size <= left + float(paper.label_width)
        assert top <= y - size and y + 0.3 * size <= top + float(paper.label_height)


def test_a_label_paper_that_nobody_knows_is_told(tmp_path):
    """The nearest name is offered, and the usual paper is used."""
    (tmp_path / "order.yaml").write_text("label_paper: a4 41\n")
    settings = read_order_settings(tmp_path, [])
    (problem,) = settings.problems
    assert str(problem).startswith("order.yaml:1:14: O006: there is no label paper 'a4 41'\n    Did you mean 'a4 4")
    assert settings.labels.columns == 3


def test_pages_of_boards_carry_the_cautions_of_saws_and_short_pieces(order):
    """Ripping, crosscutting and the miter saw on the page of every board, short pieces named."""
    html = write_html(documents(order)["board-layouts"]).replace("\u00a0", " ")
    pages = re.split(r"Cut off first", html)
    assert len(pages) == len(order.cut_boards) + 1
    assert not missing_controls(pages[0], ("rip_table_saw", "crosscut_table_saw", "miter_saw"))
    for page in pages[1:]:
        assert "Clamp shorter pieces" in page and "clamp it or use a jig" in page


def test_the_first_page_of_the_boards_lists_them_and_the_cautions_have_a_page(order):
    """Every board with its number of settings, then a page of cautions, then the boards."""
    html = write_html(documents(order)["board-layouts"]).replace("\u00a0", " ")
    start, cautions = html.split("Cautions for every board")
    listed = re.findall(r"<tr>.*?</tr>", start, re.DOTALL)
    for page in board_pages(order):
        (row,) = [row for row in listed if f">{page.name}<" in row and page.stock in row]
        assert page.size.replace("\u00a0", " ") in row and f">{page.settings}<" in row
    assert 'class="warning' not in start and "Cut off first" not in start and "Cut off first" in cautions


def test_sheets_with_the_same_cuts_say_so(order):
    """The page of a sheet names the first one that is cut in the same way, and only then."""
    cuts = {sheet.name: (sheet.length, sheet.width, sheet.steps) for sheet in (*order.cut_sheets, *order.cut_boards)}
    found = [*sheet_pages(order), *board_pages(order)]
    for page in found:
        if page.like:
            assert cuts[page.like] == cuts[page.name] and page.like != page.name
    assert any(page.like for page in found)


def test_offcuts_have_the_names_of_the_stock_file(order):
    """Every offcut that is kept is called in its drawing as in the list of what is left."""
    from course.left_over import left_over

    pages = {page.name: page.drawing.svg for page in (*sheet_pages(order), *board_pages(order))}
    named = [left for left in left_over(order) if left.of]
    assert named and all(f">{left.id}<" in pages[left.of] for left in named)


# -- the proof -------------------------------------------------------------------------------------------


def test_the_written_proof_can_be_worked_out_again(order):
    """The checker reads the file and comes to every bound anew; with half the worth it would not."""
    text = proof_text(lots_of(order), unit_in_words(order))
    found = bounds_in(text)
    assert len(found) == len(certificates(order)) > 4
    assert all(stated == anew > 0 for _, stated, anew in found)
    weaker = re.sub(r'"worth": (\d+)', lambda m: f'"worth": {int(m[1]) // 2}', text)
    assert any(stated > anew for _, stated, anew in bounds_in(weaker))


def test_the_printed_proof_adds_up(order):
    """Points of the rows make the total, and total / most x cost, rounded up, is the printed bound of one sheet size."""

    def number(text: str) -> int:
        return int(text.replace("\u202f", ""))

    for lot in certificates(order):
        assert sum(number(row.together) for row in lot.parts) == number(lot.total)
        assert all(number(row.each) * int(row.count) == number(row.together) for row in lot.parts)
        if len(lot.stock) == 1 and lot.stock[0].off == "0":
            one = lot.stock[0]
            assert ceil(Fraction(number(lot.total) * int(one.cost), number(one.most))) == int(lot.bound)
            assert int(lot.bound) <= int(lot.cost)


def test_pages_of_sheets_carry_the_cautions_of_breaking_them_down(order):
    """Every page that cuts sheets names the controls that rules ask for, the strictest-first line and who checks."""
    html = write_html(documents(order)["layouts"]).replace("\u00a0", " ")
    pages = re.split(r"cautions, then cuts", html)[1:]
    assert len(pages) == len(order.cut_sheets)
    for page in pages:
        assert not missing_controls(page, SHEET_WORK)
        assert "follow the strictest" in page and "Set-up checked today by" in page


def test_the_stops_page_carries_the_cautions_of_the_saws(order):
    """Ripping, crosscutting and short pieces."""
    html = write_html(documents(order)["settings"]).replace("\u00a0", " ")
    assert not missing_controls(html, ("rip_table_saw", "crosscut_table_saw", "miter_saw"))
    assert "Clamp shorter pieces" in html


def test_the_workbook_holds_texts_and_no_formulas(order):
    """A stock name that starts like a formula stays a text."""
    import io
    import zipfile
    from dataclasses import replace

    from openpyxl import load_workbook

    evil = replace(order, sheets=tuple(replace(p, group=replace(p.group, material="=1+1")) for p in order.sheets))
    data = order_workbook(evil)
    book = load_workbook(io.BytesIO(data))
    assert book["Order"]["A5"].value == "=1+1 for the bottom, bottom-1"
    assert not any(
        b"<f>" in zipfile.ZipFile(io.BytesIO(data)).read(n) for n in zipfile.ZipFile(io.BytesIO(data)).namelist()
    )
    reasons = [row[2].value for row in book["Spares"].iter_rows(min_row=5)]
    assert "rail: 52 to make, 8 % are spoiled, that is 4.2 on average; 8 more are enough in 98 % of such classes" in reasons


def test_a_price_gives_a_cost(few_of_the_demo):
    """One more sheet at 89.5 costs 89.50; lines without a price are counted."""
    folder = few_of_the_demo("s08", "s09", "s10", "s11", "s12")
    stock = (folder / "stock.csv").read_text("utf-8")
    (folder / "stock.csv").write_text(stock.replace(",71.50,", ",89.5,"), "utf-8")
    from course.order_files import order_rows, total_cost

    made = plan_order(read_course(folder))
    assert ("89.50", "89.50") in [(row.price, row.cost) for row in order_rows(made)]
    assert total_cost(made) == "Together 89.50, and 5 more lines without a price."
    assert {plan.group.piece: plan.bought[0].price for plan in made.sheets if plan.bought}["sheet-B"] == Fraction("89.5")


def test_the_command_writes_the_same_papers_every_time(demo_folder, order):
    """Eighteen files; the order planned a second time gives the same bytes; it says what it wrote and that there is something to look at."""
    result = CliRunner().invoke(app, ["order", str(demo_folder)])
    assert result.exit_code == 1
    assert "birch plywood for the case, sheet-A: 2 sheets; proven" in result.output
    folder = demo_folder / "out" / "order"
    first = {path.name: path.read_bytes() for path in folder.iterdir()}
    assert len(first) == 18 and all(first.values())
    again = write_papers(order).paths
    assert {path.name: path.read_bytes() for path in again} == first
    assert not {path.parent for path in again} & {folder}


def test_parts_that_stay_joined_are_drawn_in_their_strip(few_of_the_demo):
    """Two back panels of one veneered sheet side by side: each with its name, a dashed line between them, no cut."""
    folder = few_of_the_demo("s03", "s07")
    plan = folder / "plan.yaml"
    match = "match: {back: {parts: [back.panel.1, back.panel.2], joined: side by side}}\n"
    plan.write_text(plan.read_text("utf-8") + match, "utf-8")
    made = plan_order(read_course(folder))
    sheet = next(sheet for sheet in made.cut_sheets if any(part.blanks for part in sheet.parts))
    svg = sheet_drawing(sheet, made.shown, kept_of(sheet)).svg
    strips = [part for part in sheet.parts if part.blanks]
    assert svg.count("part of a joined strip") == 2 * len(strips) > 0
    assert all(f"{part.need.student} B-P{n}" in svg for part in strips for n in (1, 2))
    inside = [step for step in sheet.steps for part in strips
              if part.area.x < step.line.x < part.area.x + part.area.length
              and part.area.y < step.line.y < part.area.y + part.area.width]  # fmt: skip
    assert inside == []


def test_what_is_left_of_a_sheet_is_not_trimmed_again(few_of_the_demo):
    """Cut for one student today, the rest of the veneered sheet is cut after that: its edges were sawn before."""
    folder = few_of_the_demo("s03", "s07")
    (folder / "cutting.yaml").write_text("today: {students: [s03]}\n", "utf-8")
    pages = sheet_pages(plan_order(read_course(folder)))
    assert {page.trim for page in pages if page.name.startswith("rest")} == {"nothing, its edges were sawn before"}
