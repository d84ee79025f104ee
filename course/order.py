"""What to buy for a class, which sheet each student has, and how every sheet is cut, with a bound."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction

from course.course import Course
from course.cutlist import to_measure
from course.cutting.engine import plan_cutting
from course.cutting.model import (
    UNITS,
    Axis,
    Cut,
    Grain,
    Job,
    Layout,
    Node,
    Offcut,
    Placed,
    Plan,
    Stock,
    Trim,
    rounded_down,
    rounded_up,
)
from course.cutting.model import Demand as Wanted
from course.demand import Demand, Need, Purpose, StockGroup, class_demand, rough_thickness
from course.order_settings import OrderSettings, read_order_settings
from course.quantities import Given, Origin
from course.readings import FROZEN
from course.roster import Student
from course.stock import Piece
from shared.handbook import lumber
from shared.places import Unreadable, read_csv, read_text
from shared.problems import Problem
from shared.units import SHOWN, Shown


@dataclass(frozen=True, slots=True)
class Area:
    """A rectangle of a sheet, x along its length from one corner. [mm]"""

    x: Fraction
    y: Fraction
    length: Fraction
    width: Fraction

    @property
    def size(self) -> Fraction:
        """Its area. [mm^2]"""
        return self.length * self.width


@dataclass(frozen=True, slots=True)
class CutPart:
    """A piece as it lies on a sheet."""

    need: Need
    area: Area


@dataclass(frozen=True, slots=True)
class CutStep:
    """One cut through a sheet or a piece of it."""

    number: int
    rip: bool
    """Along the length of the sheet; else across it."""
    setting: Fraction
    """From the edge that lies at the fence to the cut: the size of the piece that comes off. [mm]"""
    line: Area
    """What the blade takes away."""


@dataclass(frozen=True, slots=True)
class CutSheet:
    """One sheet and how it is cut."""

    name: str
    group: StockGroup
    length: Fraction
    width: Fraction
    trim: tuple[Fraction, Fraction]
    """Off each end and each edge. [mm]"""
    kerf: Fraction
    parts: tuple[CutPart, ...]
    steps: tuple[CutStep, ...]
    kept: tuple[Area, ...]
    """What is left over and large enough to keep."""
    waste: tuple[Area, ...]

    @property
    def share_used(self) -> Fraction:
        """Share of the sheet that becomes pieces."""
        return sum((part.area.size for part in self.parts), Fraction(0)) / (self.length * self.width)


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
            return f"{_sheets(used)}; proven: no layout of straight cuts from edge to edge does with fewer"
        return (
            f"{_sheets(used)}; at least {bound} {'are' if bound > 1 else 'is'} needed. "
            f"Not proven: {used - bound} fewer may be possible"
        )


def _sheets(count: int) -> str:
    return "1 sheet" if count == 1 else f"{count} sheets"


@dataclass(frozen=True, slots=True)
class BoardPlan:
    """The boards of one stock, by volume. [board feet]"""

    group: StockGroup
    thickness: Fraction
    """Rough thickness. [mm]"""
    parts: Fraction
    """Blanks of all students."""
    spares: Fraction
    set_up: Fraction
    """Test pieces and set-up blocks."""
    share: Fraction
    """Share of boards that becomes blanks."""
    on_hand: Fraction
    price: Fraction | None
    """Of a board foot."""

    @property
    def rough(self) -> Fraction:
        """Everything that is cut from it."""
        return self.parts + self.spares + self.set_up

    @property
    def order(self) -> int:
        """What it takes with the waste, up to the whole board foot."""
        return _whole(lumber.order(self.rough, self.share))

    @property
    def order_of_parts(self) -> int:
        """The same for the parts alone."""
        return _whole(lumber.order(self.parts, self.share))

    @property
    def buy(self) -> int:
        """What is not on hand yet."""
        return max(0, _whole(self.order - self.on_hand))


def _whole(value: Fraction) -> int:
    return -(-value.numerator // value.denominator)


@dataclass(frozen=True, slots=True)
class Assigned:
    """A sheet that a student without one was given."""

    student: str
    role: str
    piece: str


@dataclass(frozen=True, slots=True)
class Stop:
    """A stop or fence setting for finished parts of the whole class."""

    role: str
    rip: bool
    """A width, set at the fence; else a length, set at a stop."""
    setting: Fraction
    parts: tuple[tuple[str, str], ...]
    """Student and label of each part it serves."""
    stock: str
    """Sheets or boards the parts come from."""

    @property
    def students(self) -> tuple[str, ...]:
        """Whose parts they are."""
        return tuple(dict.fromkeys(student for student, _ in self.parts))


@dataclass(frozen=True, slots=True)
class Order:
    """Everything to buy and to cut for a class."""

    course: Course
    """With a sheet for every student."""
    settings: OrderSettings
    demand: Demand
    sheets: tuple[SheetPlan, ...]
    boards: tuple[BoardPlan, ...]
    assigned: tuple[Assigned, ...]
    problems: tuple[Problem, ...]

    @property
    def cut_sheets(self) -> tuple[CutSheet, ...]:
        """Every sheet, in order."""
        return tuple(sheet for plan in self.sheets for sheet in plan.sheets)

    @property
    def shown(self) -> Shown:
        """How the class's papers show lengths."""
        return SHOWN[self.course.text("units", "mm")]


