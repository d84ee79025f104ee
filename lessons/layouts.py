"""The order on paper: order list, drawn sheet layouts, saw settings, labels to stick on, what goes to whom."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from fractions import Fraction
from html import escape
from importlib.resources import as_file, files
from pathlib import Path
from typing import Any

from jinja2 import FileSystemLoader

from course.course import Course
from course.cut_sheets import Area as Rectangle
from course.cut_sheets import CutPart, CutSheet
from course.cutting.proof_file import proof_text
from course.demand import Need, Purpose
from course.left_over import left_over
from course.order import Order, plan_order
from course.order_files import left_csv, order_rows, order_workbook, pins_yaml, spare_rows, total_cost
from course.order_settings import LabelPaper
from course.stops import Stop, separate_settings, stops
from lessons.cautions import SEVERITIES, Caution, cautions_for
from lessons.certificates import certificates, lots_of, unit_in_words
from lessons.class_sheets import marked
from lessons.handout import CONDENSED, deferral, unbroken
from lessons.packet import UNITS
from shared.problems import InputRefused, Problem
from shared.render.document import Document
from shared.render.files import write_file
from shared.render.html import write_html
from shared.render.pdf import write_pdf
from shared.render.sketch import POINT, WIDE, Area, Drawing, Sketch, Span
from shared.render.tree import render_tree
from shared.units import Shown

TEMPLATES = str(files("lessons") / "templates")
SHEET_WORK = ("sheet_breakdown", "lifting_sheets", "engineered_wood")
"""Families of cautions on the page of a sheet."""
BOARD_WORK = ("rip_table_saw", "crosscut_table_saw", "miter_saw", "lifting_sheets")
"""Families of cautions on the page of a board; those of the saws say what short pieces need."""
STOP_WORK = ("rip_table_saw", "crosscut_table_saw", "miter_saw")
"""Families of cautions where stops and fences are set for parts."""
ROOM = (236.0, 88.0)
"""Paper for a sheet's drawing, without its sizes. [mm]"""
PART_POINTS = (7.5, 6.5, 5.5)
"""Type sizes of the labels in a drawing, the best first. [pt]"""


@dataclass(frozen=True, slots=True)
class CautionRows:
    """The cautions of a page: those that are the same everywhere in few words, the others by their signal word."""

    general: tuple[str, ...]
    rows: tuple[tuple[str, tuple[str, ...]], ...]
    """Signal word and texts."""
    closing: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class StepRow:
    """Cuts that follow each other at one setting."""

    numbers: str
    cut: str
    setting: str
    count: int


@dataclass(frozen=True, slots=True)
class SheetPage:
    """One sheet: its drawing, and the cuts in their order."""

    name: str
    stock: str
    size: str
    trim: str
    kerf: str
    used: str
    drawing: Drawing
    steps: tuple[StepRow, ...]
    settings: int
    """How often the fence is set."""
    like: str
    """Name of an earlier one with the same cuts; empty when there is none."""


@dataclass(frozen=True, slots=True)
class FenceRow:
    """One fence setting and the sheets it is needed for."""

    cut: str
    setting: str
    count: int
    sheets: str


@dataclass(frozen=True, slots=True)
class GlueRow:
    """A panel of strips."""

    name: str
    part: str
    width: str
    """Rough, when it is glued."""
    count: int
    strip: str
    """Rough width of one, its edges not planed yet."""


@dataclass(frozen=True, slots=True)
class StopRow:
    """One stop for finished parts of the class."""

    role: str
    setting: str
    count: int
    students: str
    parts: str
    stock: str


@dataclass(frozen=True, slots=True)
class KitRow:
    """One blank of a student."""

    label: str
    part: str
    size: str
    comes_from: str


@dataclass(frozen=True, slots=True)
class Kit:
    """All blanks of a student, or what belongs to the class."""

    title: str
    rows: tuple[KitRow, ...]


def caution_rows(families: Sequence[str], machine: str) -> CautionRows:
    """The cautions of powered work of these families, and the lines that end its page."""
    found = cautions_for(families, True)
    general = tuple(text for family, text in CONDENSED.items() if any(c.family == family for c in found))
    rows = [
        (word, tuple(c.text for c in found if c.severity == word and not _in_few_words(c))) for word in SEVERITIES
    ]
    closing = (deferral("authority"), deferral("manual", machine=machine))
    return CautionRows(general, tuple((word, texts) for word, texts in rows if texts), closing)


def _in_few_words(caution: Caution) -> bool:
    return caution.family in CONDENSED


# -- one sheet -------------------------------------------------------------------------------------------


