"""The gradebook: readings, checks with live formulas, grades and class figures in one workbook.

Every formula cell also holds the value worked out here, so that a preview or a program that does not calculate shows
the same as a spreadsheet does. Limits and shares stand on the sheet `Limits`; change them there and the marks move.
Lengths are in mm.
"""

from __future__ import annotations

from fractions import Fraction

import pandas

from rubrics.book import HEAD, Book, Cell, Column, Columns, Live, at
from rubrics.checks import Check
from rubrics.grading import Grades, Mark, StudentGrade, beyond, limit_of
from rubrics.sheet_terms import Term, formula_term, reduced_term

OVERVIEW = Columns((
    Column("student"), Column("name"), Column("points", "points"), Column("of", "whole"),
    Column("percent", "percent"), Column("measured", "whole"), Column("checks", "whole"),
    Column("lost most at", widest=70), Column("measure again", "whole"),
))  # fmt: skip
CHECKS = Columns((
    Column("student"), Column("name"), Column("stage"), Column("check"), Column("attempt", "whole"),
    Column("target", "mm"), Column("lower", "mm"), Column("upper", "mm"), Column("reading", "mm"),
    Column("deviation", "signed"), Column("set-up", "taken"), Column("elsewhere", "taken"), Column("level"),
    Column("points", "points"), Column("of", "whole"), Column("note", widest=24), Column("certainty", printed=False),
    Column("counts", printed=False), Column("plan", "mm", False), Column("follows", "signed", False),
    Column("from plan", "signed", False), Column("beyond", "signed", False), Column("guard", "fine", False),
    Column("check id", printed=False),
))  # fmt: skip
CLASS = Columns((
    Column("check"), Column("stage"), Column("measured", "whole"), Column("students", "whole"),
    Column("mean deviation", "signed"), Column("standard deviation", "fine"), Column("inside", "share"),
    Column("on the mark", "share"), Column("set-up", "signed"), Column("what it says"),
    Column("check id", printed=False),
))  # fmt: skip
LIMITS = Columns((
    Column("check id"), Column("check"), Column("stage"), Column("band"), Column("lower", "input"),
    Column("upper", "input"), Column("points", "input"), Column("limit", "fine"),
))  # fmt: skip
READINGS = Columns((
    Column("student"), Column("name"), Column("quantity"), Column("place", "whole"), Column("attempt", "whole"),
    Column("typed"), Column("mm", "fine"), Column("counts"), Column("instrument"), Column("reader"), Column("date"),
    Column("file"), Column("sheet"), Column("cell"), Column("note"),
))  # fmt: skip
UPPER_ONLY, BOTH = "upper only", "lower and upper"
NOT_MEASURED, WAITS = "not measured", "waits for an answer"


def write_gradebook(grades: Grades) -> bytes:
    """The gradebook of a course as an xlsx file; the same grades give the same bytes.

    Args:
        grades: All marks, as `rubrics.grading.grade` gives them.
    """
    return _Gradebook(grades).written()


