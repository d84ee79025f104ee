"""Cells of a workbook as a person typed them."""

from __future__ import annotations

import re

from openpyxl.cell import Cell


def as_typed(cell: Cell) -> object:
    """The value of a cell; a number that its program shows as a fraction is inches, as the fraction was when typed."""
    if isinstance(cell.value, (int, float)) and re.search(r"[?#\d]/[?#\d]", str(cell.number_format)):
        return f"{number_text(cell.value)} in"
    return cell.value


def number_text(value: float) -> str:
    """A number cell as it would be typed: the shortest text that is the same number."""
    return str(int(value)) if float(value).is_integer() else repr(float(value))


def plain_text(value: object) -> str:
    """What a cell says, without the blanks around it; nothing for an empty cell."""
    if value is None:
        return ""
    return number_text(value) if isinstance(value, (int, float)) and not isinstance(value, bool) else str(value).strip()