def plan_order(course: Course, told: Callable[[str], None] = lambda words: None) -> Order:
    """The order of a class; what cannot be planned is named in its problems, the rest is planned.

    Args:
        course: As read.
        told: Called with a few words as each stock is planned.
    """
    groups = tuple(dict.fromkeys(part.group for part in course.cabinet.parts))
    settings = read_order_settings(course.folder, groups)
    problems = list(settings.problems)
    prices = _prices(course, problems)
    course, assigned = assign(course, settings)
    demand = class_demand(course, settings)
    problems += demand.problems
    sheets, boards = [], []
    for group in demand.groups():
        told(group.says)
        if group.sheet:
            plan = plan_sheets(course, settings, group, demand.of(group), prices, problems)
            sheets += [plan] if plan else []
        else:
            boards.append(_boards(course, settings, group, demand.of(group), prices, problems))
    problems += [_short(plan) for plan in sheets if plan.piece and plan.buy]
    unique = sorted(dict.fromkeys(problems), key=lambda p: (p.place.sort_key, p.code, p.says))
    return Order(course, settings, demand, tuple(sheets), tuple(boards), assigned, tuple(unique))


def _prices(course: Course, problems: list[Problem]) -> dict[str, Fraction]:
    """Price of each piece of stock that has one."""
    path = course.folder / "stock.csv"
    if not path.exists():
        return {}
    try:
        rows = read_csv(read_text(path), path.name).rows
    except Unreadable as error:
        problems.append(Problem("P001", error.place, error.says, error.do))
        return {}
    found = {}
    for row in rows:
        text = row.text("price")
        try:
            price = Fraction(text.replace(",", ".")) if text else None
        except (ValueError, ZeroDivisionError):
            price = Fraction(-1)
        if price is not None and price >= 0:
            found[row.text("id")] = price
        elif price is not None:
            says = f"the price of '{row.text('id')}' is '{text}'"
            do = "Write a number of 0 or more without a currency sign, or leave the cell empty."
            problems.append(Problem("O012", row.at("price"), says, do))
    return found


# -- sheets ----------------------------------------------------------------------------------------------


def _job(course: Course, settings: OrderSettings, name: str, size: tuple[Fraction, Fraction],
         needs: Sequence[Need]) -> Job:  # fmt: skip
    unit = UNITS[_unit(course)]
    stock = Stock(name, rounded_down(size[0], unit), rounded_down(size[1], unit))
    wanted = tuple(
        Wanted(n.name, rounded_up(n.length, unit), rounded_up(n.width, unit), 1, n.grain, place=n.place) for n in needs
    )
    trim = Trim(rounded_up(settings.size("trim.ends"), unit), rounded_up(settings.size("trim.edges"), unit))
    return Job((stock,), wanted, rounded_up(course.plan_values.number("shop.kerf"), unit), trim)


def _unit(course: Course) -> str:
    return "mm" if course.text("units", "mm") == "mm" else "in"