class _Gradebook:
    """Where everything stands, and the sheets written from that."""

    def __init__(self, grades: Grades) -> None:
        self.grades, self.course = grades, grades.course
        course = self.course
        footer = f"{course.title}, {course.id} {course.date}".strip()
        self.book = Book(f"Gradebook: {course.title}", course.paper, footer)
        self.levels = grades.rules.levels
        self.level_rows = range(HEAD + 2, HEAD + 2 + len(self.levels))
        self.waiting = {one.student.id: one.waiting for one in grades.students}
        self.limit_head = HEAD + len(self.levels) + 3
        self.limit_rows = {check.id: self.limit_head + 2 + n for n, check in enumerate(grades.checks)}
        names = {student.id: student.name for student in course.students}
        order = {student: n for n, student in enumerate(names)}
        rows = [row for row in course.log.all() if row[1].student in names]
        rows.sort(key=lambda row: (order[row[1].student], row[0]))
        self.readings = [(reading, names[reading.student]) for _, reading in rows]
        self.reading_rows = {reading.key: HEAD + 2 + n for n, (reading, _) in enumerate(self.readings)}
        marks = {(m.student.id, m.check.id): [] for m in grades.marks}
        for mark in grades.marks:
            marks[mark.student.id, mark.check.id].append(mark)
        self.lines = [
            (student, check, mark, len(found))
            for student in course.students
            for check in grades.checks
            for found in [marks.get((student.id, check.id), [None])]
            for mark in found
        ]
        self.last = HEAD + 1 + max(len(self.lines), 1)

    def written(self) -> bytes:
        self.overview()
        self.check_sheet()
        self.grade_sheet()
        self.class_sheet()
        self.reading_sheet()
        self.limit_sheet()
        self.notes()
        return self.book.close()

    def every(self, heading: str) -> str:
        """All rows of a column of the sheet Checks."""
        letter = at(CHECKS, heading)
        return f"Checks!{letter}${HEAD + 2}:{letter}${self.last}"

    def limit(self, check: Check, heading: str) -> str:
        """A cell of a check on the sheet Limits."""
        return f"Limits!{at(LIMITS, heading, self.limit_rows[check.id], fixed=True)}"

    def overview(self) -> None:
        sheet = self.book.sheet(
            "Overview", self.course.title,
            "One row per student; sort by any heading. Blank means not measured, not zero.",
        )  # fmt: skip
        rows = []
        for number, one in enumerate(self.grades.students, HEAD + 2):
            own = f"{self.every('student')},{at(OVERVIEW, 'student', number)}"
            counted = f"{own},{self.every('counts')},\"yes\""
            points, of = at(OVERVIEW, "points", number), at(OVERVIEW, "of", number)
            worst = one.worst
            rows.append((
                one.student.id, one.student.name,
                Live(f"=SUMIFS({self.every('points')},{counted})", one.points),
                Live(f"=SUMIFS({self.every('of')},{counted})", one.of),
                Live(f'=IF({of}=0,"",ROUND(100*{points}/{of},1))', percent(one)),
                Live(f"=COUNTIFS({counted})", len(one.marks)),
                one.checks,
                f"{worst.check.title} ({worst.level.word}: {worst.words()})" if worst else "",
                sum(mark.again for mark in one.marks),
            ))  # fmt: skip
        self.book.table(sheet, OVERVIEW, rows)

    def check_sheet(self) -> None:
        sheet = self.book.sheet(
            "Checks", "Every check of every student",
            "In mm. Limits and shares stand on the sheet Limits: change them there and the marks move.",
        )  # fmt: skip
        first = HEAD + 2
        rows = []
        for row, (student, check, mark, attempts) in enumerate(self.lines, first):
            if mark is None:
                blank = {"student": student.id, "name": student.name, "stage": check.stage, "check": check.title,
                         "level": WAITS if check in self.waiting[student.id] else NOT_MEASURED,
                         "check id": check.id}  # fmt: skip
                rows.append([blank.get(column.heading) for column in CHECKS])
            else:
                rows.append(self.mark_cells(row, mark, attempts))
        end = self.book.table(sheet, CHECKS, rows)
        column = [c.heading for c in CHECKS].index("level")
        for number, tint in enumerate(self.book.tints):
            if number < len(self.levels):
                word = f"Limits!$A${self.level_rows[min(number, len(self.levels) - 1)]}"
                sheet.conditional_format(
                    HEAD + 1, column, end, column,
                    {"type": "formula", "criteria": f"={at(CHECKS, 'level', first)}={word}", "format": tint},
                )  # fmt: skip

    def mark_cells(self, row: int, mark: Mark, attempts: int) -> list[Cell | Live]:
        check = mark.check

        def here(heading: str) -> str:
            return at(CHECKS, heading, row)

        lower, upper, limit = (self.limit(check, heading) for heading in ("lower", "upper", "limit"))
        left = f"({here('reading')}-{here('target')}-{here('set-up')}-{here('elsewhere')})"
        out = f"{left}-{upper}" if check.one_sided else f"MAX({left}-{upper},{lower}-{left})"
        level = f"Limits!$A${self.level_rows[-1]}"
        for number in reversed(self.level_rows[:-1]):
            edge = f"ROUND((Limits!$B${number}-1)*{limit}+{here('guard')},6)"
            level = f"IF({here('beyond')}<={edge},Limits!$A${number},{level})"
        words, shares = (f"Limits!${c}${self.level_rows[0]}:${c}${self.level_rows[-1]}" for c in "AC")
        planned = mark.value - mark.plan_deviation
        notes = [f"charged at {', '.join(mark.charged_at)}"] if mark.elsewhere else []
        notes += ["measure again"] if mark.again else []
        notes += [mark.wood.words()] if mark.wood else []
        cells = {
            "student": mark.student.id, "name": mark.student.name, "stage": check.stage, "check": check.title,
            "attempt": mark.attempt, "target": Live(f"={here('plan')}+{here('follows')}", mark.target),
            "lower": None if check.one_sided else Live(f"={here('target')}+{lower}", mark.lower),
            "upper": Live(f"={here('target')}+{upper}", mark.upper),
            "reading": self.reading(mark),
            "deviation": Live(f"=ROUND({here('reading')}-{here('target')},6)", round(mark.deviation, 6)),
            "set-up": mark.setup_shift, "elsewhere": mark.elsewhere, "level": Live(f"={level}", mark.level.word),
            "points": Live(
                f"={self.limit(check, 'points')}*INDEX({shares},MATCH({here('level')},{words},0))", mark.points
            ),
            "of": Live(f"={self.limit(check, 'points')}", check.points), "certainty": mark.certainty.verdict.value,
            "note": "; ".join(notes), "counts": self.counts(row, mark, attempts), "plan": planned,
            "follows": mark.target - planned,
            "from plan": Live(f"=ROUND({here('reading')}-{here('plan')},6)", round(mark.plan_deviation, 6)),
            "beyond": Live(f"=ROUND({out},6)", round(mark.beyond, 6)), "guard": mark.guard, "check id": check.id,
        }  # fmt: skip
        return [cells[column.heading] for column in CHECKS]

    def counts(self, row: int, mark: Mark, attempts: int) -> Cell | Live:
        """Whether the attempt counts; with several and the policy `better`, the last of those with most points."""
        yes = "yes" if mark.counts else ""
        if attempts == 1 or self.grades.rules.policy != "better":
            return yes
        student, check, attempt, points = (at(CHECKS, h, row) for h in ("student", "check id", "attempt", "points"))
        same = f"({self.every('student')}={student})*({self.every('check id')}={check})"
        later = (
            f"COUNTIFS({self.every('student')},{student},{self.every('check id')},{check},"
            f'{self.every("points")},{points},{self.every("attempt")},">"&{attempt})'
        )
        best = f"{points}=SUMPRODUCT(MAX({same}*{self.every('points')}))"
        return Live(f'=IF(AND({best},{later}=0),"yes","")', yes)

    def reading(self, mark: Mark) -> Cell | Live:
        """The result worked out of the sheet Readings; the bare number if it cannot be written as a formula there."""
        check, graph = mark.check, self.course.cabinet.graph
        cells: dict[str, Term] = {}
        for name, _, _ in check.reads:
            own = [one for one in mark.readings if one.quantity == name and one.value is not None]
            read = graph[name].read
            take = "spread" if check.kind == "spread" else read.take if read else "mean"
            rows = [self.reading_rows[one.key] for one in own]
            cells[name] = reduced_term(rows, [one.value for one in own], take)
        if check.formula is None:
            term = cells[check.reads[0][0]]
        else:
            term = formula_term(check.formula, cells, self.course.values(mark.student).all, graph.index)
        return Live(f"={term.text}", mark.value) if term and term.value == mark.value else mark.value

    def grade_sheet(self) -> None:
        sheet = self.book.sheet("Grades", "Points by stage", "Points over what they are out of, for what is measured.")
        stages = list(dict.fromkeys(check.stage for check in self.grades.checks))
        columns = Columns((
            Column("student"), Column("name"),
            *(column for stage in stages
              for column in (Column(f"{stage} points", "points"), Column(f"{stage} of", "whole"))),
            Column("points", "points"), Column("of", "whole"), Column("percent", "percent"),
        ))  # fmt: skip
        rows = []
        for number, one in enumerate(self.grades.students, HEAD + 2):
            cells: list[Cell | Live] = [one.student.id, one.student.name]
            for stage in stages:
                own = [mark for mark in one.marks if mark.check.stage == stage]
                for what, value in (("points", sum(m.points for m in own)), ("of", sum(m.check.points for m in own))):
                    where = f"{self.every('student')},$A{number},{self.every('stage')},\"{stage}\""
                    cells.append(Live(f"=SUMIFS({self.every(what)},{where},{self.every('counts')},\"yes\")", value))
            for what, value in (("points", one.points), ("of", one.of)):
                parts = "+".join(at(columns, f"{stage} {what}", number) for stage in stages)
                cells.append(Live(f"={parts}", value))
            points, of = at(columns, "points", number), at(columns, "of", number)
            cells.append(Live(f'=IF({of}=0,"",ROUND(100*{points}/{of},1))', percent(one)))
            rows.append(cells)
        self.book.table(sheet, columns, rows)

    def class_sheet(self) -> None:
        sheet = self.book.sheet(
            "Class", "The class, check by check",
            "By the attempts that count, in mm; mean, standard deviation and share inside with the set-up still in.",
        )  # fmt: skip
        figures = class_frame(self.grades)
        rows = []
        for number, result in enumerate(self.grades.classes, HEAD + 2):
            check = result.check
            measured = at(CLASS, "measured", number)
            own = f"{self.every('check id')},{at(CLASS, 'check id', number)},{self.every('counts')},\"yes\""
            deviation = self.every("deviation")
            band = f'{deviation},"<="&{self.limit(check, "upper")}'
            if not check.one_sided:
                band += f',{deviation},">="&{self.limit(check, "lower")}'
            best = f"{self.every('level')},Limits!$A${self.level_rows[0]}"
            found = figures.loc[check.id] if result.measured else None
            setup = next(iter(result.setups), None)

            def share(test: str, value: float | None, own: str = own, measured: str = measured) -> Live:
                return Live(f'=IF({measured}=0,"",COUNTIFS({own},{test})/{measured})', value)

            rows.append((
                check.title, check.stage, Live(f"=COUNTIFS({own})", result.measured), result.students,
                Live(f'=IF({measured}=0,"",AVERAGEIFS({deviation},{own}))', None if found is None else found["mean"]),
                result.sd, share(band, None if found is None else found["inside"]),
                share(best, None if found is None else found["best"]),
                setup.shift if setup else None, setup.finding if setup else "", check.id,
            ))  # fmt: skip
        self.book.table(sheet, CLASS, rows)

    def reading_sheet(self) -> None:
        sheet = self.book.sheet(
            "Readings", "Every reading ever taken in",
            "The sheet Checks refers to these rows: do not sort them. A corrected reading stays and is marked.",
        )  # fmt: skip
        rows = []
        for number, (one, name) in enumerate(self.readings, HEAD + 2):
            state = "unreadable" if one.value is None else "yes"
            if self.reading_rows[one.key] != number:
                state = "replaced"
            rows.append((
                one.student, name, one.quantity, one.place, one.attempt, one.raw, one.value, state, one.instrument,
                one.reader, one.taken, one.source, one.sheet, one.cell, one.note,
            ))  # fmt: skip
        self.book.table(sheet, READINGS, rows, sortable=False)

    def limit_sheet(self) -> None:
        sheet = self.book.sheet(
            "Limits", "Limits, points and levels", "Change the shaded cells and all marks follow. In mm."
        )
        levels = (Column("level"), Column("within limits", "input"), Column("share of points", "input"))
        rows = [(level.word, level.within, level.share) for level in self.levels]
        self.book.table(sheet, levels, rows, sortable=False, frozen=False)
        checks = []
        for check in self.grades.checks:
            row = self.limit_rows[check.id]
            lower, upper = at(LIMITS, "lower", row), at(LIMITS, "upper", row)
            checks.append((
                check.id, check.title, check.stage, UPPER_ONLY if check.one_sided else BOTH,
                None if check.one_sided else check.lower, check.upper, check.points,
                Live(f"={upper}" if check.one_sided else f"=({upper}-{lower})/2", limit_of(check)),
            ))  # fmt: skip
        self.book.table(sheet, LIMITS, checks, self.limit_head, sortable=False, frozen=False)

    def notes(self) -> None:
        sheet = self.book.sheet("Notes", "How to read this workbook", "")
        lines = [
            *([INVENTED] if self.course.invented else []),
            *NOTES,
            *self.grades.rules.words,
        ]
        self.book.paragraphs(sheet, lines)


