"""The gradebook: readings, checks with live formulas, grades and class figures in one workbook.

Every formula cell also holds the value worked out here, so that a preview or a program that does not calculate shows
the same as a spreadsheet does. Limits and shares stand on the sheet `Limits`; change them there and the marks move.
Lengths are in mm.
"""

from __future__ import annotations

import tempfile
from fractions import Fraction

import pandas
from xlsxwriter.exceptions import XlsxFileError

from rubrics.book import COLUMNS, HEAD, ROWS, Book, Cell, Column, Columns, Live, at
from rubrics.book_charts import write_charts
from rubrics.book_entry import BLANK_ROWS, write_judged, write_levels, write_readings
from rubrics.book_heat import EDGE_COLUMNS, write_heat
from rubrics.book_limits import write_limits
from rubrics.book_places import Places
from rubrics.book_stages import AGAIN, write_attempts, write_stage
from rubrics.final import GATE_WORDS, FinalMark, percent
from rubrics.grading_rules import DIGITS
from rubrics.judged import MET, NO_GATE, NOT_MET, NOT_RECORDED
from rubrics.marks import Grades, beyond, signed
from shared.places import Place
from shared.problems import InputRefused, Problem


def write_gradebook(grades: Grades) -> bytes:
    """The gradebook of a course as an xlsx file; the same grades give the same bytes.

    Args:
        grades: All marks, as `rubrics.grading.grade` gives them.

    Raises:
        TooLarge: The class does not go into a workbook (B080).
        InputRefused: `judged.yaml` of the course cannot be used, or there is no room for the file in the making (F004).
    """
    places = Places(grades)
    if problem := _too_large(places):
        raise TooLarge([problem])
    try:
        return _written(places)
    except (OSError, XlsxFileError) as error:
        says = f"the gradebook cannot be put together ({error})"
        do = "Make room on the disk, then grade again; nothing was changed."
        raise InputRefused([Problem("F004", Place(tempfile.gettempdir()), says, do)]) from None


class TooLarge(InputRefused):
    """A class that does not go into a workbook; whatever else is written of it can be written."""


def _too_large(places: Places) -> Problem | None:
    """What is said of a class that does not go into a workbook: each sheet has room for so many rows and columns."""
    students, rows = len(places.course.students), ROWS - HEAD - 1
    wanted, room, what = max((
        (len(places.readings), rows - BLANK_ROWS, "readings, one a row"),
        (max((len(lines) for lines in places.lines.values()), default=0), rows, "marks of one stage, one a row"),
        (len(places.judging.all) * students, rows, "judged marks, one a row"),
        (students, COLUMNS - EDGE_COLUMNS, "students, one a column of the heat map"),
    ), key=lambda asked: asked[0] / asked[1])  # fmt: skip
    if wanted <= room:
        return None
    says = f"the class is too large for one workbook: it has {wanted} {what}, and there is room for {room}"
    do = f"Split the roster into courses of about {students * room // wanted} students and grade each."
    return Problem("B080", Place("roster.csv"), says, do)


def _written(places: Places) -> bytes:
    course = places.course
    footer = f"{course.title}, {course.id} {course.date}".strip()
    book = Book(f"Gradebook: {course.title}", course.paper, footer, course.wording.text)
    write_overview(book, places)
    write_heat(book, places)
    write_charts(book, places)
    for stage in places.stages:
        write_stage(book, places, stage)
    write_judged(book, places)
    write_levels(book, places)
    write_grades(book, places)
    write_class(book, places)
    write_attempts(book, places)
    write_readings(book, places)
    write_limits(book, places)
    write_notes(book, places)
    return book.close()


def overview_columns(places: Places) -> Columns:
    """Columns of the sheet Overview."""
    return Columns((
        Column("student"), Column("name"), *(Column(stage, "percent") for stage in places.stages),
        Column("percent", "percent"), Column("judged", "percent"),
        Column("total", "percent"), Column("safety"), Column("grade"), Column("measured", "whole"),
        Column("checks", "whole"), Column("measure again", "whole"), Column("lost most at", widest=56),
    ))  # fmt: skip


