"""Charts of the gradebook, drawn from cells that are formulas: another limit, check or student moves them."""

from __future__ import annotations

from collections.abc import Sequence
from fractions import Fraction
from typing import Any

from rubrics.book import HEAD, Book, Cell, Column, Columns, Live, at
from rubrics.book_places import Places, limits_off
from rubrics.checks import Check
from rubrics.final import percent
from rubrics.grading_rules import DIGITS
from rubrics.marks import Mark

CHARTS_SHEET = "Charts"
STEP, FAR = Fraction(1, 2), 4
"""Width of the bars of the distribution, and how far they go before all the rest stands in one; in limits."""
WIDE, TALL, LINES = 1120, 300, 16
"""Of a chart in pixels, and how many rows it takes."""
DARK, PALE = "1F4E79", "D9D9D9"
STUDENTS = Columns((
    Column("student", widest=60), Column("on the chart", widest=44), Column("as read", "signed"),
    Column("own part", "signed"), Column("lower limit", "signed"), Column("upper limit", "signed"),
    Column("limits off", "limits off"),
))  # fmt: skip
SPREAD = Columns((
    Column("limits from the middle"), Column("within", "whole"), Column("beyond", "whole"),
))  # fmt: skip
PROGRESS = Columns((Column("stage"), Column("on the chart"), Column("class", "percent"), Column("student", "percent")))


