"""Checks a plan against its job, with nothing of the planner but the records of `model`.

Looks at every layout piece by piece and cut by cut, counts the parts, adds up the cost, and works the bound out again
from the printed worth of the parts with a table of its own.
"""

from __future__ import annotations

import json
from collections import Counter
from collections.abc import Iterable, Iterator
from dataclasses import replace
from fractions import Fraction
from itertools import combinations
from math import gcd
from typing import Any

import numpy as np

from course.cutting.model import (
    STICKS,
    Axis,
    Certificate,
    Cut,
    Demand,
    Grain,
    Job,
    Layout,
    Node,
    Offcut,
    Placed,
    Plan,
    Stages,
    Stock,
    Trim,
)


def complaints(job: Job, plan: Plan) -> list[str]:
    """Everything that is wrong with a plan, in words; empty when it can be cut and its bound holds."""
    stock = {s.id: s for s in job.stock}
    parts = {d.part: d for d in job.demand}
    found: list[str] = []
    for number, layout in enumerate(plan.layouts, 1):
        if layout.stock not in stock:
            found.append(f"layout {number} is cut from '{layout.stock}', and there is no such stock")
            continue
        found += [f"layout {number}: {words}" for words in _layout(job, layout, stock[layout.stock], parts)]
    found += _counts(job, plan, parts)
    found += _costs(plan, stock)
    if not found:
        found += _bound(job, plan)
    return found


Plate = tuple[int, int, int, int]
"""x and y of two opposite corners. [units]"""


def _layout(job: Job, layout: Layout, stock: Stock, parts: dict[str, Demand]) -> Iterator[str]:
    if layout.copies < 1:
        yield f"it is cut {layout.copies} times"
    edges = 0 if job.stages == STICKS else job.trim.edges
    inside = (job.trim.ends, edges, stock.length - job.trim.ends, stock.width - edges)
    yield from _cuts(layout.tree, inside, job.kerf)
    pieces = list(_pieces(layout.tree))
    for piece in pieces:
        yield from _piece(job, piece, stock, inside, parts)
    for one, other in combinations(pieces, 2):
        if not _apart(one, other, job.kerf):
            yield f"'{one.part}' and '{other.part}' at {other.x}, {other.y} are less than a kerf apart"
    most = job.stages.most
    if most is not None and not _within_stages(layout.tree, most, job.stages.first):
        yield f"it needs more than {most} stages of parallel cuts, or starts the wrong way"


def _pieces(node: Node) -> Iterator[Placed]:
    if isinstance(node, Cut):
        yield from _pieces(node.first)
        yield from _pieces(node.second)
    elif isinstance(node, Placed):
        yield node


def _cuts(node: Node, plate: Plate, kerf: int) -> Iterator[str]:
    """Every cut goes through its plate, and every plate ends as one part or one offcut."""
    x0, y0, x1, y1 = plate
    if isinstance(node, Cut):
        low, high = (x0, x1) if node.axis is Axis.CROSSCUT else (y0, y1)
        if not low < node.at <= high - kerf:
            yield f"the cut at {node.at} does not go through its plate from {low} to {high}"
            return
        if node.axis is Axis.CROSSCUT:
            halves = (x0, y0, node.at, y1), (node.at + kerf, y0, x1, y1)
        else:
            halves = (x0, y0, x1, node.at), (x0, node.at + kerf, x1, y1)
        yield from _cuts(node.first, halves[0], kerf)
        yield from _cuts(node.second, halves[1], kerf)
    elif isinstance(node, Offcut):
        if (node.x, node.y, node.x + node.length, node.y + node.width) != plate:
            yield f"the offcut at {node.x}, {node.y} is not what the cuts leave"
    else:
        over = x1 - node.x - node.length, y1 - node.y - node.width
        if (node.x, node.y) != (x0, y0) or not all(0 <= side <= kerf for side in over):
            yield f"'{node.part}' at {node.x}, {node.y} is not what the cuts leave"


