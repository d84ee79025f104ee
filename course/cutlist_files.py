"""A cut list as text for the terminal, and as a CSV, workbook, HTML or PDF file."""

from __future__ import annotations

import csv
import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from importlib.resources import files
from pathlib import Path

from jinja2 import BaseLoader, FileSystemLoader

from course.course import Course, Listed, listed
from course.cutlist import CutRow
from course.roster import Student
from shared.places import Place
from shared.problems import InputRefused, Problem
from shared.render.document import Document, Tree
from shared.render.files import write_file
from shared.render.templates import render_tree
from shared.terminal import wrapped


@dataclass(frozen=True, slots=True)
class Column:
    """One column of a cut list file."""

    heading: str
    text: Callable[[CutRow], str]


COLUMNS = (
    Column("label", lambda row: row.label),
    Column("part", lambda row: row.named),
    Column("count", lambda row: str(row.count)),
    Column("length", lambda row: row.length),
    Column("width", lambda row: row.width),
    Column("thickness", lambda row: row.thickness),
    Column("rough", lambda row: row.rough),
    Column("stock", lambda row: row.stock),
    Column("grain", lambda row: row.grain),
    Column("joints", lambda row: row.joints),
    Column("state", lambda row: row.state),
    Column("measure first", lambda row: row.provisional),
    Column("plan was", lambda row: row.before),
    Column("because", lambda row: row.because),
    Column("consequence", lambda row: row.consequence),
)


def plain(text: str) -> str:
    """Text without non-breaking spaces, for programs that compare or search."""
    return text.replace("\u00a0", " ")


def table_text(course: Course, student: Student, rows: Sequence[CutRow]) -> str:
    """The list as a table of plain text, with what changed and what to measure below it."""
    rows = [course.wording.record(row) for row in rows]
    headings = ("label", "part", "count", "length", "width", "thick", "rough", "stock", "grain", "")
    lines = [
        (
            row.label, row.named, str(row.count), row.length, row.width, row.thickness, row.rough,
            row.stock, row.grain, _flags(row),
        )
        for row in rows
    ]  # fmt: skip
    widths = [max(len(cell) for cell in column) for column in zip(headings, *lines, strict=True)]
    right = {2, 3, 4, 5}

    def line(cells: Sequence[str]) -> str:
        padded = [c.rjust(w) if i in right else c.ljust(w) for i, (c, w) in enumerate(zip(cells, widths, strict=True))]
        return "  ".join(padded).rstrip()

    out = [
        course.wording.text(
            f"{course.title} \u2014 cut list of {student.name} ({student.id}), sizes in {student.shown.unit_word}"
        ),
        f"{course.id}" + (f", {course.date}" if course.date else ""),
        *([last.words] if (last := listed(course, student)) else []),
        "",
        line(headings),
        line(["-" * width for width in widths]),
        *(line(cells) for cells in lines),
    ]
    for title, notes in (
        ("* measure first, then cut:", [f"{row.label}: {row.provisional}" for row in rows if row.provisional]),
        ("! cut already:", [f"{row.label}: {row.consequence}" for row in rows if row.consequence]),
        ("~ changed from the plan:", _changes(rows)),
        ("joints:", [f"{row.label}: {row.joints}" for row in rows if row.joints]),
    ):
        if notes:
            out += ["", title, *(wrapped(f"  {note}") for note in notes)]
    out += ["", "Work from the actual case, not from this list: what is measured wins."]
    return plain("\n".join(out))


def _flags(row: CutRow) -> str:
    marks = (("*", row.provisional), ("!", row.consequence), ("~", row.before))
    return "".join(mark for mark, text in marks if text)


def _changes(rows: Sequence[CutRow]) -> list[str]:
    return [f"{row.label}: {row.before} ({row.because})" for row in rows if row.before]


Writer = Callable[[Course, Student, Sequence[CutRow]], str | bytes]


def write_cutlist(course: Course, student: Student, rows: Sequence[CutRow], out: Path) -> Path:
    """Write the list as the kind of file its name asks for.

    Raises:
        InputRefused: Another ending, or a place that cannot be written to.
    """
    writers: dict[str, Writer] = {".csv": _csv, ".xlsx": _xlsx, ".html": _html, ".pdf": _pdf}
    writer = writers.get(out.suffix.lower())
    if writer is None:
        says = f"a cut list cannot be written as '{out.suffix or out.name}'"
        raise InputRefused([Problem("F003", Place(str(out)), says, "Let the name end in .html, .pdf, .xlsx or .csv.")])
    return write_file(out, writer(course, student, [course.wording.record(row) for row in rows]))


def _csv(course: Course, student: Student, rows: Sequence[CutRow]) -> str:
    text = io.StringIO(newline="")
    writer = csv.writer(text, lineterminator="\r\n")
    writer.writerow([f"{column.heading}" for column in COLUMNS])
    for row in rows:
        writer.writerow([inert(plain(column.text(row))) for column in COLUMNS])
    return text.getvalue()


