"""The whole class at a glance in the gradebook: all checks and all students, and how far each is off."""

from __future__ import annotations

from xlsxwriter.utility import xl_col_to_name

from rubrics.book import HEAD, TINTS, Book, Cell, Column, Columns, Live
from rubrics.book_places import Places, limits_off
from rubrics.checks import limit_of
from rubrics.grading_rules import DIGITS

HEAT_SHEET = "Heat map"
EDGE_COLUMNS = 4
"""Beside those of the students: stage, check and limit, and the id of the check behind them."""


def write_heat(book: Book, places: Places) -> None:
    """Checks down, students across; in each cell how many limits the own part lies from the middle of its band."""
    levels = places.levels
    sheet = book.sheet(
        HEAT_SHEET, "How many limits off, check by student",
        "Of the attempt that counts, without what the set-up of the class and other checks account for; + over, "
        "- under. Blank is not measured.",
    )  # fmt: skip
    people = places.course.students
    first = EDGE_COLUMNS - 1
    columns = Columns((
        Column("stage"), Column("check", widest=44), Column("limit", "fine"),
        *(Column(student.id, "heat") for student in people), Column("check id", printed=False),
    ))  # fmt: skip
    hidden = xl_col_to_name(first + len(people))
    rows = []
    for row, check in enumerate(places.grades.checks, HEAD + 2):
        cells: list[Cell | Live] = [
            check.stage, places.labels[check.id], Live(f"={places.limit(check, 'limit')}", limit_of(check))
        ]  # fmt: skip
        keys, off = (places.every(check.stage, heading) for heading in ("counting key", "limits off"))
        for number, student in enumerate(people):
            own = f'{xl_col_to_name(first + number)}${HEAD + 1}&"|"&${hidden}{row}'
            place = f"MATCH({own},{keys},0)"
            mark = places.marks.get((student.id, check.id))
            value = round(limits_off(mark, mark.limit), DIGITS) if mark else None
            cells.append(Live(f'=IF(ISNA({place}),"",INDEX({off},{place}))', value))
        rows.append([*cells, check.id])
    for number, student in enumerate(people):
        book.put(sheet, HEAD - 1, first + number, student.name, book.upright)
    sheet.set_row(HEAD - 1, 6 * max([len(student.name) for student in people], default=1) + 12)
    end = book.table(sheet, columns, rows, sortable=False)
    sheet.set_column(first, first + len(people) - 1, 5.5)
    sheet.freeze_panes(HEAD + 1, first)
    sheet.repeat_rows(HEAD - 1, HEAD)
    corner = f"{xl_col_to_name(first)}{HEAD + 2}"
    area = f"{corner}:{xl_col_to_name(first + len(people) - 1)}{end}"
    book.name("heat", _fixed(f"'{HEAT_SHEET}'", area))
    within = [f"ABS({corner})<=INDEX(level_within,{n})" for n in range(1, len(levels))]
    book.tint(sheet, area, [f"AND(ISNUMBER({corner}),{test})" for test in (*within, "TRUE")])
    for number, level in enumerate(levels):
        sheet.write_blank(end + 1 + number, 0, None, book.tints[min(number, len(TINTS) - 1)])
        far = f"within {float(level.within):g}" if level.within is not None else "beyond"
        book.put(sheet, end + 1 + number, 1, f"{far}: {level.word.lower()}, if the reading proves it")
    sheet.print_area(0, 0, end + len(levels), first + len(people) - 1)


def _fixed(sheet: str, area: str) -> str:
    """An area with its sheet, all fixed."""
    ends = []
    for end in area.split(":"):
        letters = end.rstrip("0123456789")
        ends.append(f"${letters}${end[len(letters) :]}")
    return f"{sheet}!{':'.join(ends)}"
