"""Workbooks that come from outside: weighed before they are opened, no formula evaluated, no link followed."""

from __future__ import annotations

import io
import re
import warnings
import zipfile
from dataclasses import dataclass
from pathlib import Path

from openpyxl import load_workbook
from openpyxl.cell import Cell, MergedCell
from openpyxl.worksheet.worksheet import Worksheet

from shared.places import Place
from shared.problems import Problem

MAX_BYTES, MAX_UNPACKED, MAX_CELLS, MAX_ROWS, MAX_COLUMNS = 10_000_000, 100_000_000, 50_000, 5_000, 400
"""No measuring sheet is larger than this."""
_CELL, _FORMULA, _DECLARED = re.compile(rb"<(?:\w+:)?c[ />]"), re.compile(rb"<(?:\w+:)?f[ />]"), re.compile(rb"<!\w")
_LOCKED = b"\xd0\xcf\x11\xe0\xa1\xb1\x1a\xe1"
"""How a workbook begins that is locked by a password or of an old kind."""


@dataclass(frozen=True, slots=True)
class Tab:
    """One sheet of a workbook, with the values its program left in it and the cells that hold a formula."""

    file: str
    """What the workbook is told and remembered by."""
    sheet: Worksheet
    formulas: frozenset[str]

    @property
    def place(self) -> Place:
        """The sheet as a whole."""
        return Place(self.file, cell=self.sheet.title)

    def at(self, cell: Cell | MergedCell | str) -> Place:
        """Where a cell stands."""
        return Place(self.file, cell=f"{self.sheet.title}!{cell if isinstance(cell, str) else cell.coordinate}")

    def has_formula(self, cell: Cell | MergedCell) -> bool:
        """Whether a formula stands in a cell."""
        return cell.coordinate in self.formulas

    def text(self, row: int, column: int) -> str:
        """The trimmed text of a cell; empty when nothing is in it."""
        return str(self.sheet.cell(row, column).value or "").strip()


def tabs_of(file: Path, name: str) -> tuple[Tab, ...] | Problem:
    """The sheets of a workbook, or why it cannot be taken in.

    Args:
        file: The workbook.
        name: What it is told and remembered by.
    """
    place = Place(name)
    too_large = Problem(
        "C003", place, "the file is larger than any measuring sheet", "Give the sheet that fairfit made."
    )
    try:
        if file.stat().st_size > MAX_BYTES:
            return too_large
        data = file.read_bytes()
    except OSError as error:
        says = f"the file cannot be read ({(error.strerror or 'unknown reason').lower()})"
        return Problem("C004", place, says, "Close other programs that use it.")
    if data.startswith(_LOCKED):
        do = "Save it again as .xlsx, without a password."
        return Problem("C005", place, "the workbook is locked by a password or of an old kind", do)
    try:
        tabs = _loaded(data, name)
    except _TooLarge:
        return too_large
    except Exception:  # a foreign file can fail in any way; it is refused, whatever it was
        return Problem("C006", place, "this is not a workbook", "Save the measuring sheet again as .xlsx.")
    for tab in tabs:
        if tab.sheet.max_row > MAX_ROWS or tab.sheet.max_column > MAX_COLUMNS:
            return Problem("C003", tab.place, "the sheet is larger than any measuring sheet", too_large.do)
    return tabs


class _TooLarge(Exception):
    """More than any measuring sheet holds."""


def _loaded(data: bytes, name: str) -> tuple[Tab, ...]:
    """The sheets in a file, after a look at what it would unpack to."""
    formulas = _has_formulas(data)
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")  # openpyxl tells what it leaves out of foreign workbooks
        book = load_workbook(io.BytesIO(data), data_only=True, keep_links=False)
        written = load_workbook(io.BytesIO(data), keep_links=False).worksheets if formulas else []
    found = {sheet.title: _formula_cells(sheet) for sheet in written}
    sheets = [sheet for sheet in book.worksheets if isinstance(sheet, Worksheet)]
    return tuple(Tab(name, sheet, found.get(sheet.title, frozenset())) for sheet in sheets)


def _has_formulas(data: bytes) -> bool:
    """Whether any cell of a packed workbook holds a formula.

    Raises:
        _TooLarge: It would unpack to more than any measuring sheet holds.
        ValueError: It declares things of its own, which no workbook needs.
    """
    cells, formulas = 0, False
    with zipfile.ZipFile(io.BytesIO(data)) as packed:
        inside = packed.infolist()
        if sum(info.file_size for info in inside) > MAX_UNPACKED:
            raise _TooLarge
        for info in inside:
            if info.filename.endswith((".xml", ".rels")):
                text = packed.read(info)
                if _DECLARED.search(text[:2000]):
                    raise ValueError("declares things of its own")
                cells += sum(1 for _ in _CELL.finditer(text))
                formulas = formulas or _FORMULA.search(text) is not None
                if cells > MAX_CELLS:
                    raise _TooLarge
    return formulas


def _formula_cells(sheet: Worksheet) -> frozenset[str]:
    return frozenset(cell.coordinate for row in sheet.iter_rows() for cell in row if cell.data_type == "f")
