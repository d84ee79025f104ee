"""From a job to part sizes that can be cut; what cannot is said, part by part."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator
from dataclasses import dataclass
from math import gcd

from course.cutting.model import STICKS, Demand, Grain, Job, Rect, Stock
from course.cutting.recipe import Shape
from shared.problems import Problem, meant


@dataclass(frozen=True, slots=True)
class Item:
    """Parts of one size, grain and pin, whatever their names."""

    length: int
    width: int
    count: int
    names: tuple[tuple[str, int], ...]
    """Printed name and how many."""


@dataclass(frozen=True, slots=True)
class Blank:
    """One kind of stock as the tables see it: inside the trim, one kerf longer and wider."""

    stock: Stock
    length: int
    width: int
    shapes: tuple[int, ...]
    """Numbers of the shapes that may come from it."""
    defects: tuple[Rect, ...]
    """Seen from the corner inside the trim."""


@dataclass(frozen=True, slots=True)
class Prepared:
    """What can be planned, and what is wrong with the rest."""

    items: tuple[Item, ...]
    shapes: tuple[Shape, ...]
    blanks: tuple[Blank, ...]
    problems: tuple[Problem, ...]

    @property
    def demand(self) -> tuple[int, ...]:
        """How many of each part size."""
        return tuple(item.count for item in self.items)

    @property
    def coin(self) -> int:
        """The costs' common divisor; 1 when all is free."""
        return gcd(*(blank.stock.cost for blank in self.blanks)) or 1


def prepared(job: Job) -> Prepared:
    """Sorts a job so that the order of its lines does not matter, and leaves out what cannot be cut."""
    problems: list[Problem] = []
    stock = [s for s in sorted(job.stock, key=_stock_order) if _usable(s, job, problems)]
    for name, times in sorted(Counter(s.id for s in job.stock).items()):
        if times > 1:
            place = next(s.place for s in job.stock if s.id == name)
            problems.append(Problem("E001", place, f"the stock '{name}' stands twice", "Give each stock an id."))
    stock = list({s.id: s for s in reversed(stock)}.values())[::-1]
    groups: dict[tuple, list[Demand]] = {}
    seen: set[str] = set()
    for demand in sorted(job.demand, key=lambda d: (d.part, d.length, d.width, d.count, d.grain.value, d.pin)):
        if demand.part in seen:
            says = f"the part '{demand.part}' stands twice"
            problems.append(Problem("E002", demand.place, says, "Give each part one line with its count."))
            continue
        seen.add(demand.part)
        problem = _cannot(demand, stock, job)
        if problem:
            problems.append(problem)
        elif demand.count:
            groups.setdefault(_size_key(demand), []).append(demand)
    ordered = sorted(groups.items(), key=lambda g: (-g[0][0] * max(g[0][1], 1), g[0]))
    items = tuple(
        Item(d[0].length, d[0].width, sum(x.count for x in d), tuple((x.part, x.count) for x in d)) for _, d in ordered
    )
    shapes: list[Shape] = []
    pins: list[str] = []
    for number, (_, demands) in enumerate(ordered):
        for length, width in _lies(demands[0]):
            shapes.append(Shape(number, length + job.kerf, width + job.kerf))
            pins.append(demands[0].pin)
    blanks = [_blank(s, job, shapes, pins) for s in stock]
    kept = tuple(b for b in blanks if b.shapes)
    return Prepared(items, tuple(shapes), kept, tuple(problems))


def _stock_order(stock: Stock) -> tuple:
    return (stock.id, stock.length, stock.width, stock.cost, -1 if stock.on_hand is None else stock.on_hand)


def _size_key(demand: Demand) -> tuple:
    """Parts with one key can stand for each other."""
    long, short = demand.length, demand.width
    if demand.grain is Grain.FREE and long < short:
        long, short = short, long
    return (long, short, "" if long == short else demand.grain.value, demand.pin)


def _lies(demand: Demand) -> Iterator[tuple[int, int]]:
    """Sizes along x and y for each way a part may lie."""
    long, short = demand.length, demand.width
    if demand.grain is not Grain.ACROSS or long == short:
        yield long, short
    if demand.grain is not Grain.ALONG and long != short:
        yield short, long