def sheet_pages(order: Order) -> tuple[SheetPage, ...]:
    """A page for each sheet that is cut."""
    return tuple(_pages(order, order.cut_sheets, "sheet"))


def board_pages(order: Order) -> tuple[SheetPage, ...]:
    """A page for each board that is cut."""
    return tuple(_pages(order, order.cut_boards, "board"))


def _pages(order: Order, sheets: Sequence[CutSheet], word: str) -> Iterator[SheetPage]:
    shown, first = order.shown, {}
    names = {(left.of, left.area): left.id for left in left_over(order)}
    for sheet in sheets:
        steps = tuple(_step_rows(sheet, shown, word))
        used = f"{len(sheet.parts)} pieces, {round(sheet.share_used * 100)}\u00a0% of the {word}"
        trim = f"{shown.size(sheet.trim[0])} off each end, {shown.size(sheet.trim[1])} off each edge"
        if sheet.rest:
            trim = "nothing, its edges were sawn before"
        like = first.setdefault((sheet.length, sheet.width, sheet.trim, sheet.steps), sheet.name)
        kept = {area: names.get((sheet.name, area), "keep") for area in sheet.kept}
        yield SheetPage(
            sheet.name, sheet.group.kind, f"{shown.bare(sheet.length)} \u00d7 {shown.size(sheet.width)}", trim,
            shown.size(sheet.kerf), used, sheet_drawing(sheet, shown, kept), steps, len(steps),
            like if like != sheet.name else "",
        )  # fmt: skip


def _cut(rip: bool, word: str = "sheet") -> str:
    return f"rip, along the {word}" if rip else "crosscut"


def _step_rows(sheet: CutSheet, shown: Shown, word: str) -> Iterator[StepRow]:
    """Cuts of equal setting that follow each other, in one row."""
    run: list = []
    for step in (*sheet.steps, None):
        if run and (step is None or (step.rip, step.setting) != (run[0].rip, run[0].setting)):
            first, last = run[0].number, run[-1].number
            numbers = str(first) if first == last else f"{first} to {last}"
            yield StepRow(numbers, _cut(run[0].rip, word), shown.bare(run[0].setting), len(run))
            run = []
        run.append(step)


def sheet_drawing(sheet: CutSheet, shown: Shown, kept: Mapping[Rectangle, str]) -> Drawing:
    """The sheet or board to scale: pieces with student and part, cuts numbered in their order, waste hatched.

    Args:
        sheet: As it is sawn.
        shown: How lengths are printed.
        kept: What the offcuts that are kept are called.
    """
    scale = min(ROOM[0] / float(sheet.length), ROOM[1] / float(sheet.width))
    alt = (
        f"{sheet.name}, {shown.bare(sheet.length)} by {shown.size(sheet.width)}, with {len(sheet.parts)} pieces and "
        f"{len(sheet.steps)} cuts: " + ", ".join(part.need.name for part in sheet.parts)
    )
    sketch = Sketch(f"Layout of {sheet.name}", alt, PART_POINTS[0], scale)

    def area(x: Fraction, y: Fraction, length: Fraction, width: Fraction) -> Area:
        return Area(float(x) * scale, float(y) * scale, float(length) * scale, float(width) * scale)

    whole = area(Fraction(0), Fraction(0), sheet.length, sheet.width)
    sketch.rect(whole, "blank")
    sketch.hatch(whole, 2.2)
    for left in sheet.kept:
        sketch.rect(area(left.x, left.y, left.length, left.width), "shade", "kept")
    for part in sheet.parts:
        place = part.area
        sketch.rect(area(place.x, place.y, place.length, place.width), "part", part.need.name)
        for blank in part.blanks:
            sketch.rect(area(blank.x, blank.y, blank.length, blank.width), "hidden", "part of a joined strip")
    for flaw in sheet.defects:
        sketch.rect(area(flaw.x, flaw.y, flaw.length, flaw.width), "cutter", "defect")
    for step in sheet.steps:
        line = step.line
        sketch.rect(area(line.x, line.y, line.length, line.width), "cutter", f"cut {step.number}")
    sketch.rect(whole, "outline_only")
    for step in sheet.steps:
        _number(sketch, area(step.line.x, step.line.y, step.line.length, step.line.width), step.number, step.rip)
    for part in sheet.parts:
        for place, name in _labelled(part):
            size = f"{shown.bare(place.length)} \u00d7 {shown.bare(place.width)}"
            _words_in(sketch, area(place.x, place.y, place.length, place.width), name, size)
    for left in sheet.kept:
        size = f"{shown.bare(left.length)} \u00d7 {shown.bare(left.width)}"
        _words_in(sketch, area(left.x, left.y, left.length, left.width), kept[left], size)
    sketch.points = PART_POINTS[-1]
    for flaw in sheet.defects:
        sketch.label_in(area(flaw.x, flaw.y, flaw.length, flaw.width), "defect")
    sketch.points = PART_POINTS[0]
    low = whole.height + 4
    sketch.chain("x", low, [Span(0, whole.width, shown.size(sheet.length))], 1, whole.height)
    sketch.chain("y", whole.width + 4, [Span(0, whole.height, shown.size(sheet.width))], 1, whole.width)
    sketch.arrow(0, low + 3, 22, low + 3, "line")
    sketch.label(24, low + 3, "grain", "start")
    return sketch.done()