def plan_sheets(
    course: Course, settings: OrderSettings, group: StockGroup, needs: Sequence[Need], prices: dict[str, Fraction],
    problems: list[Problem],
) -> SheetPlan | None:  # fmt: skip
    """Layouts for one sheet stock; None when its size is not known."""
    piece = course.stock.get(group.piece)
    if piece and (piece.length is None or piece.width is None):
        who = ", ".join(dict.fromkeys(need.student for need in needs if need.student))
        says = f"'{piece.id}' has no length and width, so the {group.role} parts of {who} are not laid out"
        problems.append(Problem("O013", piece.place, says, "Write both in stock.csv, the length along the grain."))
        return None
    usual = f"sheet.{_unit(course)}"
    size = (piece.length, piece.width) if piece else (settings.size(f"{usual}.length"), settings.size(f"{usual}.width"))
    name = group.piece or f"new {group.role} sheet"
    fitting = [need for need in needs if _fits(course, settings, need, name, size, problems)]
    job = _job(course, settings, name, size, fitting)
    plan = plan_cutting(job)
    problems += plan.problems
    drawn = _Drawn(settings, group, size, UNITS[_unit(course)], job, {need.name: need for need in fitting})
    count = plan.used
    layouts = [layout for layout in plan.layouts for _ in range(layout.copies)]
    sheets = tuple(
        drawn.sheet(layout, f"{name}, {n} of {count}" if count > 1 else name) for n, layout in enumerate(layouts, 1)
    )
    thickness = piece.mean_thickness if piece else needs[0].thickness
    return SheetPlan(
        group, piece, thickness, job, plan, sheets, 1 if piece else 0, prices.get(group.piece),
    )  # fmt: skip


