"""Sheets on which a mark comes about: one for each stage, from readings to points, and one of all attempts."""

from __future__ import annotations

from collections.abc import Callable

from rubrics.book import HEAD, Book, Cell, Column, Columns, Live, at
from rubrics.book_places import MARKS, Line, Places, limits_off, sheet_of
from rubrics.grading_rules import DIGITS
from rubrics.marks import Mark
from rubrics.sheet_terms import Term, formula_term, reduced_term

NOT_MEASURED, WAITS, AGAIN = "not measured", "waits for an answer", "measure again"
ATTEMPTS = Columns((
    Column("student"), Column("name"), Column("check"), Column("attempt", "whole"), Column("date"),
    Column("target", "mm"), Column("reading", "mm"), Column("deviation", "signed"), Column("limits off", "limits off"),
    Column("level"), Column("verdict"), Column("points", "points"), Column("counts"),
    Column("what was made again", widest=40), Column("read by"), Column("file", printed=False),
    Column("key", printed=False),
))  # fmt: skip


def write_stage(book: Book, places: Places, stage: str) -> None:
    """A sheet with every check of a stage of every student, with live formulas from readings to points."""
    sheet = book.sheet(
        sheet_of(stage), f"Checks of the stage {stage}",
        "In mm. Limits and shares stand on the sheet Limits: change them there and the marks move.",
    )  # fmt: skip
    waiting = {one.student.id: one.waiting for one in places.grades.students}
    others = {one.student.id: dict(one.others) for one in places.grades.students}

    def cells(row: int, line: Line) -> list[Cell | Live]:
        if line.mark is not None:
            return _mark_cells(places, stage, row, line, line.mark)
        maker = others[line.student.id].get(line.check)
        why = f"made by {maker}" if maker else WAITS if line.check in waiting[line.student.id] else NOT_MEASURED
        blank = {
            "student": line.student.id, "name": line.student.name, "check": places.labels[line.check.id],
            "level": why, "check id": line.check.id,
        }  # fmt: skip
        return [blank.get(column.heading) for column in MARKS]

    end = book.table(sheet, MARKS, (cells(row, line) for row, line in enumerate(places.lines[stage], HEAD + 2)))
    tint_levels(book, sheet, places, MARKS.letters["level"], end)


def tint_levels(book: Book, sheet: object, places: Places, letter: str, end: int) -> None:
    """Shade a column of levels by its words, down to a row counted from 1."""
    tests = [f"${letter}{HEAD + 2}=INDEX(level_words,{n})" for n, _ in enumerate(places.levels, 1)]
    book.tint(sheet, f"{letter}{HEAD + 2}:{letter}{end}", tests)


def key(mark: Mark) -> str:
    """What finds one attempt on the sheet of its stage."""
    return f"{mark.student.id}|{mark.check.id}|{mark.attempt}"


def counting_key(student: str, check: str) -> str:
    """What finds the attempt that counts, by the ids of student and check."""
    return f"{student}|{check}"


def _mark_cells(places: Places, stage: str, row: int, line: Line, mark: Mark) -> list[Cell | Live]:
    check = mark.check

    def here(heading: str) -> str:
        return at(MARKS, heading, row)

    lower, upper, limit, middle = (places.limit(check, heading) for heading in ("lower", "upper", "limit", "middle"))
    left = f"({here('reading')}-{here('target')}-{here('set-up')}-{here('elsewhere')})"
    out = f"{left}-{upper}" if check.one_sided else f"MAX({left}-{upper},{lower}-{left})"
    level, plain = _level(places, here, limit, here("guard")), _level(places, here, limit, "0")
    planned, again = mark.value - mark.plan_deviation, AGAIN if mark.again else ""
    notes = [f"not charged here: {', '.join(mark.charged_at)}"] if mark.elsewhere else []
    notes += [mark.wood.words()] if mark.wood else []
    cells: dict[str, Cell | Live] = {
        "student": mark.student.id, "name": mark.student.name, "check": places.labels[check.id],
        "attempt": mark.attempt, "target": Live(f"={here('plan')}+{here('follows')}", mark.target),
        "lower": None if check.one_sided else Live(f"={here('target')}+{lower}", mark.lower),
        "upper": Live(f"={here('target')}+{upper}", mark.upper),
        "reading": _reading(places, mark),
        "deviation": Live(
            f"=ROUND({here('reading')}-{here('target')},{DIGITS})", round(mark.deviation, DIGITS)
        ),
        "set-up": mark.setup_shift, "elsewhere": mark.elsewhere,
        "limits off": Live(
            f'=IF({limit}=0,0,ROUND(({left}-{middle})/{limit},{DIGITS}))', round(limits_off(mark, mark.limit), DIGITS)
        ),
        "level": Live(f"={level}", mark.level.word),
        "points": Live(f"={places.limit(check, 'points')}*{_share(places, here('level'), mark)}", mark.points),
        "of": Live(f"={places.limit(check, 'points')}", check.points),
        "again": again if mark.wood else Live(f'=IF({here("level")}={plain},"","{AGAIN}")', again),
        "note": "; ".join(notes),
        "certainty": mark.certainty.verdict.value, "counts": _counts(places, stage, row, line, mark), "plan": planned,
        "follows": mark.target - planned,
        "from plan": Live(f"=ROUND({here('reading')}-{here('plan')},{DIGITS})", round(mark.plan_deviation, DIGITS)),
        "beyond": Live(f"=ROUND({out},{DIGITS})", round(mark.beyond, DIGITS)), "guard": mark.guard,
        "check id": check.id, "key": key(mark),
    }  # fmt: skip
    found = counting_key(mark.student.id, check.id) if mark.counts else ""
    live = isinstance(cells["counts"], Live)
    named = f'=IF({here("counts")}="yes",{here("student")}&"|"&{here("check id")},"")'
    cells["counting key"] = Live(named, found) if live else found
    return [cells[column.heading] for column in MARKS]


