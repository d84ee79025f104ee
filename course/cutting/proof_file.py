"""Bounds in a file: everything somebody needs to work them out again, and nothing else."""

from __future__ import annotations

import json
from collections.abc import Iterable
from typing import Any

from course.cutting.model import Job, Plan

ABOUT = (
    "Every part has a worth. One piece of a stock, cut from edge to edge inside its trim with the kerf between parts, "
    "holds parts of at most a certain worth V; find V anew, defects left aside (sizes with their kerf rounded down to "
    "the grid do, they can only raise it). With W the worth of all parts, m what is taken off V for stock on hand, and "
    "t the least cost / (V - m) of any stock, no plan costs less than t x (W - the sum of m x number on hand), rounded "
    "up to a multiple of the common divisor of the costs."
)


def proof_text(lots: Iterable[tuple[str, Job, Plan]], unit: str) -> str:
    """The bounds of several lots as JSON text.

    Args:
        lots: Name, job and plan of each.
        unit: What a length of 1 is, in words.
    """
    found = {"about": ABOUT, "unit": unit, "lots": [_lot(*lot) for lot in lots]}
    return json.dumps(found, indent=1, sort_keys=True) + "\n"


def _lot(name: str, job: Job, plan: Plan) -> dict[str, Any]:
    proof, planned = plan.certificate, dict(plan.planned)
    worth = dict(proof.worth)
    first = job.stages.first
    return {
        "name": name, "kerf": job.kerf, "trim": {"ends": job.trim.ends, "edges": job.trim.edges},
        "stages": {"most": job.stages.most, "first": first.name.lower() if first is not None else None},
        "stock": [
            {"id": s.id, "length": s.length, "width": s.width, "cost": s.cost, "on hand": s.on_hand} for s in job.stock
        ],
        "parts": [
            {
                "part": d.part, "length": d.length, "width": d.width, "count": planned[d.part], "grain": d.grain.value,
                "from": d.pin, "worth": worth.get(d.part, 0),
            }
            for d in job.demand if planned.get(d.part)
        ],
        "most worth of one": dict(proof.best), "taken off": dict(proof.held), "grid": dict(proof.grids),
        "bound": proof.bound, "cost": plan.cost,
    }  # fmt: skip
