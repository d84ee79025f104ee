"""A workbook of tables that a person can print and sort: title, headings, one kind of number in each column.

Text is written as text whatever it looks like, and every formula with the value it comes to.
"""

from __future__ import annotations

import datetime
import io
import textwrap
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from fractions import Fraction
from functools import cached_property
from typing import Any

import xlsxwriter
from xlsxwriter.utility import xl_col_to_name

HEAD = 3
"""Row of the headings on every sheet, counted from 0; above it stand the title and a line of explanation."""
TINTS = ("E2F0D9", "FFF6D6", "FCE4D0", "F8D7DA")
"""Light shades of the levels, best first; the word says the same."""
LINE = 15
"""Height of a line of text, in points."""
PAPERS = {"a4": 9, "letter": 1}

Cell = str | Fraction | float | int | None


@dataclass(frozen=True, slots=True)
class Live:
    """A formula and the value it comes to."""

    formula: str
    value: Cell


@dataclass(frozen=True, slots=True)
class Column:
    """A column of a sheet."""

    heading: str
    form: str = "text"
    """One of `FORMS`."""
    printed: bool = True
    widest: int = 46
    """Characters beyond which its text is wrapped."""


class Columns(tuple[Column, ...]):
    """The columns of a sheet, found by their heading."""

    @cached_property
    def letters(self) -> dict[str, str]:
        """The letter of each column, by its heading."""
        return {column.heading: xl_col_to_name(number) for number, column in enumerate(self)}


FORMS = {
    "text": {"align": "left", "indent": 1, "text_wrap": True},
    "whole": {"num_format": "0"},
    "mm": {"num_format": "0.00"},
    "fine": {"num_format": "0.000"},
    "signed": {"num_format": "[>=0.005]+0.00;[<=-0.005]-0.00;0.00"},
    "taken": {"num_format": "[>=0.005]+0.00;[<=-0.005]-0.00;"},
    "percent": {"num_format": "0.0"},
    "share": {"num_format": "0 %"},
    "points": {"num_format": "0.00"},
    "input": {"bg_color": "#EAF1FB"},
}
"""How text and numbers of a kind are shown; `taken` is blank where nothing is taken out."""


class Book:
    """A workbook in the making; every sheet has a title, an explanation and one table."""

    def __init__(self, title: str, paper: str, footer: str) -> None:
        self._memory = io.BytesIO()
        options = {"in_memory": True, "strings_to_formulas": False, "strings_to_urls": False}
        self._book = xlsxwriter.Workbook(self._memory, options)
        self._book.set_properties({"title": title, "created": datetime.datetime(2000, 1, 1)})
        self._paper, self._footer = PAPERS[paper], footer.replace("&", "&&")
        base = {"valign": "top"}
        self.forms = {name: self._book.add_format({**base, **form}) for name, form in FORMS.items()}
        self.title = self._book.add_format({"bold": True, "font_size": 14})
        head = {"bold": True, "bottom": 1, "text_wrap": True, "valign": "bottom"}
        left, right = {"align": "left", "indent": 1}, {"align": "right"}
        self.heads = {n: self._book.add_format({**head, **(left if n == "text" else right)}) for n in FORMS}
        self.tints = [self._book.add_format({"bg_color": f"#{tint}"}) for tint in TINTS]

    def sheet(self, name: str, title: str, says: str) -> Any:
        """An empty sheet with its title."""
        sheet = self._book.add_worksheet(name)
        sheet.write_string(0, 0, title, self.title)
        sheet.write_string(1, 0, says)
        sheet.set_landscape()
        sheet.set_paper(self._paper)
        sheet.set_margins(0.4, 0.4, 0.5, 0.6)
        sheet.fit_to_pages(1, 0)
        sheet.set_footer(f"&L{self._footer}&C&A&RPage &P of &N")
        return sheet

    def table(
        self, sheet: Any, columns: Sequence[Column], rows: Iterable[Sequence[Cell | Live]], head: int = HEAD,
        sortable: bool = True, frozen: bool = True,
    ) -> int:  # fmt: skip
        """Write a table below its headings; gives the row after the last.

        Args:
            sheet: As `sheet` made it.
            columns: From left to right; those that are not printed stand last.
            rows: A cell for each column.
            head: Row of the headings, counted from 0.
            sortable: Whether its rows may be sorted: no other sheet may refer to them by place.
            frozen: Whether headings and the first two columns stay in sight.
        """
        widest = [max((len(word) for word in column.heading.split()), default=1) for column in columns]
        for number, column in enumerate(columns):
            sheet.write_string(head, number, column.heading, self.heads[column.form])
        row = head
        for row, cells in enumerate(rows, head + 1):
            tall = 1
            for number, (column, cell) in enumerate(zip(columns, cells, strict=True)):
                self.put(sheet, row, number, cell, self.forms[column.form])
                shown = cell.value if isinstance(cell, Live) else cell
                widest[number] = max(widest[number], len(shown) if isinstance(shown, str) else 6)
                tall = max(tall, _lines(shown, column.widest))
            if tall > 1:
                sheet.set_row(row, LINE * tall)
        for number, (column, width) in enumerate(zip(columns, widest, strict=True)):
            sheet.set_column(number, number, min(width, column.widest) + (2 if column.form == "text" else 1.5))
        if frozen:
            sheet.freeze_panes(head + 1, 2)
            sheet.repeat_rows(head)
        if sortable:
            sheet.autofilter(head, 0, max(row, head + 1), len(columns) - 1)
        shown = [number for number, column in enumerate(columns) if column.printed]
        sheet.print_area(0, 0, max(row, head + 1), shown[-1])
        return row + 1

    def paragraphs(self, sheet: Any, lines: Sequence[str], width: int = 110) -> None:
        """Write sentences below the title, one a row, wrapped at so many characters."""
        sheet.set_column(0, 0, width + 6)
        for row, line in enumerate(lines, HEAD):
            sheet.write_string(row, 0, line, self.forms["text"])
            sheet.set_row(row, LINE * _lines(line, width) + 4)
        sheet.print_area(0, 0, HEAD + len(lines), 0)

    def put(self, sheet: Any, row: int, column: int, cell: Cell | Live, form: Any = None) -> None:
        """Write one cell; text is text whatever it looks like."""
        if isinstance(cell, Live):
            value = cell.value
            plain = "" if value is None else value if isinstance(value, str) else float(value)
            sheet.write_formula(row, column, cell.formula, form, plain)
        elif isinstance(cell, str):
            sheet.write_string(row, column, cell, form)
        elif cell is not None:
            sheet.write_number(row, column, float(cell), form)

    def close(self) -> bytes:
        """The finished file."""
        self._book.close()
        return self._memory.getvalue()


def _lines(shown: Cell, width: int) -> int:
    """How many lines a text takes in a column of so many characters."""
    return len(textwrap.wrap(shown, width)) if isinstance(shown, str) and len(shown) > width else 1


def at(columns: Columns, heading: str, row: int | str = "", fixed: bool = False) -> str:
    """The address of a column, or of one of its cells, by the column's heading; rows are counted from 1."""
    return f"${columns.letters[heading]}{'$' if fixed else ''}{row}"
