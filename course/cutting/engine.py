"""The planner: from a job to layouts, a bound, and what could not be planned."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterator
from dataclasses import replace
from functools import partial

from course.cutting.board_filling import board_by_board
from course.cutting.master import Master
from course.cutting.model import ANY_STAGES, CROSSCUT_FIRST, STICKS, Certificate, Job, Layout, Plan
from course.cutting.plate_cut import plate_cuts
from course.cutting.prepare import Prepared, prepared
from course.cutting.recipe import Drawer, Plate, Recipe, shapes_in
from course.cutting.second_goals import easiest
from course.cutting.sheets import SheetPricing
from course.cutting.sticks import StickPricing
from course.cutting.whole import DIVES, Answer, answer_of, dives, tries, whole_program
from shared.problems import Problem

FEW_PARTS, FEW_NODES = 300, 20
Progress = Callable[[str], None]
"""Told what was reached, in words."""


def plan_cutting(job: Job, progress: Progress | None = None, all_or_nothing: bool = False) -> Plan:
    """The cheapest layouts that were found, and a bound on how much cheaper any could be.

    Parts that cannot be cut are named in the plan's problems; the rest is planned. Same job, same plan, whatever
    the order of its lines.

    Args:
        job: What is to be cut, from what.
        progress: Told what was reached.
        all_or_nothing: When the stock on hand does not give everything, say only that.
    """
    told = progress or (lambda words: None)
    work = prepared(job)
    if not work.items:
        return Plan((), Certificate((), (), (), 0), (), work.problems)
    master, best = _searched(job, work, told, None)
    if not best.complete and all_or_nothing:
        says, do = "the stock on hand does not give every part", "Add stock, or make fewer."
        short = Problem("E012", job.demand[0].place, says, do)
        return Plan((), Certificate((), (), (), 0), (), (*work.problems, short))
    if not best.complete:
        work = _shortened(job, work, best)
        master, best = _searched(job, work, told, (master, best))
    if job.stages == ANY_STAGES and best.complete:
        told("fewer layouts")
        best = easiest(master, best)
    return _drawn(job, work, master, best)


def _searched(job: Job, work: Prepared, told: Progress, before: tuple[Master, Answer] | None) -> tuple[Master, Answer]:
    """Patterns, bound and answer; `before` is what was found for the same parts when more of them were asked for."""
    pricing = StickPricing(work, job.kerf) if job.stages == STICKS else SheetPricing(work, job.kerf, job.stages)
    master = Master(work, pricing)
    for column in before[0].columns if before else ():
        master.add(column.stock, column.recipe)
    master.start()
    master.generate()
    told(f"{len(master.columns)} patterns; no plan costs less than {master.bound}")
    best = dives(master, 1 if job.stages == CROSSCUT_FIRST and _few_parts(work) else DIVES)
    if before:
        best = min(answer_of(master, Counter(dict(before[1].uses)), before[1].how), best, key=lambda a: a.cost)
    for step in _steps(job, work, pricing):
        told(f"{best.how}: cost {best.cost}, at least {master.bound}")
        if best.cost <= master.bound:
            break
        best = step(master, best)
    return master, best


def _few_parts(work: Prepared) -> bool:
    """Few enough that boards filled one after the other are better than patterns that repeat a part."""
    return sum(work.demand) <= FEW_PARTS


def _steps(
    job: Job, work: Prepared, pricing: StickPricing | SheetPricing
) -> tuple[Callable[[Master, Answer], Answer], ...]:
    """What is tried, in this order, while the answer is above the bound."""
    if job.stages == CROSSCUT_FIRST:
        short = partial(whole_program, nodes=FEW_NODES)
        return (board_by_board, short) if _few_parts(work) else (whole_program, board_by_board, whole_program)
    if job.stages != ANY_STAGES or isinstance(pricing, StickPricing):
        return (whole_program,)
    if any(blank.defects for blank in work.blanks) or not pricing.exact:
        return (tries, whole_program)
    return (tries, whole_program, partial(plate_cuts, plates=pricing.plates))


def _shortened(job: Job, work: Prepared, best: Answer) -> Prepared:
    """The same, asking only for what the stock on hand gives; what is missing is named in problems."""
    places = {demand.part: demand.place for demand in job.demand}
    items, problems = [], list(work.problems)
    for item, short in zip(work.items, best.short, strict=True):
        names = []
        for name, count in reversed(item.names):
            missing = min(short, count)
            short -= missing
            if missing:
                says = f"{missing} of {count} '{name}' cannot be cut from the stock on hand"
                problems.append(Problem("E012", places[name], says, "Add stock, or make fewer."))
            if count > missing:
                names.append((name, count - missing))
        items.append(replace(item, count=sum(n for _, n in names), names=tuple(reversed(names))))
    return replace(work, items=tuple(items), problems=tuple(problems))


def _drawn(job: Job, work: Prepared, master: Master, best: Answer) -> Plan:
    """Layouts with real places and names."""
    lengths = {demand.part: demand.length for demand in job.demand}
    drawer = Drawer(work.shapes, job.kerf, lengths)
    layouts = []
    for stock, recipe, copies, names in _named(work, master, best):
        blank = work.blanks[stock]
        edges = 0 if job.stages == STICKS else job.trim.edges
        plate = Plate(job.trim.ends, edges, blank.length, blank.width)
        layouts.append(Layout(blank.stock.id, copies, drawer.draw(recipe, plate, iter(names))))
    assert master.proof is not None  # made with the first patterns
    worth, held, most = master.proof.worth, master.proof.held, master.proof.best
    certificate = Certificate(
        tuple(sorted((name, worth[i]) for i, item in enumerate(work.items) for name, _ in item.names)),
        tuple((b.stock.id, m) for b, m in zip(work.blanks, held, strict=True) if b.stock.on_hand is not None),
        tuple((b.stock.id, v) for b, v in zip(work.blanks, most, strict=True)),
        master.bound,
        tuple((b.stock.id, grid) for b, grid in zip(work.blanks, master.pricing.grids, strict=True)),
    )
    planned = tuple(sorted(name for item in work.items for name in item.names))
    return Plan(tuple(layouts), certificate, planned, work.problems, best.how, best.cost)


def _named(work: Prepared, master: Master, best: Answer) -> Iterator[tuple[int, Recipe, int, list[str]]]:
    """Stock, recipe, copies and the name of each part, layouts with most copies first.

    A part beyond the demand is left uncut (an empty name) unless other copies of the layout still need it.
    """
    left = [Counter(dict(item.names)) for item in work.items]
    order = sorted(best.uses, key=lambda use: (-use[1], master.columns[use[0]].stock, use[0]))
    for number, copies in order:
        column = master.columns[number]
        items = [work.shapes[shape].item for shape in shapes_in(column.recipe)]
        while copies:
            times = copies
            while (names := _names(items, left, times)) is None:
                times -= 1
            for item, name in zip(items, names, strict=True):
                left[item][name] = max(0, left[item][name] - times)
            yield column.stock, column.recipe, times, names
            copies -= times


def _names(items: list[int], left: list[Counter[str]], times: int) -> list[str] | None:
    """A name for each part of a layout cut `times` times; None when no names last that long."""
    left = [Counter(names) for names in left]
    found = []
    for item in items:
        open_names = sorted((name for name, n in left[item].items() if n), key=lambda n: (-left[item][n], n))
        if not open_names:
            found.append("")
            continue
        name = open_names[0]
        if left[item][name] < times and len(open_names) > 1:
            return None
        left[item][name] = max(0, left[item][name] - times)
        found.append(name)
    return found
