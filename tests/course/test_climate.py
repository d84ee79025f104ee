"""The climate of a course: moisture contents, the air they come from, or a climate by its name."""

from __future__ import annotations

import csv
from fractions import Fraction
from pathlib import Path

import pytest

PUBLISHED = Path(__file__).parents[1] / "published" / "emc_table.csv"
ROOMS = [row for row in csv.DictReader(PUBLISHED.read_text("utf-8").splitlines()) if row["temperature_f"] == "70"]


def moisture(cabinet_of, class_plan: str, climate: str) -> tuple[Fraction, ...]:
    values = cabinet_of(f"{class_plan}climate: {climate}\n").graph.evaluate()
    return tuple(values.number(f"climate.{word}") for word in ("dry", "built", "damp"))


@pytest.mark.parametrize("row", ROOMS, ids=lambda row: row["humidity_percent"])
def test_the_air_of_a_room_gives_the_moisture_of_the_handbook(cabinet_of, class_plan, row):
    """Wood Handbook Table 4-2 at 70 F, to a tenth of a percent in which it is printed (Eq. 4-5 rounds 10 cells the other way)."""
    dry, _, _ = moisture(
        cabinet_of, class_plan, f"{{dry: {{temperature: 70 F, humidity: {row['humidity_percent']} %}}}}"
    )
    assert abs(dry - Fraction(row["emc_percent"])) <= Fraction("0.1")


def test_celsius_and_fahrenheit_are_one_air(cabinet_of, class_plan):
    """21.1 C is 70 F: 30, 40 and 60 % humidity are 6.2, 7.7 and 11.0 % in Table 4-2 (FPL-GTR-190, p. 4-4)."""
    for warm in ("70 F", "21.1 C", "21.1\u00b0C"):
        air = ", ".join(
            f"{word}: {{temperature: {warm}, humidity: {humidity}}}"
            for word, humidity in (("dry", 30), ("built", 40), ("damp", 60))
        )
        found = moisture(cabinet_of, class_plan, f"{{{air}}}")
        assert found == (Fraction("6.2"), Fraction("7.7"), Fraction(11)), warm


def test_moisture_and_air_may_stand_side_by_side(cabinet_of, class_plan):
    """A meter for the shop, the air for the seasons."""
    found = moisture(cabinet_of, class_plan, "{built: 8.5, damp: {temperature: 70 F, humidity: 60}}")
    assert found == (6, Fraction("8.5"), 11)


def test_a_climate_has_a_name(cabinet_of, class_plan):
    """`damp coast` is 8, 11 and 13 in the table of climates."""
    assert moisture(cabinet_of, class_plan, "damp coast") == (8, 11, 13)


def test_why_shows_the_air_behind_a_moisture(course_of, class_plan):
    """The chain of a movement goes down to temperature and humidity, with their line in the plan."""
    plan = class_plan.replace("revision: 1", "revision: 1\nclimate: {damp: {temperature: 70 F, humidity: 60}}")
    lines = course_of(plan=plan).plan_values.why("door.panel.season")
    damp = next(line for line in lines if line.name == "climate.damp")
    assert (damp.value, damp.formula, str(damp.place)) == (11, "moisture_fahrenheit(70, 60)", "plan.yaml:5:17")