def _labelled(part: CutPart) -> Iterator[tuple[Rectangle, str]]:
    """What is written where on a piece: its name, or that of each part that stays joined in it."""
    if not part.blanks:
        yield part.area, _label(part.need)
    for place, blank in zip(part.blanks, part.need.blanks, strict=False):
        yield place, f"{part.need.student} {blank.part.label}"


def _label(need: Need) -> str:
    """What is written on a piece in a drawing."""
    return need.name if need.student else need.title


def _number(sketch: Sketch, line: Area, number: int, rip: bool) -> None:
    """The number of a cut on its line, where no other stands."""
    sketch.points = PART_POINTS[1]
    text = str(number)
    spots = [0.5, 0.35, 0.65, 0.2, 0.8, 0.08, 0.92, 0.03, 0.97]
    places = [
        (line.x + share * line.width, line.y + line.height / 2) if rip
        else (line.x + line.width / 2, line.y + share * line.height)
        for share in spots
    ]  # fmt: skip
    free = (place for place in places if sketch.free(_around(sketch, *place, text)))
    x, y = next(free, places[0])
    spot = _around(sketch, x, y, text)
    sketch.rect(spot, "gap")
    sketch.label(x, y, text, bold=True)


def _around(sketch: Sketch, x: float, y: float, text: str) -> Area:
    area = sketch.area_of(x, y, text)
    return Area(area.x - 0.5, area.y - 0.4, area.width + 1.0, area.height + 0.8)


def _words_in(sketch: Sketch, room: Area, name: str, size: str) -> None:
    """A name, and a size below it, level or upright, in the largest type that fits."""
    for points in PART_POINTS:
        sketch.points = points
        if _two_lines(sketch, room, (name, size)):
            return
    for points in PART_POINTS:
        sketch.points = points
        if sketch.label_in(room, name):
            return
    sketch.points = PART_POINTS[-1]
    sketch.label(room.x + room.width / 2, room.y + room.height / 2, name, upright=room.height > room.width)


def _two_lines(sketch: Sketch, room: Area, lines: tuple[str, str]) -> bool:
    step = sketch.size * 1.25
    for upright in (False, True):
        across, along = (room.width, room.height) if upright else (room.height, room.width)
        if across < 2 * step + 1 or along < max(map(sketch.wide, lines)) + 1:
            continue
        x, y = room.x + room.width / 2, room.y + room.height / 2
        at = [(x - step / 2, y), (x + step / 2, y)] if upright else [(x, y - step / 2), (x, y + step / 2)]
        wanted = [sketch.area_of(*p, line, upright=upright) for p, line in zip(at, lines, strict=True)]
        if all(sketch.free(area) for area in wanted):
            for number, (place, line) in enumerate(zip(at, lines, strict=True)):
                sketch.label(*place, line, upright=upright, bold=number == 0)
            return True
    return False


# -- settings for the class ------------------------------------------------------------------------------


def glue_rows(order: Order) -> tuple[GlueRow, ...]:
    """Panels that are glued up from strips."""
    return tuple(
        GlueRow(
            one.need.name, one.need.title, order.shown.size(one.need.width), len(one.strips),
            order.shown.size(one.strips[0].width),
        )
        for plan in order.boards for one in plan.layout.glued
    )  # fmt: skip


def fence_rows(order: Order) -> tuple[FenceRow, ...]:
    """Every fence setting of the sheets, with the sheets it serves: rips first, the widest first."""
    shown = order.shown
    found: dict[tuple[bool, Fraction], list[str]] = {}
    for sheet in order.cut_sheets:
        for step in sheet.steps:
            found.setdefault((not step.rip, -step.setting), []).append(sheet.name)
    return tuple(
        FenceRow(_cut(not key[0]), shown.bare(-key[1]), len(names), "; ".join(dict.fromkeys(names)))
        for key, names in sorted(found.items())
    )