def _inside(stock: Stock, job: Job) -> tuple[int, int]:
    """Length and width inside the trim; sticks keep their width."""
    edges = 0 if job.stages == STICKS else job.trim.edges
    return stock.length - 2 * job.trim.ends, stock.width - 2 * edges


def _fits(length: int, width: int, stock: Stock, job: Job) -> bool:
    inside = _inside(stock, job)
    if job.stages == STICKS:
        return length <= inside[0] and width == inside[1]
    return length <= inside[0] and width <= inside[1]


def _blank(stock: Stock, job: Job, shapes: list[Shape], pins: list[str]) -> Blank:
    length, width = _inside(stock, job)
    kerf, ends = job.kerf, job.trim.ends
    edges = 0 if job.stages == STICKS else job.trim.edges
    own = [
        n for n, shape in enumerate(shapes)
        if pins[n] in ("", stock.id) and _fits(shape.length - kerf, shape.width - kerf, stock, job)
    ]  # fmt: skip
    defects = tuple(sorted(
        (Rect(d.x - ends, d.y - edges, d.length, d.width) for d in stock.defects),
        key=lambda d: (d.x, d.y, d.length, d.width),
    ))  # fmt: skip
    return Blank(stock, length + kerf, width + kerf, tuple(own), defects)


def _usable(stock: Stock, job: Job, problems: list[Problem]) -> bool:
    length, width = _inside(stock, job)
    if length <= 0 or width <= 0:
        says, do = f"nothing is left of the stock '{stock.id}' inside its trim", "Correct its size or the trim."
        problems.append(Problem("E003", stock.place, says, do))
        return False
    if stock.cost < 0 or (stock.cost == 0 and stock.on_hand is None):
        says = f"the stock '{stock.id}' costs {stock.cost}"
        do = "Give it a price of 1 or more; 0 is for stock on hand, with its number."
        problems.append(Problem("E004", stock.place, says, do))
        return False
    if stock.on_hand is not None and stock.on_hand < 0:
        says = f"there are {stock.on_hand} of the stock '{stock.id}' on hand"
        problems.append(Problem("E005", stock.place, says, "Count it again: 0 or more."))
        return False
    return stock.on_hand != 0


def _cannot(demand: Demand, stock: list[Stock], job: Job) -> Problem | None:
    """Why a part cannot be cut from any stock; None when it can."""
    part = f"the part '{demand.part}'"
    if demand.length <= 0 or demand.width <= 0 or demand.count < 0:
        says = f"{part} is {demand.length} x {demand.width}, {demand.count} wanted"
        return Problem("E006", demand.place, says, "Sizes are more than 0, and so is the count.")
    if not stock:
        do = "Add a line of stock with its size, or correct the one there is."
        return Problem("E007", demand.place, f"{part} has no stock to come from", do)
    if demand.pin and demand.pin not in {s.id for s in stock}:
        says = f"{part} is to come from '{demand.pin}', and there is no such stock on hand"
        return Problem("E008", demand.place, says, meant(demand.pin, (s.id for s in stock)))
    allowed = [s for s in stock if demand.pin in ("", s.id)]
    if any(_fits(x, y, s, job) for s in allowed for x, y in _lies(demand)):
        return None
    source = f"the stock '{demand.pin}'" if demand.pin else "any stock"
    if demand.grain is not Grain.FREE and any(_fits(demand.width, demand.length, s, job) or
                                              _fits(demand.length, demand.width, s, job) for s in allowed):  # fmt: skip
        says = f"{part} fits on {source} only with its grain the wrong way"
        return Problem("E009", demand.place, says, "Use stock that is longer that way, or free the part's grain.")
    if job.stages == STICKS and any(demand.length <= _inside(s, job)[0] for s in allowed):
        says = f"{part} has not the section of {source}"
        return Problem("E010", demand.place, says, "A stick gives parts of its own width; rip it to width first.")
    says = f"{part} is larger than {source} inside the trim"
    return Problem("E011", demand.place, says, "Use larger stock, or glue the part up from smaller ones.")