def inert(text: str) -> str:
    """Text that a spreadsheet will not run when it opens the file."""
    return f"'{text}" if text[:1] in ("=", "+", "-", "@", "\t", "\r") else text


def _xlsx(course: Course, student: Student, rows: Sequence[CutRow]) -> bytes:
    import datetime

    import xlsxwriter

    memory = io.BytesIO()
    book = xlsxwriter.Workbook(memory, {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False})
    book.set_properties({"title": f"Cut list of {student.id}", "created": datetime.datetime(2000, 1, 1)})
    sheet = book.add_worksheet("Cut list")
    bold = book.add_format({"bold": True})
    head = book.add_format({"bold": True, "bottom": 1, "text_wrap": True, "valign": "top"})
    cell = book.add_format({"text_wrap": True, "valign": "top"})
    title = course.wording.text(f"Cut list of {student.name} ({student.id}), sizes in {student.shown.unit_word}")
    sheet.write_string(0, 0, title, bold)
    sheet.write_string(1, 0, f"{course.title}, {course.id}, {course.date}")
    for number, column in enumerate(COLUMNS):
        sheet.write_string(3, number, column.heading, head)
        texts = [plain(column.text(row)) for row in rows]
        for line, text in enumerate(texts):
            sheet.write_string(4 + line, number, text, cell)
        longest = max([len(column.heading), *(len(text) for text in texts)])
        sheet.set_column(number, number, min(longest + 2, 36))
    sheet.freeze_panes(4, 1)
    sheet.set_landscape()
    sheet.fit_to_pages(1, 0)
    sheet.repeat_rows(3)
    book.close()
    return memory.getvalue()


TEMPLATES = str(files("course") / "templates")
"""Where the page of a cut list is laid out."""
UNITS = {"mm": "millimeters", "in": "inches"}


@dataclass(frozen=True, slots=True)
class ListRow:
    """One line of the printed list, and what is to be said of it below the table."""

    cut: CutRow
    rough_length: str
    rough_width: str
    note: str
    """What to measure first, what changed from what, and what state it is in; empty when there is nothing."""


@dataclass(frozen=True, slots=True)
class ListGroup:
    """The lines of one assembly."""

    title: str
    stock: tuple[str, ...]
    rows: tuple[ListRow, ...]


def cutlist_tree(student: Student, rows: Sequence[CutRow], templates: BaseLoader, last: Listed | None = None) -> Tree:
    """The page of a cut list, for a packet or alone: a table for each assembly, remarks below it.

    Args:
        student: Whose list it is; gives units and print size.
        rows: From `cut_rows`.
        templates: Where `cutlist.md.j2` is found.
        last: The list that was last handed out, if any; told below the title.
    """
    groups: dict[str, list[CutRow]] = {}
    for row in rows:
        groups.setdefault(row.assembly, []).append(row)
    causes = {row.because for row in rows if row.before}
    because = next(iter(causes)) if len(causes) == 1 else ""
    filled = {
        "groups": [
            ListGroup(title, tuple(_stock(lines)), tuple(_list_row(row, not because) for row in lines))
            for title, lines in groups.items()
        ],
        "because": because,
        "last": last.words if last else "",
        "units": UNITS[student.shown.unit],
        "large": student.large_print,
    }
    return render_tree("cutlist.md.j2", filled, templates)


def _stock(rows: Sequence[CutRow]) -> Iterator[str]:
    """One line for each stock of an assembly: what it is, which way its grain runs, for which parts."""
    found: dict[str, list[str]] = {}
    for row in rows:
        found.setdefault(f"{row.stock}, grain along the {row.grain}", []).append(row.label)
    for stock, labels in found.items():
        yield f"{', '.join(labels)}: {stock}." if len(found) > 1 else f"All of {stock}."


def _list_row(row: CutRow, because: bool) -> ListRow:
    """A line with its remark, which says what changed a size unless the whole list has one cause."""
    notes = (
        f"first measure {row.provisional}" if row.provisional else "",
        f"changed: {row.before}" + (f" by {row.because}" if because and row.because else "") if row.before else "",
        f"is {row.state}" if row.state != "open" else "",
        row.consequence,
    )
    rough_length, _, rough_width = row.rough.partition(" \u00d7 ")
    return ListRow(row, rough_length, rough_width, "; ".join(note for note in notes if note))


def cutlist_document(course: Course, student: Student, rows: Sequence[CutRow]) -> Document:
    """The list as a document of its own."""
    templates = FileSystemLoader([str(course.folder / "lessons"), TEMPLATES])
    tree = cutlist_tree(student, rows, templates, listed(course, student))
    document = Document(
        f"Cut list of {student.name}", f"{student.name} ({student.id})", course.id, tree, course.paper,
        student.large_print,
    )  # fmt: skip
    return course.wording.document(document)


def _html(course: Course, student: Student, rows: Sequence[CutRow]) -> str:
    from shared.render.html import write_html

    return write_html(cutlist_document(course, student, rows))


def _pdf(course: Course, student: Student, rows: Sequence[CutRow]) -> bytes:
    from shared.render.pdf import write_pdf

    return write_pdf(cutlist_document(course, student, rows))