def write_overview(book: Book, places: Places) -> None:
    """One row a student, with bars for the stages and a word for the whole."""
    sheet = book.sheet(
        "Overview", places.course.title,
        "One row per student; sort by any heading. Percent of the points of what is measured; blank is not measured, "
        "not zero. Safety is a gate, no points.",
    )  # fmt: skip
    columns = overview_columns(places)
    rows = (overview_row(places, columns, row, one) for row, one in enumerate(places.final, HEAD + 2))
    end = book.table(sheet, columns, rows)
    for heading in (*places.stages, "percent", "judged", "total"):
        letter = columns.letters[heading]
        book.bars(sheet, f"{letter}{HEAD + 2}:{letter}{end}", 100)
        if heading in places.stages:
            sheet.set_column(f"{letter}:{letter}", 10)
            book.name(f"stage_{heading}", f"Overview!${letter}${HEAD + 2}:${letter}${end}")
    book.name("overview_students", f"Overview!$A${HEAD + 2}:$A${end}")
    letter = columns.letters["grade"]
    words = [f"${letter}{HEAD + 2}=INDEX(whole_words,{n})" for n, _ in enumerate(places.grades.rules.grades, 1)]
    book.tint(sheet, f"{letter}{HEAD + 2}:{letter}{end}", words)


def overview_row(places: Places, columns: Columns, row: int, one: FinalMark) -> list[Cell | Live]:
    """The row of a student, out of the sheet Grades."""
    grades, grade, worst = grade_columns(places), one.grade, one.grade.worst
    found = f"MATCH({at(columns, 'student', row)},Grades!$A$1:$A${HEAD + 1 + len(places.final)},0)"

    def from_grades(heading: str, value: Cell) -> Live:
        letter = grades.letters[heading]
        return Live(f"=INDEX(Grades!${letter}$1:${letter}${HEAD + 1 + len(places.final)},{found})", value)

    cells: dict[str, Cell | Live] = {
        "student": one.student.id, "name": one.student.name, "checks": grade.checks,
        "percent": from_grades("percent", one.percent), "judged": from_grades("judged", percent(one.judged.share)),
        "total": from_grades("total", one.total), "safety": from_grades("safety", one.judged.gate),
        "grade": from_grades("grade", one.word),
        "lost most at": f"{worst.check.title} ({worst.level.word}, {signed(worst.deviation)})" if worst else "",
    }  # fmt: skip
    for stage in places.stages:
        points, of = one.stages[stage]
        cells[stage] = from_grades(f"{stage} percent", percent(points / of) if of else None)
    own = f'{{a}},{at(columns, "student", row)},{{b}},"yes"'
    cells["measured"] = Live("=" + places.over_stages(f"COUNTIFS({own})", ("student", "counts")), len(grade.marks))
    cells["measure again"] = Live(
        "=" + places.over_stages(f'COUNTIFS({own},{{c}},"{AGAIN}")', ("student", "counts", "again")),
        sum(mark.again for mark in grade.marks),
    )
    return [cells[column.heading] for column in columns]


def grade_columns(places: Places) -> Columns:
    """Columns of the sheet Grades."""
    return Columns((
        Column("student"), Column("name"),
        *(Column(f"{stage} {what}", form) for stage in places.stages
          for what, form in (("points", "points"), ("of", "whole"))),
        Column("points", "points"), Column("of", "whole"), Column("percent", "percent"), Column("judged", "percent"),
        Column("total", "percent"), Column("safety"), Column("grade"),
        *(Column(f"{stage} percent", "percent", False) for stage in places.stages),
        Column("judged earned", "fine", False), Column("judged weight", "fine", False),
    ))  # fmt: skip


def write_grades(book: Book, places: Places) -> None:
    """Points of each student by stage, what was judged beside them, the gate, and the word for the whole."""
    sheet = book.sheet(
        "Grades", "Points by stage", "Points over what they are out of, for what is measured. "
        "Judged marks stand apart; how much of the total they make is said on the sheet Limits.",
    )  # fmt: skip
    columns = grade_columns(places)
    book.table(sheet, columns, (grade_row(places, columns, row, one) for row, one in enumerate(places.final, HEAD + 2)))