def _piece(job: Job, piece: Placed, stock: Stock, inside: Plate, parts: dict[str, Demand]) -> Iterator[str]:
    name = f"'{piece.part}' at {piece.x}, {piece.y}"
    x1, y1 = piece.x + piece.length, piece.y + piece.width
    if piece.x < inside[0] or piece.y < inside[1] or x1 > inside[2] or y1 > inside[3]:
        yield f"{name} reaches into the trim"
    for flaw in stock.defects:
        if piece.x < flaw.x + flaw.length and flaw.x < x1 and piece.y < flaw.y + flaw.width and flaw.y < y1:
            yield f"{name} lies on a defect"
    if piece.part not in parts:
        yield f"{name} is not a part of the job"
        return
    part = parts[piece.part]
    size = (part.width, part.length) if piece.turned else (part.length, part.width)
    if (piece.length, piece.width) != size:
        yield f"{name} has not the size of the part"
    square = part.length == part.width
    if not square and part.grain is (Grain.ALONG if piece.turned else Grain.ACROSS):
        yield f"{name} lies with its grain the wrong way"
    if part.pin and part.pin != stock.id:
        yield f"{name} is to come from '{part.pin}'"
    if job.stages == STICKS and piece.width != stock.width:
        yield f"{name} has not the section of the stick"


def _apart(one: Placed, other: Placed, kerf: int) -> bool:
    return (
        one.x + one.length + kerf <= other.x
        or other.x + other.length + kerf <= one.x
        or one.y + one.width + kerf <= other.y
        or other.y + other.width + kerf <= one.y
    )


def _within_stages(node: Node, most: int, first: Axis | None) -> bool:
    """Whether a plate needs no more stages; a plate with one part is only trimmed."""
    starts = tuple(Axis) if first is None else (first,)
    return any(_stages_from(node, start) <= most for start in starts)


def _stages_from(node: Node, axis: Axis) -> int:
    """Stages of parallel cuts when the first goes along `axis`."""
    if not isinstance(node, Cut) or sum(1 for _ in _pieces(node)) <= 1:
        return 0
    if node.axis is not axis:
        return 1 + _stages_from(node, node.axis)
    return max(1, _stages_from(node.first, axis), _stages_from(node.second, axis))


def _counts(job: Job, plan: Plan, parts: dict[str, Demand]) -> Iterator[str]:
    made: Counter[str] = Counter()
    for layout in plan.layouts:
        for piece in _pieces(layout.tree):
            made[piece.part] += layout.copies
    planned = dict(plan.planned)
    for part, count in plan.planned:
        if part not in parts or count > parts[part].count:
            yield f"{count} of '{part}' are planned, which nobody asked for"
        elif made[part] < count:
            yield f"{made[part]} of {count} '{part}' are cut"
    for part, demand in parts.items():
        named = any(f"'{part}'" in problem.says for problem in plan.problems)
        if planned.get(part, 0) < demand.count and not named:
            yield f"{planned.get(part, 0)} of {demand.count} '{part}' are planned, and no problem says why"


def short_rips(plan: Plan, least: int) -> list[str]:
    """Rips through pieces that are too short to be pushed past a saw safely, in words.

    Args:
        plan: Of boards, x along their length.
        least: Shortest piece that may go through a machine. [units]
    """
    return [
        f"layout {number}: a rip at {node.at} through a piece {length} long, and {least} is the shortest"
        for number, layout in enumerate(plan.layouts, 1)
        for node, length in _lengths(layout.tree)
        if node.axis is Axis.RIP and length < least
    ]


def _lengths(node: Node) -> Iterator[tuple[Cut, int]]:
    """Every cut and the length of the piece it goes through, counted from what comes out of it."""
    if isinstance(node, Cut):
        low, high = _reach(node)
        yield node, high - low
        yield from _lengths(node.first)
        yield from _lengths(node.second)


def _reach(node: Node) -> tuple[int, int]:
    """Where the pieces of a plate start and end along x."""
    if isinstance(node, Cut):
        one, two = _reach(node.first), _reach(node.second)
        return min(one[0], two[0]), max(one[1], two[1])
    return node.x, node.x + node.length


