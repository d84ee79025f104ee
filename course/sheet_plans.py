"""How the sheets of one stock are cut, and how near that is to the best there could be."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from fractions import Fraction

from course.course import Course
from course.cut_sheets import CutSheet, Sawing
from course.cutting.engine import plan_cutting
from course.cutting.model import UNITS, Grain, Job, Plan, Stock, Trim, rounded_down, rounded_up
from course.cutting.model import Demand as Wanted
from course.demand import Need, StockGroup
from course.order_settings import OrderSettings
from course.stock import Piece
from shared.problems import Problem
from shared.units import SHOWN


@dataclass(frozen=True, slots=True)
class SheetPlan:
    """The sheets of one stock."""

    group: StockGroup
    piece: Piece | None
    """The measured sheet; None for sheets still to be bought."""
    thickness: Fraction
    job: Job
    plan: Plan
    sheets: tuple[CutSheet, ...]
    on_hand: int
    price: Fraction | None

    @property
    def buy(self) -> int:
        """Sheets to be bought."""
        return max(0, len(self.sheets) - self.on_hand)

    @property
    def share_used(self) -> Fraction:
        """Share of all its sheets that becomes pieces; 0 when there is no sheet."""
        return sum((s.share_used for s in self.sheets), Fraction(0)) / max(1, len(self.sheets))

    @property
    def how_good(self) -> str:
        """How near the layout is to the best there could be, in words."""
        used, bound = self.plan.used, self.plan.lower_bound
        if not used:
            return "nothing could be planned"
        if used == bound:
            return f"{sheets_in_words(used)}; proven: no layout of straight cuts from edge to edge does with fewer"
        return (
            f"{sheets_in_words(used)}; at least {bound} {'are' if bound > 1 else 'is'} needed. "
            f"Not proven: {used - bound} fewer may be possible"
        )


def sheets_in_words(count: int) -> str:
    """`1 sheet`, `2 sheets`."""
    return "1 sheet" if count == 1 else f"{count} sheets"


def plan_sheets(
    course: Course, settings: OrderSettings, group: StockGroup, needs: Sequence[Need],
    problems: list[Problem],
) -> SheetPlan | None:  # fmt: skip
    """Layouts for one sheet stock; None when its size is not known."""
    piece = course.stock.get(group.piece)
    if piece and (piece.length is None or piece.width is None):
        who = ", ".join(dict.fromkeys(need.student for need in needs if need.student))
        says = f"'{piece.id}' has no length and width, so the {group.role} parts of {who} are not laid out"
        problems.append(Problem("O013", piece.place, says, "Write both in stock.csv, the length along the grain."))
        return None
    usual = f"sheet.{unit_of(course)}"
    size = (piece.length, piece.width) if piece else (settings.size(f"{usual}.length"), settings.size(f"{usual}.width"))
    name = group.piece or f"new {group.role} sheet"
    fitting = [need for need in needs if fits(course, settings, need, name, size, problems)]
    job = job_of(course, settings, name, size, fitting)
    plan = plan_cutting(job)
    problems += plan.problems
    keep = (settings.size("keep.length"), settings.size("keep.width"))
    drawn = Sawing(keep, group, size, UNITS[unit_of(course)], job, {need.name: need for need in fitting})
    count = plan.used
    layouts = [layout for layout in plan.layouts for _ in range(layout.copies)]
    sheets = tuple(
        drawn.sheet(layout, f"{name}, {n} of {count}" if count > 1 else name) for n, layout in enumerate(layouts, 1)
    )
    thickness = piece.mean_thickness if piece else needs[0].thickness
    return SheetPlan(
        group, piece, thickness, job, plan, sheets, 1 if piece else 0, piece.price if piece else None,
    )  # fmt: skip


def job_of(course: Course, settings: OrderSettings, name: str, size: tuple[Fraction, Fraction],
         needs: Sequence[Need]) -> Job:  # fmt: skip
    """The job of cutting some pieces from sheets of one size."""
    unit = UNITS[unit_of(course)]
    stock = Stock(name, rounded_down(size[0], unit), rounded_down(size[1], unit))
    wanted = tuple(
        Wanted(n.name, rounded_up(n.length, unit), rounded_up(n.width, unit), 1, n.grain, place=n.place) for n in needs
    )
    trim = Trim(rounded_up(settings.size("trim.ends"), unit), rounded_up(settings.size("trim.edges"), unit))
    return Job((stock,), wanted, rounded_up(course.plan_values.number("shop.kerf"), unit), trim)


def unit_of(course: Course) -> str:
    """Name of the unit of its cutting jobs."""
    return "mm" if course.text("units", "mm") == "mm" else "in"


def fits(
    course: Course, settings: OrderSettings, need: Need, name: str, size: tuple[Fraction, Fraction],
    problems: list[Problem],
) -> bool:  # fmt: skip
    """Whether a piece can be cut from the sheet; if not, why is told."""
    length, width = (size[i] - 2 * settings.size(f"trim.{end}") for i, end in enumerate(("ends", "edges")))
    along = need.length <= length and need.width <= width
    across = need.width <= length and need.length <= width
    if (along and need.grain is not Grain.ACROSS) or (across and need.grain is not Grain.ALONG):
        return True
    shown = SHOWN[course.text("units", "mm")]
    labels = "+".join(part.label for part in need.parts)
    what = f"{need.title} ({labels}) of {need.student}" if need.student else need.name
    what += f", {shown.bare(need.length)} x {shown.size(need.width)} rough,"
    sheet = f"'{name}', {shown.bare(size[0])} x {shown.size(size[1])}"
    if along or across:
        says = f"{what} fits on {sheet}, only with its grain the wrong way"
        do = "Use a sheet that is longer that way, or free the grain of the part in its kind."
        problems.append(Problem("O014", need.place, says, do))
    else:
        says = f"{what} is larger than {sheet}, inside its trim"
        problems.append(Problem("O015", need.place, says, "Use a larger sheet, or make the part of two pieces."))
    return False


def short_of(plan: SheetPlan) -> Problem:
    """A measured sheet does not give all that is to come from it."""
    assert plan.piece
    who = ", ".join(sorted({p.need.student for s in plan.sheets for p in s.parts if p.need.student}))
    says = f"the parts of {who} need {sheets_in_words(len(plan.sheets))} like '{plan.piece.id}', and stock.csv has 1"
    do = (
        f"Buy {plan.buy} more and measure: only a sheet of the same thickness may serve the same student; enter any "
        "other under an id of its own and give it to some of the students."
    )
    return Problem("O020", plan.piece.place, says, do, False)