def grade_row(places: Places, columns: Columns, row: int, one: FinalMark) -> list[Cell | Live]:
    """Sums over the sheets of stages and the sheet of judged marks."""

    def here(heading: str) -> str:
        return at(columns, heading, row)

    student = here("student")
    cells: dict[str, Cell | Live] = {"student": one.student.id, "name": one.student.name}
    for stage in places.stages:
        points, of = one.stages[stage]
        sums: tuple[tuple[str, Cell], ...] = (("points", points), ("of", of))
        for what, value in sums:
            own = f'{places.every(stage, "student")},{student},{places.every(stage, "counts")},"yes"'
            cells[f"{stage} {what}"] = Live(f"=SUMIFS({places.every(stage, what)},{own})", value)
        cells[f"{stage} percent"] = Live(
            _percent(here(f"{stage} of"), f"{here(f'{stage} points')}/{here(f'{stage} of')}"),
            percent(points / of) if of else None,
        )
    for what, value in (("points", one.grade.points), ("of", one.grade.of)):
        cells[what] = Live("=" + "+".join(here(f"{stage} {what}") for stage in places.stages), value)
    seen = one.judged
    weight = sum((mark.item.weight for mark in seen.marks if mark.share is not None), Fraction(0))
    cells["judged earned"] = Live(
        f"=SUMIFS(judged_earned_cells,judged_student_cells,{student})", (seen.share or 0) * weight
    )
    cells["judged weight"] = Live(f"=SUMIFS(judged_weight_cells,judged_student_cells,{student})", weight)
    measured, judged = f"{here('points')}/{here('of')}", f"{here('judged earned')}/{here('judged weight')}"
    cells["percent"] = Live(_percent(here("of"), measured), one.percent)
    cells["judged"] = Live(_percent(here("judged weight"), judged), percent(seen.share))
    both = f"IF({here('judged weight')}=0,{measured},(1-judged_part)*{measured}+judged_part*{judged})"
    cells["total"] = Live(_percent(here("of"), both), one.total)
    cells["safety"] = Live(f"={_gate(places, student)}", seen.gate)
    cells["grade"] = Live(f"={_word(places, here('total'), here('safety'))}", one.word)
    return [cells[column.heading] for column in columns]


def _percent(of: str, share: str) -> str:
    return f'=IF({of}=0,"",ROUND(100*{share},1))'


def _gate(places: Places, student: str) -> str:
    """What a formula says of all gates of a student."""
    gates = places.judging.gates
    if not gates:
        return f'"{NO_GATE}"'

    def count(gate: str, word: str) -> str:
        return f'COUNTIFS(judged_student_cells,{student},judged_item_cells,"{gate}",judged_level_cells,"{word}")'

    failed = "+".join(count(gate.id, NOT_MET) for gate in gates)
    met = ",".join(f"{count(gate.id, MET)}>0" for gate in gates)
    return f'IF({failed}>0,"{NOT_MET}",IF(AND({met}),"{MET}","{NOT_RECORDED}"))'


def _word(places: Places, total: str, gate: str) -> str:
    """The word for the whole as a formula, or what it waits for."""
    words = range(len(places.grades.rules.grades))
    found = places.word_block.cell("A", words[-1])
    for n in reversed(words[:-1]):
        found = f"IF({total}>={places.word_block.cell('B', n)},{places.word_block.cell('A', n)},{found})"
    open_ = f'OR({gate}="{MET}",{gate}="{NO_GATE}")'
    held = f'IF({gate}="{NOT_MET}","{GATE_WORDS[NOT_MET]}","{GATE_WORDS[""]}")'
    return f'IF({total}="","",IF({open_},{found},{held}))'


def class_columns(places: Places) -> Columns:
    """Columns of the sheet Class."""
    return Columns((
        Column("check"), Column("stage"), Column("measured", "whole"), Column("students", "whole"),
        Column("mean deviation", "signed"), Column("standard deviation", "fine"), Column("inside", "share"),
        *(Column(f"{level.word}", "whole") for level in places.levels),
        Column("set-up", "signed"), Column("what it says", widest=60), Column("check id", printed=False),
    ))  # fmt: skip