def glued_width(strips: Iterable[int], joint: int) -> int:
    """How wide strips are once glued: what is planed off both edges of each joint is lost."""
    found = list(strips)
    return sum(found) - 2 * joint * (len(found) - 1)


def _costs(plan: Plan, stock: dict[str, Stock]) -> Iterator[str]:
    used: Counter[str] = Counter()
    for layout in plan.layouts:
        used[layout.stock] += layout.copies
    for name, count in sorted(used.items()):
        have = stock[name].on_hand if name in stock else None
        if have is not None and count > have:
            yield f"{count} of the stock '{name}' are used, and there are {have}"
    cost = sum(stock[name].cost * count for name, count in used.items() if name in stock)
    if cost != plan.cost:
        yield f"the stock costs {cost}, and the plan says {plan.cost}"


def _bound(job: Job, plan: Plan) -> Iterator[str]:
    bound = recomputed_bound(job, plan)
    if plan.lower_bound > bound:
        yield f"the bound is said to be {plan.lower_bound}, and its worths prove {bound}"
    if plan.cost < plan.lower_bound:
        yield f"the plan costs {plan.cost}, less than its bound {plan.lower_bound}"


def recomputed_bound(job: Job, plan: Plan) -> int:
    """The bound that the printed worths prove, with the best pattern of each stock found anew."""
    planned = dict(plan.planned)
    worth = dict(plan.certificate.worth)
    held = dict(plan.certificate.held)
    grids = dict(plan.certificate.grids)
    wanted = [replace(d, count=planned[d.part]) for d in job.demand if planned.get(d.part)]
    usable = [s for s in job.stock if s.on_hand != 0]
    costs = [s.cost for s in usable if s.id in dict(plan.certificate.best)]
    paid = sum(worth.get(part, 0) * count for part, count in planned.items())
    rates = []
    for stock in usable:
        most = _most_worth(job, stock, wanted, worth, max(1, grids.get(stock.id, 1)))
        kept = max(0, held.get(stock.id, 0)) if stock.on_hand is not None else 0
        paid -= kept * (stock.on_hand or 0)
        if most > kept:
            rates.append(Fraction(stock.cost, most - kept))
    least = max(Fraction(0), min(rates, default=Fraction(0)) * paid)
    return _next_sum(least, costs)


