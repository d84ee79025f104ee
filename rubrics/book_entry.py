"""The two sheets of the gradebook that an instructor writes into: readings and judged marks.

A row carries the number it has in the log, so that `collect` can tell what was changed since the sheet was written.
"""

from __future__ import annotations

from course.course import Course
from course.readings import Judgement, Reading
from course.roster import Student
from rubrics.book import HEAD, Book, Cell, Column, Columns, Live, at
from rubrics.book_places import Places
from rubrics.judged import MET, NOT_MET, Item

READINGS_SHEET, JUDGED_SHEET = "Readings", "Judged"
READINGS = Columns((
    Column("student"), Column("name"), Column("quantity"), Column("place", "whole"), Column("attempt", "whole"),
    Column("typed", "typed"), Column("mm", "input fine"), Column("counts"), Column("instrument"),
    Column("reader", "typed"), Column("date"), Column("file"), Column("sheet"), Column("cell"),
    Column("note", "typed", widest=40), Column("row", "whole", printed=False),
))  # fmt: skip
JUDGED = Columns((
    Column("student"), Column("name"), Column("what", widest=30), Column("level", "typed"),
    Column("judged by", "typed"), Column("date", "typed"), Column("note", "typed"), Column("share", "share"),
    Column("weight", "fine", printed=False), Column("earned", "fine", printed=False), Column("item", printed=False),
    Column("kind", printed=False), Column("row", "whole", printed=False),
))  # fmt: skip
ITEM, GATE = "item", "gate"
"""What a row of the sheet of judged marks is about."""
COURSE, ROWS = "Course", "Rows in the log"
"""Labels above the headings, each followed by its value."""
COUNTS, REPLACED, HELD, UNREADABLE = "yes", "replaced", "to be confirmed", "unreadable"
"""Whether a reading counts."""
BLANK_ROWS = 20
"""Rows below the readings that are shaded for more."""


def course_line(book: Book, sheet: object, course: Course, rows: int) -> None:
    """The line above the headings by which `collect` knows the course and how far its log went."""
    for column, text in enumerate((COURSE, course.id, ROWS)):
        book.put(sheet, HEAD - 1, column, text)
    book.put(sheet, HEAD - 1, 3, rows, book.left)


def write_readings(book: Book, places: Places) -> None:
    """The sheet of every reading ever taken in; the sheets of stages refer to its rows."""
    sheet = book.sheet(
        READINGS_SHEET, "Every reading ever taken in",
        "To correct one, type over it, in mm or as on the measuring sheet, save, and run collect; more may be added "
        "below. Nothing is removed. Do not sort.",
    )  # fmt: skip
    course_line(book, sheet, places.course, max((number for number, _, _ in places.readings), default=0))
    rows = (_reading_row(number, one, name, number in places.counting) for number, one, name in places.readings)
    book.table(sheet, READINGS, rows, sortable=False, more=BLANK_ROWS)


def _reading_row(number: int, one: Reading, name: str, counts: bool) -> tuple[Cell, ...]:
    state = UNREADABLE if one.value is None else COUNTS if counts else HELD if one.held else REPLACED
    return (
        one.student, name, one.quantity, one.place, one.attempt, one.raw, one.value, state, one.instrument,
        one.reader, one.taken, one.source, one.sheet, one.cell, one.note, number,
    )  # fmt: skip


def judged_lines(places: Places) -> list[tuple[Item, Student, int, Judgement | None]]:
    """The rows of the sheet of judged marks: item by item, student by student, one for each judge or an empty one."""
    said: dict[tuple[str, str], list[tuple[int, Judgement]]] = {}
    for number, one in places.course.log.judgements():
        said.setdefault((one.student, one.item), []).append((number, one))
    return [
        (item, student, number, one)
        for item in places.judging.all
        for student in places.course.students
        for number, one in said.get((student.id, item.id), [(0, None)])
    ]