def _fits(
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


def _short(plan: SheetPlan) -> Problem:
    """A measured sheet does not give all that is to come from it."""
    assert plan.piece
    who = ", ".join(sorted({p.need.student for s in plan.sheets for p in s.parts if p.need.student}))
    says = f"the parts of {who} need {_sheets(len(plan.sheets))} like '{plan.piece.id}', and stock.csv has 1"
    do = (
        f"Buy {plan.buy} more and measure: only a sheet of the same thickness may serve the same student; enter any "
        "other under an id of its own and give it to some of the students."
    )
    return Problem("O020", plan.piece.place, says, do, False)


@dataclass(frozen=True)
class _Drawn:
    """Turns layouts in whole units into sheets in millimetres."""

    settings: OrderSettings
    group: StockGroup
    size: tuple[Fraction, Fraction]
    unit: Fraction
    job: Job
    needs: dict[str, Need]

    def sheet(self, layout: Layout, name: str) -> CutSheet:
        """One sheet of a layout."""
        parts = tuple(CutPart(self.needs[p.part], self.area(p)) for p in layout.placed)
        left = [self.area(offcut) for offcut in layout.offcuts]
        kept = tuple(area for area in left if self.worth_keeping(area))
        trim = (self.settings.size("trim.ends"), self.settings.size("trim.edges"))
        return CutSheet(
            name, self.group, *self.size, trim, self.job.kerf * self.unit, parts, self.steps(layout.tree), kept,
            tuple(area for area in left if area not in kept),
        )  # fmt: skip

    def area(self, leaf: Placed | Offcut) -> Area:
        return Area(*(value * self.unit for value in (leaf.x, leaf.y, leaf.length, leaf.width)))

    def worth_keeping(self, area: Area) -> bool:
        least = sorted((self.settings.size("keep.length"), self.settings.size("keep.width")))
        have = sorted((area.length, area.width))
        return have[0] >= least[0] and have[1] >= least[1]

    def steps(self, tree: Node) -> tuple[CutStep, ...]:
        """Cuts in the order of sawing: a stage of parallel cuts before the next, equal settings after each other."""
        job, stock = self.job, self.job.stock[0]
        inside = (job.trim.ends, job.trim.edges, stock.length - job.trim.ends, stock.width - job.trim.edges)
        stages: dict[int, list[list[CutStep]]] = {}
        self._chains(tree, inside, 1, None, [], stages)
        ordered = [step for stage in sorted(stages) for step in in_few_settings(stages[stage])]
        return tuple(replace(step, number=number) for number, step in enumerate(ordered, 1))

    def _chains(
        self, node: Node, plate: tuple[int, int, int, int], stage: int, axis: Axis | None, chain: list[CutStep],
        stages: dict[int, list[list[CutStep]]],
    ) -> None:  # fmt: skip
        """Collect the cuts below a plate; parallel cuts of one plate are a chain, which keeps its order."""
        if not isinstance(node, Cut):
            return
        if node.axis is not axis:
            stage, chain = stage + (axis is not None), []
            stages.setdefault(stage, []).append(chain)
        x0, y0, x1, y1 = plate
        kerf = self.job.kerf
        if node.axis is Axis.RIP:
            first, second = (x0, y0, x1, node.at), (x0, node.at + kerf, x1, y1)
            blade, setting = Offcut(x0, node.at, x1 - x0, kerf), node.at - y0
        else:
            first, second = (x0, y0, node.at, y1), (node.at + kerf, y0, x1, y1)
            blade, setting = Offcut(node.at, y0, kerf, y1 - y0), node.at - x0
        chain.append(CutStep(0, node.axis is Axis.RIP, setting * self.unit, self.area(blade)))
        self._chains(node.first, first, stage, node.axis, chain, stages)
        self._chains(node.second, second, stage, node.axis, chain, stages)


def in_few_settings(chains: Iterable[Sequence[CutStep]]) -> Iterator[CutStep]:
    """The cuts of several chains, each chain in its order, with as many equal settings together as can be."""
    waiting = [list(chain) for chain in chains if chain]
    now: tuple[bool, Fraction] | None = None
    while waiting:
        heads = [(chain[0].rip, chain[0].setting) for chain in waiting]
        if now not in heads:
            now = max(heads, key=lambda head: (heads.count(head), head))
        chain = waiting[heads.index(now)]
        yield chain.pop(0)
        waiting = [chain for chain in waiting if chain]


# -- who gets which sheet --------------------------------------------------------------------------------


def assign(course: Course, settings: OrderSettings) -> tuple[Course, tuple[Assigned, ...]]:
    """The course with a measured sheet for each student who has none, as far as the sheets go.

    All parts of a student come from one sheet's thickness. Students are taken in the order of the roster, sheets in
    the order of `stock.csv`; a sheet takes as many students as a real layout shows to fit on it, spares included.
    """
    found: list[Assigned] = []
    for role in course.cabinet.stock:
        for piece in course.stock.values():
            if piece.role != role or piece.length is None or piece.width is None:
                continue
            waiting = [s for s in course.students if role not in s.pieces and _from_sheets(course, s, role)]
            count = len(waiting)
            while count and not _holds(tried := _with(course, waiting[:count], piece), settings, role, piece):
                count -= 1
            if count:
                course = tried
                found += [Assigned(student.id, role, piece.id) for student in waiting[:count]]
    return course, tuple(found)


def _from_sheets(course: Course, student: Student, role: str) -> bool:
    return course.values(student)[f"stock.{role}.build"] != "solid"


def _with(course: Course, students: Sequence[Student], piece: Piece) -> Course:
    """The course with these students' parts cut from a sheet."""
    wanted = {student.id for student in students}
    note = f"{piece.id}, mean of {len(piece.thickness)} readings"
    given = {f"stock.{piece.role}.thickness": Given(piece.mean_thickness, Origin.STOCK, piece.place, note)}
    if piece.material:
        given[f"stock.{piece.role}.material"] = Given(piece.material, Origin.STOCK, piece.place, piece.id)
    changed = tuple(
        replace(s, choices={**s.choices, **given}, pieces={**s.pieces, piece.role: piece.id}) if s.id in wanted else s
        for s in course.students
    )
    known = {name: values for name, values in course._values.items() if name not in wanted}
    return replace(course, students=changed, _values=known)


def _holds(course: Course, settings: OrderSettings, role: str, piece: Piece) -> bool:
    """Whether one sheet gives everything that is to come from it."""
    demand = class_demand(course, settings)
    needs = [need for need in demand.needs if need.group.role == role and need.group.piece == piece.id]
    area = sum((need.length * need.width for need in needs), Fraction(0))
    assert piece.length is not None and piece.width is not None
    if area > piece.length * piece.width:
        return False
    told: list[Problem] = []
    size = (piece.length, piece.width)
    if not all([_fits(course, settings, need, piece.id, size, told) for need in needs]):
        return False
    return plan_cutting(_job(course, settings, piece.id, size, needs)).used <= 1


# -- boards ----------------------------------------------------------------------------------------------


def _boards(
    course: Course, settings: OrderSettings, group: StockGroup, needs: Sequence[Need], prices: dict[str, Fraction],
    problems: list[Problem],
) -> BoardPlan:  # fmt: skip
    rough = rough_thickness(max(need.thickness for need in needs))
    assert rough is not None
    pieces = list(_pieces(course, group))
    problems += _too_wide(course, needs)

    def volume(*purposes: Purpose) -> Fraction:
        sizes = [(n.width, n.length) for n in needs if n.purpose in purposes]
        return sum((lumber.board_feet(rough.rough, w, n) for w, n in sizes), Fraction(0))

    have = {p.id: lumber.board_feet(rough.rough, p.width, p.length) for p in pieces if p.width and p.length}
    priced = [name for name in have if name in prices]
    total = sum((have[name] for name in priced), Fraction(0))
    price = sum((prices[name] for name in priced), Fraction(0)) / total if total else None
    return BoardPlan(
        group, rough.rough, volume(Purpose.PART), volume(Purpose.SPARE), volume(Purpose.TEST, Purpose.BLOCK),
        settings.size("yield"), sum(have.values(), Fraction(0)), price,
    )  # fmt: skip


def _pieces(course: Course, group: StockGroup) -> Iterator[Piece]:
    """Boards on hand of a stock: those its students have, and those of its material that nobody has."""
    users: dict[str, list[Student]] = {}
    for student in course.students:
        if group.role in student.pieces:
            users.setdefault(student.pieces[group.role], []).append(student)
    for piece in course.stock.values():
        if piece.role != group.role:
            continue
        if piece.id not in users:
            if piece.material in ("", group.material):
                yield piece
        elif any(_same(course, student, group) for student in users[piece.id]):
            yield piece


def _same(course: Course, student: Student, group: StockGroup) -> bool:
    values, stock = course.values(student), f"stock.{group.role}"
    return (values[f"{stock}.material"], values[f"{stock}.build"], values[f"{stock}.cut"]) == (
        group.material, group.build, group.cut,
    )  # fmt: skip


def _too_wide(course: Course, needs: Iterable[Need]) -> Iterator[Problem]:
    """Parts that their student's board does not give in one piece."""
    shown = SHOWN[course.text("units", "mm")]
    for need in needs:
        if not need.student:
            continue
        name = course.student(need.student).pieces.get(need.group.role, "")
        piece = course.stock.get(name)
        if piece and piece.width and piece.length and (need.width > piece.width or need.length > piece.length):
            labels = "+".join(part.label for part in need.parts)
            says = (
                f"{need.title} ({labels}) of {need.student}, {shown.bare(need.length)} x {shown.size(need.width)} "
                f"rough, is larger than '{name}', {shown.bare(piece.length)} x {shown.size(piece.width)}"
            )
            do = "Glue it up from two boards side by side, or give the student another board."
            yield Problem("O016", piece.place, says, do, False)


# -- stops -----------------------------------------------------------------------------------------------


def stops(course: Course) -> tuple[Stop, ...]:
    """Settings for finished lengths and widths, shared by the whole class; what must be measured first is left out."""
    shown = SHOWN[course.text("units", "mm")]
    found: dict[tuple, list[tuple[str, str, Fraction, str]]] = {}
    for student in course.students:
        values, states = course.values(student), course.log.states(student.id)
        for part in course.cabinet.parts:
            state = states.get(part.name)
            if (state and state.name in FROZEN) or to_measure(course, values, part):
                continue
            for size in ("length", "width"):
                value = values.number(f"{part.name}.{size}")
                key = (part.stock, size == "width", shown.bare(value))
                piece = student.pieces.get(part.stock, "")
                found.setdefault(key, []).append((student.id, part.label, value, piece))
    made = [
        Stop(role, rip, rows[0][2], tuple(r[:2] for r in rows), ", ".join(sorted({r[3] for r in rows if r[3]})))
        for (role, rip, _), rows in found.items()
    ]
    roles = list(course.cabinet.stock)
    return tuple(sorted(made, key=lambda s: (roles.index(s.role), s.rip, -s.setting)))


def separate_settings(found: Iterable[Stop]) -> int:
    """How many settings it takes when every student sets up alone."""
    return sum(len(stop.students) for stop in found)


# -- what is left ----------------------------------------------------------------------------------------


@dataclass(frozen=True, slots=True)
class Left:
    """A piece left over."""

    id: str
    role: str
    material: str
    thickness: tuple[Fraction, ...]
    length: Fraction | None
    width: Fraction | None
    moisture: Fraction | None
    note: str


def left_over(order: Order) -> tuple[Left, ...]:
    """Offcuts that are worth keeping, and sheets and boards that nobody has."""
    found = []
    for plan in order.sheets:
        for sheet in plan.sheets:
            for area in sheet.kept:
                stem = plan.group.piece or f"{plan.group.role}-{plan.group.build}"
                number = sum(1 for one in found if one.id.startswith(f"{stem}-left-")) + 1
                thickness = plan.piece.thickness if plan.piece else (plan.thickness,)
                moisture = plan.piece.moisture if plan.piece else None
                found.append(
                    Left(
                        f"{stem}-left-{number}", plan.group.role, plan.group.material, thickness, area.length,
                        area.width, moisture, f"left over from {sheet.name}",
                    )  # fmt: skip
                )
    taken = {name for student in order.course.students for name in student.pieces.values()}
    for piece in order.course.stock.values():
        if piece.id not in taken:
            found.append(
                Left(
                    piece.id, piece.role, piece.material, piece.thickness, piece.length, piece.width, piece.moisture,
                    "not used",
                )  # fmt: skip
            )
    return tuple(found)