def _next_sum(least: Fraction, costs: list[int]) -> int:
    """The smallest sum of costs, each as often as one likes, that is not below a value."""
    coin = gcd(*costs) or 1
    steps, start = sorted({cost // coin for cost in costs if cost}), -(-least // coin)
    if not steps or start > 1_000_000:
        return start * coin
    reached = [True] + [False] * (start + steps[0])
    for here in range(1, len(reached)):
        reached[here] = any(step <= here and reached[here - step] for step in steps)
    return reached.index(True, start) * coin


def bounds_in(text: str) -> tuple[tuple[str, int, int], ...]:
    """Name, stated bound and bound worked out anew of each lot in a file of `proof_file`."""
    return tuple((lot["name"], lot["bound"], recomputed_bound(*_from_lot(lot))) for lot in json.loads(text)["lots"])


def _from_lot(lot: dict[str, Any]) -> tuple[Job, Plan]:
    """The job and a plan without layouts, from what the file says."""
    first = lot["stages"]["first"]
    stages = Stages(lot["stages"]["most"], Axis[first.upper()] if first else None)
    stock = tuple(Stock(s["id"], s["length"], s["width"], s["cost"], s["on hand"]) for s in lot["stock"])
    demand = tuple(
        Demand(p["part"], p["length"], p["width"], p["count"], Grain(p["grain"]), p["from"]) for p in lot["parts"]
    )
    proof = Certificate(
        tuple((p["part"], p["worth"]) for p in lot["parts"]), tuple(lot["taken off"].items()),
        tuple(lot["most worth of one"].items()), lot["bound"], tuple(lot["grid"].items()),
    )  # fmt: skip
    job = Job(stock, demand, lot["kerf"], Trim(lot["trim"]["ends"], lot["trim"]["edges"]), stages)
    return job, Plan((), proof, tuple((d.part, d.count) for d in demand), cost=lot["cost"])


def _most_worth(job: Job, stock: Stock, demand: Iterable[Demand], worth: dict[str, int], grid: int) -> int:
    """The most worth of parts that one piece of a stock can give, defects left aside, sizes rounded down to a grid."""
    length, width = stock.length - 2 * job.trim.ends + job.kerf, stock.width + job.kerf
    if job.stages == STICKS:
        own = [d for d in demand if d.width == stock.width and d.pin in ("", stock.id)]
        own += [
            replace(d, length=d.width, width=d.length) for d in demand
            if d.length == stock.width != d.width and d.grain is not Grain.ALONG and d.pin in ("", stock.id)
        ]  # fmt: skip
        return _stick(length, [(d.length + job.kerf, worth[d.part], d.count) for d in own])
    width -= 2 * job.trim.edges
    boxes = []
    for d in demand:
        if d.pin not in ("", stock.id):
            continue
        if d.grain is not Grain.ACROSS or d.length == d.width:
            boxes.append((d.length + job.kerf, d.width + job.kerf, worth[d.part]))
        if d.grain is not Grain.ALONG:
            boxes.append((d.width + job.kerf, d.length + job.kerf, worth[d.part]))
    boxes = [box for box in boxes if box[0] <= length and box[1] <= width and box[2] > 0]
    grid = min([grid, *(min(x, y) for x, y, _ in boxes)])
    boxes = [(x // grid, y // grid, value) for x, y, value in boxes]
    return _plate(length // grid, width // grid, boxes, job.stages.most, job.stages.first) if boxes else 0


def _stick(length: int, lengths: list[tuple[int, int, int]]) -> int:
    """One part after the other, each as often as it is wanted."""
    best = np.zeros(length + 1, dtype=np.int64)
    for size, value, count in lengths:
        for _ in range(min(count, length // size)):
            best[size:] = np.maximum(best[size:], best[:-size] + value)
    return int(best[-1])


def _plate(length: int, width: int, boxes: list[tuple[int, int, int]], most: int | None, first: Axis | None) -> int:
    """Best single parts, then joined side by side, one direction after the other."""
    xs, ys = _places([b[0] for b in boxes], length), _places([b[1] for b in boxes], width)
    table = np.zeros((len(xs), len(ys)), dtype=np.int64)
    for box_length, box_width, value in boxes:
        i, j = np.searchsorted(xs, box_length), np.searchsorted(ys, box_width)
        table[i:, j:] = np.maximum(table[i:, j:], value)
    if most is not None:
        firsts = (0, 1) if first is None else (int(first),)
        found = []
        for axis in firsts:
            stage = table
            for step in range(most):
                stage = _joined(stage, xs, ys, axis if (most - step) % 2 else 1 - axis)
            found.append(int(stage[-1, -1]))
        return max(found)
    while True:
        wider = _joined(_joined(table, xs, ys, 0), xs, ys, 1)
        if (wider == table).all():
            return int(table[-1, -1])
        table = wider


def _joined(table: np.ndarray, xs: np.ndarray, ys: np.ndarray, axis: int) -> np.ndarray:
    points, rows = (xs, table.copy()) if axis == 0 else (ys, table.T.copy())
    for here in range(1, len(points)):
        firsts = np.flatnonzero((points > 0) & (2 * points <= points[here]))
        if len(firsts):
            seconds = np.searchsorted(points, points[here] - points[firsts], side="right") - 1
            rows[here] = np.maximum(rows[here], (rows[firsts] + rows[seconds]).max(axis=0))
    return rows if axis == 0 else rows.T


def _places(sizes: list[int], limit: int) -> np.ndarray:
    """Where a cut can stand: sums of sizes, less those that a later sum replaces with no less room behind it."""
    reached = np.zeros(limit + 1, dtype=bool)
    reached[0] = True
    for size in sorted(set(sizes)):
        for start in range(size, limit + 1, size):
            stop = min(start + size, limit + 1)
            reached[start:stop] |= reached[start - size : stop - size]
    sums = np.flatnonzero(reached)
    room = np.searchsorted(sums, limit - sums, side="right") - 1
    return np.unique(np.concatenate(([0], sums[room])))
