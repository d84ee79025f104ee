"""The order on paper: order list, drawn sheet layouts, saw settings, what goes to whom; all its files."""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files
from pathlib import Path
from typing import Any

from jinja2 import FileSystemLoader

from course.course import Course
from course.cut_sheets import CutSheet
from course.cutting.proof_file import proof_text
from course.left_over import left_over
from course.order import Order, plan_order
from course.order_files import left_csv, order_rows, order_workbook, pins_yaml, spare_rows, total_cost
from course.stops import Stop, separate_settings, stops
from lessons.cautions import SEVERITIES, Caution, cautions_for
from lessons.certificates import certificates, lots_of, unit_in_words
from lessons.class_sheets import marked
from lessons.handout import CONDENSED, deferral, unbroken
from lessons.labels import label_pages, labels_html, labels_pdf, part_labels
from lessons.packet import UNITS
from lessons.sheet_drawings import sheet_drawing
from shared.problems import InputRefused, Problem
from shared.render.document import Document
from shared.render.files import write_file
from shared.render.html import write_html
from shared.render.pdf import write_pdf
from shared.render.sketch import Drawing
from shared.render.templates import render_tree
from shared.units import Shown

TEMPLATES = str(files("lessons") / "templates")
SHEET_WORK = ("sheet_breakdown", "lifting_sheets", "engineered_wood")
"""Families of cautions on the page of a sheet."""
BOARD_WORK = ("rip_table_saw", "crosscut_table_saw", "miter_saw", "lifting_sheets")
"""Families of cautions on the page of a board; those of the saws say what short pieces need."""
STOP_WORK = ("rip_table_saw", "crosscut_table_saw", "miter_saw")
"""Families of cautions where stops and fences are set for parts."""


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
    shown = order.shown
    first: dict[tuple[object, ...], str] = {}
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
    return write_papers(plan_order(course))


def write_papers(order: Order) -> Written:
    """Write the papers of an order into `out/order` of its course.

    Raises:
        InputRefused: The folder cannot be written to.
    """
    folder, problems = order.course.folder / "out" / "order", list(order.problems)
    paths = [write_file(folder / "order.xlsx", order_workbook(order))]
    for name, document in documents(order).items():
        paths.append(write_file(folder / f"{name}.html", write_html(document)))
        try:
            paths.append(write_file(folder / f"{name}.pdf", write_pdf(document)))
        except InputRefused as refused:
            problems += refused.problems
    paper, title = order.settings.labels, f"{order.course.title}: labels"
    pages = label_pages(part_labels(order), paper)
    paths.append(write_file(folder / "labels.html", labels_html(pages, paper, title)))
    paths.append(write_file(folder / "labels.pdf", labels_pdf(pages, paper, title)))
    paths.append(write_file(folder / "stock-left.csv", left_csv(order)))
    paths.append(write_file(folder / "pins.yaml", pins_yaml(order)))
    paths.append(write_file(folder / "proof.json", proof_text(lots_of(order), unit_in_words(order))))
    return Written(order, tuple(paths), tuple(problems))
