"""Every table of published values that concerns wood and lumber, run whole."""

import csv
from fractions import Fraction
from pathlib import Path

import pytest

from shared.handbook import tolerance_stack
from shared.handbook.tables import RecommendedMoisture, movement, table
from shared.handbook.tolerance_stack import Link
from shared.handbook.wood_moisture import emc_celsius, emc_fahrenheit
from shared.handbook.wood_movement import (
    change_by_coefficient,
    change_by_shrinkage,
    coefficient_from_shrinkage,
    plywood_change,
    shrinkage_to,
)
from shared.units import length

PUBLISHED = Path(__file__).parent.parent / "published"


def rows(name):
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def test_the_moisture_equation_gives_all_342_cells_of_table_4_2():
    """Wood Handbook FPL-GTR-190, Table 4-2: both forms of Eq. 4-5, each cell within its tolerance."""
    cells = rows("emc_table.csv")
    assert len({(cell["temperature_f"], cell["humidity_percent"]) for cell in cells}) == 342
    off = []
    for cell in cells:
        fahrenheit, humidity = Fraction(cell["temperature_f"]), Fraction(cell["humidity_percent"])
        printed = Fraction(cell["emc_percent"])
        by_fahrenheit = emc_fahrenheit(fahrenheit, humidity)
        by_celsius = emc_celsius((fahrenheit - 32) * Fraction(5, 9), humidity)
        if abs(by_fahrenheit - printed) > Fraction(cell["tolerance_fahrenheit_form"]):
            off.append((cell, float(by_fahrenheit)))
        if abs(by_celsius - printed) > Fraction(cell["tolerance_celsius_form"]):
            off.append((cell, float(by_celsius)))
    assert off == []


EMC_FORMS = {"celsius": emc_celsius, "fahrenheit": emc_fahrenheit}


@pytest.mark.parametrize("row", rows("emc_statements.csv"), ids=lambda r: f"{r['humidity_percent']} %")
def test_the_moisture_equation_agrees_with_others(row):
    """Trade and university statements, and another author's evaluation of the same equation."""
    found = EMC_FORMS[row["scale"]](Fraction(row["temperature"]), Fraction(row["humidity_percent"]))
    assert abs(found - Fraction(row["emc_percent"])) <= Fraction(row["tolerance"]), float(found)


MOVEMENT_RULES = {
    "coefficient": change_by_coefficient,
    "rule of thumb": change_by_coefficient,
    "shrinkage from green": lambda size, s, start, end: (
        size * (shrinkage_to(s, start) - shrinkage_to(s, end)) / 100
    ),
    "plywood": lambda size, _, start, end: plywood_change(size, start, end),
}


@pytest.mark.parametrize("row", rows("wood_movement.csv"), ids=lambda r: r["id"])
def test_boards_move_as_published(row):
    """Handbook, guild, university and trade examples, in their own units."""
    size = length(f"{row['size']} {row['unit']}")
    c, start, end = (Fraction(row[name] or 0) for name in ("coefficient", "start", "end"))
    found = MOVEMENT_RULES[row["rule"]](size, c, start, end)
    unit = length(f"1 {row['unit']}")
    assert abs(found / unit - Fraction(row["expected"])) <= Fraction(row["tolerance"]), float(found / unit)


@pytest.mark.parametrize("row", rows("coefficients_from_shrinkage.csv"), ids=lambda r: r["species"])
def test_the_printed_coefficients_follow_from_the_printed_shrinkage(row):
    """Wood Handbook Table 13-5 is Eq. 13-3 at 10 % on Table 4-3, to the fifth decimal."""
    for cut in ("radial", "tangential"):
        found = coefficient_from_shrinkage(
            Fraction(row[f"shrinkage_{cut}"]), Fraction(row["shrinkage_start"])
        )
        assert abs(found - Fraction(row[cut])) <= Fraction(row["tolerance"]), float(found)
        assert getattr(movement(row["species"]), cut) == Fraction(row[cut])


def test_interior_work_is_built_at_8_6_and_11_percent():
    """Wood Handbook FPL-GTR-190, Figure 13-1: most of the United States, dry southwest, damp coast."""
    found = {row.region: row.average for row in table(RecommendedMoisture) if row.use == "interior"}
    assert found == {"most of the United States": 8, "dry southwest": 6, "damp warm coast": 11}


STACKS = {
    "nominal": lambda links: tolerance_stack.nominal(links),
    "worst case": lambda links: tolerance_stack.worst_case(links).tolerance,
    "root sum square": lambda links: tolerance_stack.root_sum_square(links).tolerance,
}
BACKWARDS = {
    "equal, worst case": tolerance_stack.equal_tolerance_worst_case,
    "equal, root sum square": tolerance_stack.equal_tolerance_root_sum_square,
}


@pytest.mark.parametrize("row", rows("tolerance_stack.csv"), ids=lambda r: f"{r['id']}: {r['result']}")
def test_tolerances_stack_as_published(row):
    """Worst case and root sum of squares, forwards and backwards."""
    if row["result"] in BACKWARDS:
        parts, total = row["links"].split(":")
        found = BACKWARDS[row["result"]](Fraction(total), int(parts))
    else:
        links = [Link(*map(Fraction, text.split(":"))) for text in row["links"].split()]
        found = STACKS[row["result"]](links)
    assert abs(float(found) - float(row["expected"])) <= float(row["tolerance"]) + 1e-15, float(found)


def test_the_two_movement_equations_agree_where_they_meet():
    """From 6 to 14 % they differ by under 2 % of the movement (Wood Handbook p. 13-17 limits)."""
    for row in rows("coefficients_from_shrinkage.csv"):
        shrinkage, c = Fraction(row["shrinkage_tangential"]), Fraction(row["tangential"])
        for start, end in ((6, 14), (8, 11), (14, 6)):
            linear = change_by_coefficient(Fraction(100), c, start, end)
            exact = change_by_shrinkage(Fraction(100), shrinkage, start, end, int(row["shrinkage_start"]))
            assert abs(linear - exact) <= abs(exact) / 50, (row["species"], start, end)