def write_judged(book: Book, places: Places) -> None:
    """The sheet of judged marks, to be filled in item by item, so that a whole class is seen with the same eyes."""
    sheet = book.sheet(
        JUDGED_SHEET, "Judged marks",
        "What is seen rather than measured. Choose a level in the shaded column, save, and run collect. What a level "
        "means stands on the sheet Levels.",
    )  # fmt: skip
    lines = judged_lines(places)
    course_line(book, sheet, places.course, max((number for _, _, number, _ in lines), default=0))
    book.table(sheet, JUDGED, (_judged_row(places, row, *line) for row, line in enumerate(lines, HEAD + 2)))
    last, letter = HEAD + 1 + max(len(lines), 1), JUDGED.letters["level"]
    first = HEAD + 2
    for item in places.judging.all:
        count = sum(line[0] is item for line in lines)
        source = [MET, NOT_MET] if item.gate else "=judged_words"
        if count:
            book.choice(sheet, f"{letter}{first}:{letter}{first + count - 1}", source)
        first += count
    tests = [f"${letter}{HEAD + 2}=INDEX(judged_words,{n})" for n, _ in enumerate(places.judging.levels, 1)]
    book.tint(sheet, f"{letter}{HEAD + 2}:{letter}{last}", tests)
    for heading in ("student", "level", "weight", "earned", "item"):
        column = at(JUDGED, heading)
        book.name(f"judged_{heading}_cells", f"{JUDGED_SHEET}!{column}${HEAD + 2}:{column}${last}")


def _judged_row(
    places: Places, row: int, item: Item, student: Student, number: int, one: Judgement | None
) -> list[Cell | Live]:
    level, who, owner = (at(JUDGED, heading, row) for heading in ("level", "item", "student"))
    cells: dict[str, Cell | Live] = {
        "student": student.id, "name": student.name, "what": item.title, "level": one.level if one else None,
        "judged by": one.judge if one else None, "date": one.at if one else None, "note": one.note if one else None,
        "item": item.id, "kind": GATE if item.gate else ITEM, "row": number,
    }  # fmt: skip
    if not item.gate:
        judging = places.judging
        share = judging.levels.get(one.level) if one else None
        own = f"judged_student_cells,{owner},judged_item_cells,{who},judged_level_cells"
        judges = "+".join(f"COUNTIFS({own},INDEX(judged_words,{n}))" for n, _ in enumerate(judging.levels, 1))
        weight = f"INDEX(item_weights,MATCH({who},item_ids,0))/({judges})"
        found = earned = None
        if share is not None:
            mark = next(mark for mark in places.judged[student.id].marks if mark.item.id == item.id)
            found = item.weight / len(mark.judgements)
            earned = share * found
        at_share, at_weight = at(JUDGED, "share", row), at(JUDGED, "weight", row)
        cells["share"] = Live(f'=IFERROR(INDEX(judged_shares,MATCH({level},judged_words,0)),"")', share)
        cells["weight"] = Live(f'=IF({at_share}="","",{weight})', found)
        cells["earned"] = Live(f'=IF({at_share}="","",{at_share}*{at_weight})', earned)
    return [cells.get(column.heading) for column in JUDGED]


def write_levels(book: Book, places: Places) -> None:
    """What each level means for each thing that is judged; may lie beside the sheet while judging."""
    sheet = book.sheet(
        "Levels", "What the judged levels mean",
        "A safe way of working is a gate: it must be met, and gives no points.",
    )  # fmt: skip
    judging = places.judging
    columns = Columns((
        Column("what", widest=18), Column("how to look", widest=34),
        *(Column(word, widest=30) for word in judging.levels),
    ))  # fmt: skip
    rows = [(item.title, item.look, *(item.levels[word] for word in judging.levels)) for item in judging.items]
    end = book.table(sheet, columns, rows, sortable=False)
    if judging.gates:
        gates = Columns((Column("gate", widest=18), Column("how to look", widest=34), Column(MET, widest=30),
                         Column(NOT_MET, widest=30)))  # fmt: skip
        rows = [(gate.title, gate.look, gate.levels[MET], gate.levels[NOT_MET]) for gate in judging.gates]
        end = book.table(sheet, gates, rows, end + 1, sortable=False, frozen=False)
    sheet.print_area(0, 0, end - 1, len(columns) - 1)