INVENTED = "The people of this course are invented, and nobody measured anything."
NOTES = (
    "Overview: one row a student. Checks: how each mark comes about. Grades: points by stage. Class: what the class "
    "made of each check. Readings: what was typed, and where. Limits: what may be changed.",
    "Checks, target: what the size should be now in this student's own cabinet, from the readings and cut parts before "
    "it. Right of the printed columns stand the plan's size and what the target follows (follows = target - plan).",
    "Checks, set-up: what the set-up of the class adds to the reading. Elsewhere: what is charged at another check. "
    "Both are taken out before the level is found.",
    "Checks, beyond: how far the reading then lies outside its band, negative inside. Guard: how far beyond an edge a "
    "reading may lie before it proves that the edge is passed; it comes from the uncertainty of the instrument.",
    "Checks, certainty: what the reading can say of the band, by its instrument: inside, probably inside, probably "
    "outside, outside, or that this tool cannot tell.",
    "Words, set-ups, guards and standard deviations are as they were when the file was written; points, levels, shares "
    "and means follow a change of Limits at once. To keep a change, write it into course.yaml or grading.yaml too.",
)


def percent(one: StudentGrade) -> Fraction | None:
    """Points of a student in percent of what they are out of, to one decimal."""
    return None if one.share is None else round(100 * one.share, 1)


def class_frame(grades: Grades) -> pandas.DataFrame:
    """Mean deviation [mm] and shares inside the band and at the best level, by check id, of the marks that count."""
    best = grades.rules.levels[0]
    frame = pandas.DataFrame(
        {
            "check": mark.check.id,
            "mean": float(round(mark.deviation, 6)),
            "inside": beyond(mark.check, mark.deviation) <= 0,
            "best": mark.level is best,
        }
        for one in grades.students
        for mark in one.marks
    )
    return frame.groupby("check").mean() if len(frame) else frame