def _level(places: Places, here: Callable[[str], str], limit: str, guard: str) -> str:
    """The best level that a reading so far beyond its band does not disprove."""
    words = places.level_words()
    found = words[-1]
    for number in reversed(range(len(words) - 1)):
        edge = f"ROUND(({places.level_block.cell('B', number)}-1)*{limit}+{guard},{DIGITS})"
        found = f"IF({here('beyond')}<={edge},{words[number]},{found})"
    return found


def _share(places: Places, level: str, mark: Mark) -> str:
    """What a level earns of the points; with the policy `capped` no more than its cell for what was made again."""
    earned = f"INDEX(level_shares,MATCH({level},level_words,0))"
    return f"MIN({earned},{places.part_block.cell('B', 1)})" if places.redo and mark.attempt > 1 else earned


def _counts(places: Places, stage: str, row: int, line: Line, mark: Mark) -> Cell | Live:
    """Whether the attempt counts; with several, unless the latest does, the last of those with most points."""
    yes = "yes" if mark.counts else ""
    if line.attempts == 1 or places.grades.rules.policy == "latest":
        return yes
    student, check, attempt, points = (at(MARKS, h, row) for h in ("student", "check id", "attempt", "points"))
    students, checks, attempts, all_points = (
        places.every(stage, h) for h in ("student", "check id", "attempt", "points")
    )
    later = f'COUNTIFS({students},{student},{checks},{check},{all_points},{points},{attempts},">"&{attempt})'
    best = f"{points}=SUMPRODUCT(MAX(({students}={student})*({checks}={check})*{all_points}))"
    return Live(f'=IF(AND({best},{later}=0),"yes","")', yes)


def _reading(places: Places, mark: Mark) -> Cell | Live:
    """The result worked out of the sheet Readings; the bare number if it cannot be written as a formula there."""
    check, course = mark.check, places.course
    graph = course.cabinet.graph
    cells: dict[str, Term] = {}
    for name, _, _ in check.reads:
        own = [(one.key, one.value) for one in mark.readings if one.quantity == name and one.value is not None]
        read = graph[name].read
        take = "spread" if check.kind == "spread" else read.take if read else "mean"
        cells[name] = reduced_term([places.reading_rows[key] for key, _ in own], [value for _, value in own], take)
    term: Term | None = cells[check.reads[0][0]]
    if check.formula is not None:
        term = formula_term(check.formula, cells, course.values(mark.student).all, graph.index)
    return Live(f"={term.text}", mark.value) if term and term.value == mark.value else mark.value


def write_attempts(book: Book, places: Places) -> None:
    """The sheet of everything that was made again: each attempt, the first included."""
    lines = [line for stage in places.stages for line in places.lines[stage]]
    made = [line.mark for line in lines if line.mark is not None and line.attempts > 1]
    sheet = book.sheet(
        "Attempts", "What was made again",
        "Every attempt stays in the record. " + places.grades.rules.policy_words
        if made else "Nothing was made again so far.",
    )  # fmt: skip
    end = book.table(
        sheet, ATTEMPTS, [_attempt_cells(places, row, mark) for row, mark in enumerate(made, HEAD + 2)]
    )
    if made:
        tint_levels(book, sheet, places, ATTEMPTS.letters["level"], end)


def _attempt_cells(places: Places, row: int, mark: Mark) -> list[Cell | Live]:
    stage = mark.check.stage
    found = f"MATCH({at(ATTEMPTS, 'key', row)},{places.every(stage, 'key')},0)"

    def live(heading: str, value: Cell) -> Live:
        return Live(f"=INDEX({places.every(stage, heading)},{found})", value)

    def said(texts: list[str]) -> str:
        return "; ".join(dict.fromkeys(text for text in texts if text))

    cells: dict[str, Cell | Live] = {
        "student": mark.student.id, "name": mark.student.name, "check": places.labels[mark.check.id],
        "attempt": mark.attempt, "date": said([one.taken for one in mark.readings]),
        "target": live("target", mark.target), "reading": live("reading", mark.value),
        "deviation": live("deviation", round(mark.deviation, DIGITS)),
        "limits off": live("limits off", round(limits_off(mark, mark.limit), DIGITS)),
        "level": live("level", mark.level.word), "verdict": mark.certainty.verdict.value,
        "points": live("points", mark.points),
        "counts": Live(f'{live("counts", "").formula}&""', "yes" if mark.counts else ""),
        "what was made again": said([one.note for one in mark.readings]),
        "read by": said([one.reader for one in mark.readings]), "file": said([one.source for one in mark.readings]),
        "key": key(mark),
    }  # fmt: skip
    return [cells[column.heading] for column in ATTEMPTS]