def stop_rows(order: Order, found: Sequence[Stop]) -> tuple[StopRow, ...]:
    """One stop for all parts of one finished size."""
    people = {student.id: marked(student) for student in order.course.students}
    return tuple(
        StopRow(
            stop.role, f"{'width' if stop.rip else 'length'} {order.shown.bare(stop.setting)}", len(stop.parts),
            "all" if len(stop.students) == len(people) else ", ".join(people[s] for s in stop.students),
            ", ".join(dict.fromkeys(unbroken(label) for _, label in stop.parts)), stop.stock,
        )
        for stop in found
    )  # fmt: skip


def kits(order: Order) -> tuple[Kit, ...]:
    """What goes to each student, and what belongs to the class."""
    where = _sources(order)
    rows: dict[str, list[KitRow]] = {student.id: [] for student in order.course.students}
    spare: list[KitRow] = []
    for need in order.blanks:
        source = where.get(need.name, "not laid out")
        size = f"{order.shown.bare(need.length)} \u00d7 {order.shown.bare(need.width)}"
        label = "+".join(unbroken(part.label) for part in need.parts) or need.purpose.value
        (rows[need.student] if need.student else spare).append(KitRow(label, need.title, size, source))
    names = {student.id: f"{student.name} ({student.id})" for student in order.course.students}
    found = [Kit(names[student], tuple(blanks)) for student, blanks in rows.items() if blanks]
    return (*found, Kit("For the class: spares, test pieces, set-up blocks", tuple(spare)))


def _sources(order: Order) -> dict[str, str]:
    """The sheet or board that each piece is cut from."""
    return {
        part.need.name: sheet.name for sheet in (*order.cut_sheets, *order.cut_boards) for part in sheet.parts
    }  # fmt: skip


# -- documents -------------------------------------------------------------------------------------------


def documents(order: Order) -> dict[str, Document]:
    """Every paper of the order by its file name without ending."""
    found = stops(order.course)
    shown = order.shown
    shared = {"units": UNITS[shown.unit], "course": order.course.title}
    rows: dict[str, tuple[str, str, dict[str, Any], bool]] = {
        "order": ("Order list", "order.md.j2", {
            "rows": order_rows(order), "spares": spare_rows(order), "total": total_cost(order),
            "alternatives": order.alternatives, "assigned": tuple(_assigned(order)), "problems": order.problems,
            "left": tuple(f"{left.id}" for left in left_over(order)),
        }, True),
        "layouts": ("Sheet layouts", "layouts.md.j2", {
            "pages": sheet_pages(order), "cautions": caution_rows(SHEET_WORK, "track saw"),
        }, True),
        "board-layouts": ("Board layouts", "board_layouts.md.j2", {
            "pages": board_pages(order), "cautions": caution_rows(BOARD_WORK, "saw"), "glued": glue_rows(order),
        }, True),
        "proof": ("How good the layouts are", "order_proof.md.j2", {"lots": certificates(order)}, False),
        "settings": ("Saw settings", "order_settings.md.j2", {
            "fences": fence_rows(order), "stops": stop_rows(order, found), "separate": separate_settings(found),
            "cautions": caution_rows(STOP_WORK, "saw"),
        }, False),
        "kitting": ("What goes to whom", "order_kits.md.j2", {"kits": kits(order)}, False),
    }  # fmt: skip
    loader = FileSystemLoader([str(order.course.folder / "lessons"), TEMPLATES])
    made = {}
    for name, (title, template, filled, wide) in rows.items():
        tree = render_tree(template, {"title": title, **shared, **filled}, loader)
        document = Document(
            f"{order.course.title}: {title}", title, order.course.id, tree, order.course.paper, landscape=wide
        )
        made[name] = order.course.wording.document(document)
    return made


def _assigned(order: Order) -> Iterator[tuple[str, str, str]]:
    people = {student.id: marked(student) for student in order.course.students}
    for one in order.assigned:
        yield people[one.student], one.role, one.piece


# -- labels ----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Label:
    """What is printed on one label."""

    lines: tuple[str, str, str]
    """Student and part, its title, rough size and where it comes from."""


def part_labels(order: Order) -> tuple[Label, ...]:
    """A label for each piece in the order of cutting: those from sheets, then those from boards."""
    cut = (*order.cut_sheets, *order.cut_boards)
    return tuple(_one_label(order, part.need, sheet.name) for sheet in cut for part in sheet.parts)


def _one_label(order: Order, need: Need, source: str) -> Label:
    size = f"{order.shown.bare(need.length)} \u00d7 {order.shown.size(need.width)}"
    word = order.course.wording.text
    head = need.name if need.purpose is Purpose.PART else word(need.name.split(",")[0])
    return Label((head, word(need.title), f"{size}, {source}"))