class _Charts:
    """The sheet and what it shows."""

    def __init__(self, book: Book, places: Places) -> None:
        self.book, self.places = book, places
        self.people, self.checks = places.course.students, places.grades.checks
        self.check = self._first_check()
        self.level_lines = max(LINES, 4 + len(self.checks) * 3 // 4)
        self.feed = HEAD + 2 * LINES + self.level_lines + 8
        self.student_rows = self.feed + 2, self.feed + 1 + max(len(self.people), 1)
        self.spread_head = self.feed + len(self.people) + 3
        self.progress_head = self.spread_head + 2 * int(FAR / STEP) + 5
        self.level_head = self.progress_head + len(places.stages) + 3

    def _first_check(self) -> Check | None:
        """The check at which most marks are not the best."""
        best = self.places.levels[0]
        lost = {check.id: 0 for check in self.checks}
        for mark in self.places.marks.values():
            lost[mark.check.id] += mark.level is not best
        return max(self.checks, key=lambda check: lost[check.id], default=None)

    def write(self) -> None:
        """Write the sheet."""
        self.sheet = self.book.sheet(
            CHARTS_SHEET, "Charts",
            "Choose a check and a student in the shaded cells; the charts follow, as they do when limits are changed.",
            charts=True,
        )  # fmt: skip
        put, shaded = self.book.put, self.book.forms["typed"]
        for row, (label, value, source) in enumerate((
            ("check", self.places.labels[self.check.id] if self.check else "", "=check_titles"),
            ("student", self.people[0].id if self.people else "", "=student_ids"),
        ), HEAD - 1):  # fmt: skip
            put(self.sheet, row, 0, label)
            put(self.sheet, row, 1, value, shaded)
            self.book.choice(self.sheet, f"B{row + 1}", source)
        self.book.name("chosen_check", f"{CHARTS_SHEET}!$B${HEAD}")
        self.book.name("chosen_student", f"{CHARTS_SHEET}!$B${HEAD + 1}")
        put(self.sheet, self.feed - 2, 0, "What the charts are drawn from", self.book.title)
        self.progress()
        self.levels()
        self.spread()
        self.deviations()
        self.sheet.set_column(0, 0, 18)
        self.sheet.set_column(1, 1, 44)
        self.sheet.set_column(2, 6, 20)
        self.sheet.print_area(0, 0, HEAD + 2 + 2 * LINES + self.level_lines, 6)
        self.sheet.set_h_pagebreaks([HEAD + 1 + 2 * LINES])
        self.sheet.freeze_panes(HEAD + 1, 0)

    def table(self, columns: Columns, rows: Sequence[Sequence[Cell | Live]], head: int) -> None:
        self.book.table(self.sheet, columns, rows, head, sortable=False, frozen=False)

    def cells(self, columns: Columns, heading: str, head: int, rows: int) -> str:
        letter = columns.letters[heading]
        return f"={CHARTS_SHEET}!${letter}${head + 2}:${letter}${head + 1 + max(rows, 1)}"

    def chosen(self, name: str) -> str:
        """What the table of checks says of the chosen one."""
        return f"INDEX({name},MATCH(chosen_check,check_titles,0))"

    def deviations(self) -> None:
        """The chosen check, student by student, against its limits."""
        rows = []
        for row, student in enumerate(self.people, self.feed + 2):
            mark = self.places.marks.get((student.id, self.check.id)) if self.check else None
            rows.append(self.student_row(row, student.id, student.name, mark))
        self.table(STUDENTS, rows, self.feed)
        self.book.name("student_ids", self.cells(STUDENTS, "student", self.feed, len(rows))[1:])
        chart = self.book.chart("column", "", "", "mm from the target")
        chart.set_title({"name": f"={CHARTS_SHEET}!$B${HEAD}", "name_font": {"size": 12}})
        for heading, color in (("as read", PALE), ("own part", DARK)):
            self.series(chart, STUDENTS, "on the chart", heading, self.feed, len(rows), fill=color)
        lines = self.book.chart("line", "", "", "")
        for heading, dash in (("upper limit", "solid"), ("lower limit", "dash")):
            self.series(lines, STUDENTS, "on the chart", heading, self.feed, len(rows), line=dash)
        chart.combine(lines)
        self.place(chart, 0)

    def student_row(self, row: int, id_: str, name: str, mark: Mark | None) -> list[Cell | Live]:
        places = self.places
        own = f'{{a}},$A{row}&"|"&{self.chosen("check_ids")}'
        count = places.over_stages(f"COUNTIF({own})", ("counting key",))
        read = places.over_stages(f"SUMIF({own},{{b}})", ("counting key", "deviation"))
        off = places.over_stages(f"SUMIF({own},{{b}})", ("counting key", "limits off"))
        shown, limits = f"{at(STUDENTS, 'as read', row)}", at(STUDENTS, "limits off", row)
        check = self.check
        label = f"{id_} {name}"
        return [
            id_, Live(f'=IF({shown}="","{_quoted(label)}: not measured","{_quoted(label)}")',
                      label if mark else f"{label}: not measured"),
            Live(f'=IF({count}=0,"",{read})', round(mark.deviation, DIGITS) if mark else None),
            Live(f'=IF({limits}="","",{limits}*{self.chosen("check_limit")}+{self.chosen("check_middle")})',
                 mark.own if mark else None),
            Live(f"={self.chosen('check_lower')}+0", check.lower if check and not check.one_sided else 0),
            Live(f"={self.chosen('check_upper')}", check.upper if check else 0),
            Live(f'=IF({shown}="","",{off})', round(limits_off(mark, mark.limit), DIGITS) if mark else None),
        ]  # fmt: skip

    def spread(self) -> None:
        """How the class spreads over the band of the chosen check."""
        marks = [m for m in self.places.marks.values() if m.check is self.check]
        offs = [round(limits_off(m, m.limit), DIGITS) for m in marks]
        first, last = self.student_rows
        letter = STUDENTS.letters["limits off"]
        where = f"${letter}${first}:${letter}${last}"
        edges = [STEP * n for n in range(-int(FAR / STEP), int(FAR / STEP) + 1)]
        rows = []
        for low, high in zip([None, *edges], [*edges, None], strict=True):
            inside = low is not None and high is not None and low >= -1 and high <= 1
            tests, found = [], offs
            if low is not None:
                closed = low == -1
                tests.append(f'{where},">{"=" if closed else ""}{float(low):g}"')
                found = [off for off in found if off > low or (closed and off == low)]
            if high is not None:
                closed = high != -1
                tests.append(f'{where},"<{"=" if closed else ""}{float(high):g}"')
                found = [off for off in found if off < high or (closed and off == high)]
            live = Live(f"=COUNTIFS({','.join(tests)})", len(found))
            rows.append((_bin(low, high), live if inside else None, None if inside else live))
        self.table(SPREAD, rows, self.spread_head)
        across = "limits from the middle of the band"
        chart = self.book.chart("column", "The class against the band", across, "students", "stacked")
        for heading, fill in (("within", DARK), ("beyond", None)):
            self.series(
                chart, SPREAD, "limits from the middle", heading, self.spread_head, len(rows), fill=fill, gap=15
            )
        chart.set_y_axis({"name": "students", "major_gridlines": {"visible": False}, "num_format": "0", "min": 0})
        self.place(chart, 1, half=True)

    def progress(self) -> None:
        """Percent of the points by stage: the mean of the class, and the chosen student."""
        final, rows = self.places.final, []
        for row, stage in enumerate(self.places.stages, self.progress_head + 2):
            shares = [_stage_percent(one.stages[stage]) for one in final]
            measured = [share for share in shares if share is not None]
            column, mean = f"stage_{stage}", sum(measured) / len(measured) if measured else None
            own = f"INDEX({column},MATCH(chosen_student,overview_students,0))"
            student = at(PROGRESS, "student", row)
            first = shares[0] if shares else None
            rows.append((
                stage, Live(f'=IF({student}="","{stage}: not measured","{stage}")',
                            stage if first is not None else f"{stage}: not measured"),
                Live(f'=IF(COUNT({column})=0,"",AVERAGE({column}))', mean),
                Live(f"={own}", first),
            ))  # fmt: skip
        self.table(PROGRESS, rows, self.progress_head)
        chart = self.book.chart("column", "Progress over the stages", "", "percent of the points")
        for heading, fill in (("class", PALE), ("student", DARK)):
            self.series(chart, PROGRESS, "on the chart", heading, self.progress_head, len(rows), fill=fill, gap=60)
        chart.set_y_axis({"name": "percent of the points", "min": 0, "max": 100,
                          "major_gridlines": {"visible": True, "line": {"color": "#D0D0D0"}}})  # fmt: skip
        self.place(chart, 1, half=True, right=True)

    def levels(self) -> None:
        """How many marks of each check are at each level."""
        places = self.places
        columns = Columns((Column("check"), *(Column(level.word, "whole") for level in places.levels)))
        head, rows = self.level_head, []
        for number, check in enumerate(self.checks):
            marks = [m for (_, id_), m in places.marks.items() if id_ == check.id]
            cells: list[Cell | Live] = [places.labels[check.id]]
            for n, level in enumerate(places.levels, 1):
                own = (
                    f"{places.every(check.stage, 'check id')},INDEX(check_ids,{number + 1}),"
                    f'{places.every(check.stage, "counts")},"yes",{places.every(check.stage, "level")},'
                    f"INDEX(level_words,{n})"
                )
                cells.append(Live(f"=COUNTIFS({own})", sum(m.level is level for m in marks)))
            rows.append(cells)
        self.table(columns, rows, head)
        chart = self.book.chart("bar", "Levels of the class, check by check", "share of those measured", "",
                                "percent_stacked")  # fmt: skip
        for level, ground in zip(places.levels, self.book.grounds, strict=False):
            self.series(chart, columns, "check", level.word, head, len(rows), fill=ground, gap=25)
        chart.set_y_axis({"reverse": True, "num_font": {"size": 7}, "interval_unit": 1})
        self.place(chart, 2, tall=20 * self.level_lines)

    def series(
        self, chart: Any, columns: Columns, names: str, heading: str, head: int, rows: int, fill: str | None = None,
        line: str = "", gap: int = 40,
    ) -> None:  # fmt: skip
        """Add a column of a table to a chart; one without a fill is hatched, so that it differs on a grey print."""
        look: dict[str, Any] = {"border": {"color": "#595959", "width": 0.5}, "gap": gap}
        if line:
            look = {"line": {"color": "#C0392B", "width": 1.75, "dash_type": line}, "marker": {"type": "none"}}
        elif fill:
            look["fill"] = {"color": f"#{fill}"}
        else:
            look["pattern"] = {"pattern": "wide_upward_diagonal", "fg_color": "#A63A2B", "bg_color": "#FFFFFF"}
        chart.add_series({
            "name": f"={CHARTS_SHEET}!${columns.letters[heading]}${head + 1}",
            "categories": self.cells(columns, names, head, rows),
            "values": self.cells(columns, heading, head, rows), **look,
        })  # fmt: skip

    def place(self, chart: Any, row: int, half: bool = False, right: bool = False, tall: int = TALL) -> None:
        chart.set_size({"width": WIDE // 2 - 5 if half else WIDE, "height": tall})
        options = {"x_offset": WIDE // 2 + 5 if right else 2, "y_offset": 4, "object_position": 3}
        self.sheet.insert_chart(HEAD + 1 + row * LINES, 0, chart, options)


def write_charts(book: Book, places: Places) -> None:
    """A sheet of charts, and below them the cells they are drawn from."""
    _Charts(book, places).write()


def _bin(low: Fraction | None, high: Fraction | None) -> str:
    if low is None or high is None:
        return f"under {_edge(high)}" if high is not None else f"over {_edge(low)}" if low is not None else ""
    return f"{_edge(low)} to {_edge(high)}"


def _edge(limits: Fraction) -> str:
    return f"{float(limits):+g}" if limits else "0"


def _stage_percent(found: tuple[Fraction, int]) -> Fraction | None:
    points, of = found
    return percent(points / of) if of else None


def _quoted(text: str) -> str:
    """Text inside the quotes of a formula."""
    return text.replace('"', '""')
