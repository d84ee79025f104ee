"""Cutting plans against their bound, against the best known and against the placing rules: figures and time.

Skipped unless asked for (`--benchmark-only`); the figures stand in the `extra_info` of each run.
"""

from __future__ import annotations

import json
import random
from collections.abc import Iterator
from pathlib import Path

import pytest

from course.cutting.checker import complaints
from course.cutting.engine import plan_cutting
from course.cutting.model import ANY_STAGES, RIP_FIRST, STICKS, Demand, Grain, Job, Stock, Trim
from course.cutting.prepare import prepared
from course.cutting.start import portfolio

FILE = Path(__file__).parents[1] / "course" / "cutting" / "instances.json"
ENTRIES = {e["name"]: e for e in json.loads(FILE.read_text("utf-8"))["instances"] if e["family"] != "best pattern"}
STAGES = {"three sheet sizes": RIP_FIRST, "boards": RIP_FIRST, "sticks": STICKS}
CLASSES = 40
"""Invented classes, each with its own cabinets."""


def job_of(entry: dict) -> Job:
    stock = tuple(Stock(f"size {n}", *size) for n, size in enumerate(entry["stock"], 1))
    demand = tuple(
        Demand(f"part {n:02}", length, width, count, Grain.FREE if free else Grain.ALONG)
        for n, (length, width, free, count) in enumerate(entry["items"], 1)
    )
    return Job(stock, demand, entry["kerf"], Trim(*entry["trim"]), STAGES.get(entry["family"], ANY_STAGES))


def class_job(number: int) -> Job:
    """An invented class of 8 to 24 students, one to three sizes of wall cabinet, in 0.1 mm or 1/64 in."""
    chance = random.Random(number)
    inch = number % 2
    sheet = Stock("sheet", 6144, 3072) if inch else Stock("sheet", 24400, 12200)
    students = chance.choice([8, 12, 14, 16, 20, 24])
    depth, height = chance.choice([280, 292, 300, 312, 320]), chance.choice([680, 720, 740, 762, 800])
    wanted: dict[tuple[int, int, Grain], int] = {}
    for _ in range(chance.choice([1, 2, 2, 3])):
        for length, width, count, grain in _cabinet(chance, depth, height):
            sizes = (round(size / 25.4 * 16) * 4 if inch else round(size * 10) for size in (length, width))
            key = (*sizes, grain)
            wanted[key] = wanted.get(key, 0) + count * students
    demand = tuple(Demand(f"part {n:02}", *key[:2], wanted[key], key[2]) for n, key in enumerate(wanted, 1))
    return Job((sheet,), demand, *((8, Trim(16, 16)) if inch else (32, Trim(60, 60))))


def _cabinet(chance: random.Random, depth: float, height: float) -> Iterator[tuple[float, float, int, Grain]]:
    """Parts of one cabinet: length, width, count, grain. [mm]"""
    width = chance.choice([400, 450, 500, 550, 560, 600, 650, 700]) + chance.choice([0, 0, 25, -25])
    side = height if chance.random() < 0.6 else height + chance.choice([-120, 60, 100])
    yield side, depth, 2, Grain.ALONG
    yield width - 22, depth, 2, Grain.ALONG
    yield width - 36, depth - 25, chance.choice([1, 2, 3]), Grain.ALONG
    if chance.random() < 0.7:
        yield width - 36, chance.choice([80, 89, 100]), 2, Grain.FREE
    if chance.random() < 0.7:
        yield side - 6, width / 2 - 3, 2, Grain.ALONG
    if chance.random() < 0.4:
        yield side - 24, depth - 20, 1, Grain.ALONG
    if chance.random() < 0.4:
        yield depth - 30, chance.choice([120, 150, 180]), 2 * chance.choice([1, 2, 3]), Grain.FREE


def by_rules_alone(job: Job) -> int | None:
    """Sheets of the best of the placing rules; None when there are too many parts for them."""
    work = prepared(job)
    tries = (sum(copies for _, copies in sheets) for sheets in portfolio(work, work.blanks[0], work.demand))
    return min(tries, default=None)


def measured(benchmark, job: Job, **more) -> None:
    plan = benchmark.pedantic(plan_cutting, args=(job,), rounds=1)
    assert complaints(job, plan) == []
    benchmark.extra_info.update(
        cost=plan.cost, bound=plan.lower_bound, used=plan.used, layouts=len(plan.layouts), how=plan.how, **more
    )


@pytest.mark.parametrize("name", ENTRIES)
def test_published_and_invented_problems(benchmark, name: str):
    """Cost, bound and best known of each problem."""
    job = job_of(ENTRIES[name])
    more = {"rules": by_rules_alone(job)} if ENTRIES[name]["family"] == "class" else {}
    measured(benchmark, job, **more, published=ENTRIES[name].get("published", {}))


@pytest.mark.parametrize("number", range(CLASSES))
def test_invented_classes(benchmark, number: int):
    """Sheets, bound, and sheets by placing rules alone."""
    job = class_job(number)
    measured(benchmark, job, rules=by_rules_alone(job))