def label_pages(labels: Sequence[Label], paper: LabelPaper) -> tuple[str, ...]:
    """Pages of labels as SVG of the whole paper, every label where the label paper has it."""
    size = paper.columns * paper.rows
    return tuple(_label_page(labels[start : start + size], paper) for start in range(0, len(labels), size))


def _label_page(labels: Sequence[Label], paper: LabelPaper) -> str:
    wide, high = float(paper.width), float(paper.height)
    items = []
    for number, label in enumerate(labels):
        x = float(paper.left + (number % paper.columns) * paper.across)
        y = float(paper.top + (number // paper.columns) * paper.down)
        items += _label_lines(label, Area(x, y, float(paper.label_width), float(paper.label_height)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
        f'viewBox="0 0 {wide:g} {high:g}">{"".join(items)}</svg>'
    )


def _label_lines(label: Label, area: Area) -> Iterator[str]:
    """Three lines, each as large as the label allows."""
    edge = min(3.0, area.width / 12)
    at = area.y
    for text, share, most in zip(label.lines, (0.4, 0.28, 0.28), (16.0, 10.0, 8.0), strict=True):
        height = share * area.height
        size = min(most * POINT, height * 0.7, (area.width - 2 * edge) / (WIDE * 1.08 * max(1, len(text))))
        weight = ' font-weight="bold"' if share == 0.4 else ""
        yield (
            f'<text x="{area.x + edge:.3f}" y="{at + height / 2 + size * 0.35 + area.height * 0.02:.3f}" '
            f'font-family="DejaVu Sans, Verdana, sans-serif" font-size="{size:.3f}"{weight}>{escape(text)}</text>'
        )
        at += height


def labels_html(pages: Sequence[str], paper: LabelPaper, title: str) -> str:
    """The labels as a page without margins, to be printed at full size."""
    style = (
        f"@page {{ size: {float(paper.width):g}mm {float(paper.height):g}mm; margin: 0 }} body {{ margin: 0 }} "
        "svg { display: block; break-after: page }"
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en-US">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        f"<style>{style}</style>\n</head>\n<body>\n" + "\n".join(pages) + "\n</body>\n</html>\n"
    )


_LABELS = """#let d = json(bytes(sys.inputs.d))
#set document(title: d.title)
#set page(width: d.width * 1mm, height: d.height * 1mm, margin: 0mm)
#for page in d.pages [#image(bytes(page), format: "svg", width: 100%, alt: d.title)]
"""


def labels_pdf(pages: Sequence[str], paper: LabelPaper, title: str) -> bytes:
    """The labels as a PDF in the size of their paper; print it without scaling."""
    import typst

    data = {"title": title, "width": float(paper.width), "height": float(paper.height), "pages": list(pages)}
    with as_file(files("shared")) as folder:
        made = typst.compile(
            _LABELS.encode(), font_paths=[str(folder / "fonts")], ignore_system_fonts=True,
            sys_inputs={"d": json.dumps(data)}, timestamp=946684800, format="pdf",
        )  # fmt: skip
    assert isinstance(made, bytes)
    return made


# -- files -----------------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Written:
    """What was written, and what needs attention."""

    order: Order
    paths: tuple[Path, ...]
    problems: tuple[Problem, ...]


def write_order(course: Course) -> Written:
    """Plan the order of a class and write its papers into `out/order`.

    Raises:
        InputRefused: The folder cannot be written to.
    """
    order = plan_order(course)
    folder, problems = course.folder / "out" / "order", list(order.problems)
    paths = [write_file(folder / "order.xlsx", order_workbook(order))]
    for name, document in documents(order).items():
        paths.append(write_file(folder / f"{name}.html", write_html(document)))
        try:
            paths.append(write_file(folder / f"{name}.pdf", write_pdf(document)))
        except InputRefused as refused:
            problems += refused.problems
    paper, title = order.settings.labels, f"{course.title}: labels"
    pages = label_pages(part_labels(order), paper)
    paths.append(write_file(folder / "labels.html", labels_html(pages, paper, title)))
    paths.append(write_file(folder / "labels.pdf", labels_pdf(pages, paper, title)))
    paths.append(write_file(folder / "stock-left.csv", left_csv(order)))
    paths.append(write_file(folder / "pins.yaml", pins_yaml(order)))
    paths.append(write_file(folder / "proof.json", proof_text(lots_of(order), unit_in_words(order))))
    return Written(order, tuple(paths), tuple(problems))