def write_class(book: Book, places: Places) -> None:
    """Figures of the class, check by check."""
    sheet = book.sheet(
        "Class", "The class, check by check",
        "By the attempts that count, in mm; mean, standard deviation and share inside with the set-up still in; then "
        "marks by level.",
    )  # fmt: skip
    columns, figures = class_columns(places), class_frame(places.grades)
    rows = []
    for row, result in enumerate(places.grades.classes, HEAD + 2):
        check, stage = result.check, result.check.stage
        measured, mean = at(columns, "measured", row), at(columns, "mean deviation", row)
        ids, counts, deviation = (places.every(stage, h) for h in ("check id", "counts", "deviation"))
        id_ = at(columns, "check id", row)
        own = f'{ids},{id_},{counts},"yes"'
        band = f'{deviation},"<="&{places.limit(check, "upper")}'
        if not check.one_sided:
            band += f',{deviation},">="&{places.limit(check, "lower")}'
        found = figures.loc[check.id] if result.measured else None
        setup = next(iter(result.setups), None)
        squares = f'SUMPRODUCT(({ids}={id_})*({counts}="yes")*({deviation}-{mean})^2)'
        marks = [mark for (_, of), mark in places.marks.items() if of == check.id]
        rows.append((
            places.labels[check.id], stage, Live(f"=COUNTIFS({own})", result.measured), result.students,
            Live(f'=IF({measured}=0,"",AVERAGEIFS({deviation},{own}))', None if found is None else found["mean"]),
            Live(f'=IF({measured}<2,"",SQRT({squares}/({measured}-1)))', result.sd),
            Live(f'=IF({measured}=0,"",COUNTIFS({own},{band})/{measured})', None if found is None else found["inside"]),
            *(Live(f"=COUNTIFS({own},{places.every(stage, 'level')},{word})", sum(m.level is level for m in marks))
              for level, word in zip(places.levels, places.level_words(), strict=True)),
            setup.shift if setup else None, setup.finding if setup else "", check.id,
        ))  # fmt: skip
    end = book.table(sheet, columns, rows)
    letter = columns.letters["inside"]
    book.bars(sheet, f"{letter}{HEAD + 2}:{letter}{end}", 1)


def write_notes(book: Book, places: Places) -> None:
    """How to read the workbook, and the rule of grading in sentences."""
    sheet = book.sheet("Notes", "How to read this workbook", "")
    invented = [INVENTED] if places.course.invented else []
    book.paragraphs(sheet, [*invented, *NOTES, *places.grades.rules.words])


INVENTED = "The people of this course are invented, and nobody measured anything."
NOTES = (
    "Overview: one row a student. Heat map: all checks and students at a glance. Charts: one check, one student, the "
    "class. Then a sheet for each stage: how each mark comes about. Judged: what is seen rather than measured; Levels: "
    "what the words mean. Grades: points by stage. Class: what the class made of each check. Attempts: what was made "
    "again. Readings: what was typed, and where. Limits: what may be changed.",
    "Sheets of stages, target: what the size should be now in this student's own cabinet, from the readings and cut "
    "parts before it. Right of the printed columns stand the plan's size and what the target follows (follows = target "
    "- plan).",
    "Set-up: what the set-up of the class adds to the reading. Elsewhere: what is charged at another check. Both are "
    "taken out before the level is found. Limits off: how many limits the rest lies from the middle of its band.",
    "Beyond: how far the reading then lies outside its band, negative inside. Guard: how far beyond an edge a reading "
    "may lie before it proves that the edge is passed; it comes from the uncertainty of the instrument. So a level may "
    "stand although the number is a little outside it; then the part is to be measured again.",
    "Certainty: what the reading can say of the band, by its instrument: inside, probably inside, probably outside, "
    "outside, or that this tool cannot tell.",
    "Names of cells, as level_words or check_upper, stand in the list of names of the spreadsheet program.",
    "What is found from the whole class or in words (set-ups, guards, what a student lost most at) is as it was when "
    "the file was written; levels, points, percents, words for the whole, the heat map, the charts, means and standard "
    "deviations follow a change of Limits at once. To keep a change, write it into course.yaml or grading.yaml too.",
    "Shaded cells of Readings and Judged come back: save this file and run collect or grade. What was changed becomes "
    "a new row of the record, marked as changed here; nothing is removed, and nothing is taken twice.",
)


def class_frame(grades: Grades) -> pandas.DataFrame:
    """Mean deviation [mm] and share inside the band, by check id, of the marks that count."""
    frame = pandas.DataFrame(
        {
            "check": mark.check.id,
            "mean": float(round(mark.deviation, DIGITS)),
            "inside": beyond(mark.check, mark.deviation) <= 0,
        }
        for one in grades.students
        for mark in one.marks
    )
    return frame.groupby("check").mean() if len(frame) else frame
