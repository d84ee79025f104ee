"""Measuring workbooks as files: the same bytes every time, never written over, filled in as a student would."""

from __future__ import annotations

import io
import re
import zipfile
from collections.abc import Iterator, Mapping
from datetime import datetime
from pathlib import Path
from types import MappingProxyType

from openpyxl import Workbook, load_workbook
from openpyxl.cell import Cell
from openpyxl.worksheet.worksheet import Worksheet

from course.course import Course
from rubrics.sheet_columns import FIT, PARTS, PLACE, QUANTITY, READ, SECOND, WET, cells_by_heading
from shared.places import Place
from shared.problems import InputRefused, Problem
from shared.render.files import write_file

_DATE = datetime(2000, 1, 1)


def finished(book: Workbook, course: Course, title: str) -> bytes:
    """A workbook in the words of the course, as a file that is the same every time."""
    _in_terms(book, course)
    book.properties.creator = "fairfit"
    book.properties.title = title
    book.properties.created = book.properties.modified = _DATE
    return _bytes(book)


def _in_terms(book: Workbook, course: Course) -> None:
    """The words of the course in every cell; names of quantities and parts are dotted and stay."""
    for cell in (cell for sheet in book.worksheets for row in sheet.iter_rows() for cell in row if cell.value):
        cell.value, cell.data_type = course.wording.text(str(cell.value)), "s"


def _bytes(book: Workbook) -> bytes:
    """The workbook's bytes, the same every time: dates inside the archive are fixed, files are in order."""
    raw = io.BytesIO()
    book.save(raw)
    out = io.BytesIO()
    with zipfile.ZipFile(raw) as source, zipfile.ZipFile(out, "w", zipfile.ZIP_DEFLATED) as packed:
        for name in source.namelist():
            data = source.read(name)
            if name == "docProps/core.xml":
                data = _fixed_dates(data)
            packed.writestr(zipfile.ZipInfo(name, (2000, 1, 1, 0, 0, 0)), data, zipfile.ZIP_DEFLATED)
    return out.getvalue()


def _fixed_dates(core: bytes) -> bytes:
    return re.sub(rb"(<dcterms:modified[^>]*>)[^<]*", rb"\g<1>2000-01-01T00:00:00Z", core)


def write_kept(path: Path, data: bytes) -> Path:
    """Write a workbook that people fill in; one that somebody wrote into is never written over.

    Raises:
        InputRefused: There is one that holds somebody's work (C033), or it cannot be written.
    """
    if path.is_file() and path.read_bytes() != data and _holds_work(path, data):
        says = "somebody wrote into the measuring sheet, so it is left as it is"
        do = "Collect it, then move it away and prepare again."
        raise InputRefused([Problem("C033", Place(path.name), says, do, severe=False)])
    return write_file(path, data)


def _holds_work(path: Path, fresh: bytes) -> bool:
    """Whether a person wrote anything into a sheet that a fresh one lacks; one that cannot be opened holds some."""
    try:
        written, made = load_workbook(path), load_workbook(io.BytesIO(fresh))
        return any(_typed(written[name]) - _typed(made[name]) for name in made.sheetnames)
    except Exception:  # a foreign file can fail in any way; it is somebody's work all the same
        return True


def _typed(sheet: Worksheet) -> set[tuple[str, str]]:
    """Cells that are there to be filled in, and what is in them."""
    cells = (cell for row in sheet.iter_rows() for cell in row if cell.value is not None)
    return {(cell.coordinate, str(cell.value)) for cell in cells if not cell.protection.locked}


def fill(
    workbook: bytes, readings: Mapping[tuple[str, int], str], states: Mapping[str, tuple[str, str]],
    moistures: Mapping[str, str] = MappingProxyType({}),
    seconds: Mapping[tuple[str, int], str] = MappingProxyType({}),
) -> bytes:  # fmt: skip
    """A measuring workbook with readings and states of parts written in, as a student would.

    Args:
        workbook: From `measurement_workbook`.
        readings: Texts by quantity and place.
        states: State and date by the label of a part.
        moistures: Texts by the label of a part.
        seconds: Texts of the second reader by quantity and place, on a sheet that asks for one.
    """
    book = load_workbook(io.BytesIO(workbook))
    for cell, text in _filled(book, readings, states, moistures, seconds):
        cell.value = text
        cell.data_type = "s"
    return _bytes(book)


def _filled(
    book: Workbook, readings: Mapping[tuple[str, int], str], states: Mapping[str, tuple[str, str]],
    moistures: Mapping[str, str], seconds: Mapping[tuple[str, int], str],
) -> Iterator[tuple[Cell, str]]:  # fmt: skip
    sheet = book[FIT]
    found = cells_by_heading(sheet, (READ, *((SECOND,) if seconds else ()), QUANTITY, PLACE))
    assert found is not None
    top, columns = found
    for row in range(top + 1, sheet.max_row + 1):
        place = str(sheet.cell(row, columns[PLACE]).value or "")
        key = (str(sheet.cell(row, columns[QUANTITY]).value or ""), int(place) if place.isdecimal() else 0)
        if key in readings:
            yield sheet.cell(row, columns[READ]), readings[key]
        if key in seconds:
            yield sheet.cell(row, columns[SECOND]), seconds[key]
    parts = book[PARTS]
    found = cells_by_heading(parts, ("label", "state", "date", WET))
    assert found is not None
    top, columns = found
    for row in range(top + 1, parts.max_row + 1):
        label = str(parts.cell(row, columns["label"]).value or "")
        if label in states:
            state, date = states[label]
            yield parts.cell(row, columns["state"]), state
            yield parts.cell(row, columns["date"]), date
        if label in moistures:
            yield parts.cell(row, columns[WET]), moistures[label]
