import csv
from fractions import Fraction
from pathlib import Path

import pytest

from shared.handbook import tables
from shared.handbook.tables import (
    FILES,
    Climate,
    HardwoodThickness,
    Movement,
    SawKerf,
    SheetThickness,
    Shrinkage,
    Stiffness,
    UnknownName,
    climate,
    movement,
    shrinkage,
    stiffness,
    table,
)
from shared.problems import InputRefused


@pytest.mark.parametrize("kind", FILES)
def test_every_row_of_every_table_says_where_it_comes_from(kind):
    """No figure is shipped without its source."""
    rows = table(kind)
    assert rows
    assert all(row.source.strip() for row in rows)


def test_a_figure_is_exact():
    """Cherry is 0.00126 and 0.00248 per point (Wood Handbook FPL-GTR-190, Table 13-5), no float near it."""
    cherry = movement("Cherry, black")
    assert (cherry.radial, cherry.tangential) == (Fraction(126, 100000), Fraction(248, 100000))
    assert (cherry.basis, cherry.shrinkage_start) == ("printed", 30)
    assert cherry.source == "Wood Handbook, FPL-GTR-190 (2010), Table 13-5, p. 13-16"


@pytest.mark.parametrize("name", ["cherry", "CHERRY", "Cherry, black", "cherry black", " cherry,  Black "])
def test_a_species_is_found_by_shop_name_and_in_any_case(name):
    """An instructor writes cherry; the handbook writes Cherry, black."""
    assert movement(name).species == "Cherry, black"


def test_a_hyphen_in_a_name_does_not_matter():
    """Yellow-poplar, yellow poplar and tulip poplar are one wood."""
    assert movement("yellow poplar") is movement("Yellow-Poplar") is movement("tulip poplar")


def test_a_row_from_memory_says_so():
    """White pine is usable, and marked as never checked."""
    assert movement("white pine").basis == tables.FROM_MEMORY
    assert "not checked" in movement("white pine").source


def test_an_unknown_species_gets_the_nearest_names():
    """A slip of the pen is answered with what was meant."""
    with pytest.raises(UnknownName) as refused:
        movement("chery")
    assert refused.value.says == "no wood is named 'chery'"
    assert refused.value.do == "Did you mean 'cherry'?"


def test_a_shop_name_without_a_row_is_not_guessed():
    """Sapele is not in Table 13-5, so nothing is made up for it."""
    with pytest.raises(UnknownName, match="^the tables have no row for 'Sapele'. Add one to your own"):
        movement("Sapele")


def test_shrinkage_is_found_by_the_same_names():
    """Hard maple shrinks 4.8 and 9.9 % (Wood Handbook FPL-GTR-282, Table 4-3)."""
    maple = shrinkage("hard maple")
    assert (maple.radial, maple.tangential) == (Fraction("4.8"), Fraction("9.9"))
    assert maple.volumetric == Fraction("14.7")


def test_an_empty_cell_is_nothing_not_zero():
    """Gray birch has no tangential figure in the handbook."""
    assert shrinkage("Birch, gray").tangential is None


def test_a_species_without_shrinkage_is_refused_though_it_moves():
    """Commercial red oak has a coefficient but no row in Table 4-3."""
    assert movement("red oak").tangential == Fraction("0.00369")
    with pytest.raises(UnknownName, match="no wood is named 'red oak'"):
        shrinkage("red oak")


PSI = Fraction("0.45359237") * Fraction("9.80665") / Fraction("25.4") ** 2
"""Newtons on a square millimetre; exact."""


def published(file: str) -> list[dict[str, str]]:
    path = Path(__file__).parents[1] / "published" / file
    return list(csv.DictReader(path.read_text("utf-8").splitlines()))


@pytest.mark.parametrize("row", published("stiffness_psi.csv"), ids=lambda row: row["species"])
def test_stiffness_agrees_with_the_same_woods_in_inch_pound_units(row):
    """MPa of Wood Handbook Table 5-3a are the published million psi to a hundred MPa."""
    megapascal = Fraction(row["million_psi"]) * 1_000_000 * PSI
    assert abs(stiffness(row["species"]).modulus - megapascal) <= 50


def test_stiffness_is_found_by_the_same_names():
    """Cherry 10,300 and hard maple 12,600 MPa (Wood Handbook FPL-GTR-190, Table 5-3a, 12 % moisture)."""
    assert (stiffness("cherry").modulus, stiffness("hard maple").modulus) == (10300, 12600)


def test_stiffness_of_what_is_sold_as_red_oak_names_its_row():
    """The table has no commercial red oak: that of northern red oak stands for it, and says so."""
    assert stiffness("red oak").modulus == stiffness("Oak, northern red").modulus == 12500
    assert stiffness("red oak").note.startswith("the row of northern red oak")


def test_no_species_stands_twice():
    """A second row would win or lose by chance."""
    for kind in (Movement, Shrinkage, Stiffness):
        names = [row.species.casefold() for row in table(kind)]
        assert len(names) == len(set(names))


def test_radial_movement_is_smaller_than_tangential_in_every_row():
    """A slip of a digit would most likely break this."""
    assert all(row.radial < row.tangential for row in table(Movement))
    assert all(row.radial < row.tangential for row in table(Shrinkage) if row.tangential is not None)


def test_every_shop_name_leads_to_a_row_or_says_there_is_none():
    """A name pointing nowhere would only be noticed in class."""
    species = {row.species for row in table(Movement)}
    assert {row.species for row in table(tables.ShopName)} - species == {""}


def test_stock_sizes_are_lengths():
    """4/4 is 1 in rough and 13/16 in surfaced on two sides (engineeringtoolbox.com, woodbin.com)."""
    four = next(row for row in table(HardwoodThickness) if row.nominal == "4/4")
    assert (four.rough, four.surfaced_two_sides) == (Fraction("25.4"), Fraction(13, 16) * Fraction("25.4"))
    assert all(row.surfaced_two_sides < row.rough for row in table(HardwoodThickness))


def test_sheet_limits_stand_in_order():
    """The least is below the most, and the label between them."""
    for row in table(SheetThickness):
        assert row.least < row.most
        assert row.usual is None or row.least < row.usual < row.most


def test_a_climate_is_ordered_and_found_in_any_case():
    """Driest, built, dampest: a default that broke this would make every panel wrong."""
    assert climate("Heated, temperate").dampest == 11
    assert all(row.driest <= row.built <= row.dampest for row in table(Climate))
    with pytest.raises(UnknownName, match="no climate is named 'damp cost'. Did you mean 'damp coast'"):
        climate("damp cost")


def test_an_own_table_wins(tmp_path):
    """A course folder may measure its own blades."""
    (tmp_path / "saw_kerfs.csv").write_text("tool,kerf,basis,source\nband saw,0.9 mm,measured,own shop\n")
    assert [row.kerf for row in table(SawKerf, tmp_path)] == [Fraction("0.9")]
    assert movement("cherry", tmp_path) == movement("cherry")


def test_a_bad_cell_is_named_with_its_place(tmp_path):
    """Every bad cell at once: the file, line, column, what is wrong and what to do."""
    (tmp_path / "saw_kerfs.csv").write_text("tool,kerf,basis,source\nband saw,thin,x,y\ntrack saw,2.2,x,y\n")
    with pytest.raises(InputRefused) as refused:
        table(SawKerf, tmp_path)
    assert [str(problem) for problem in refused.value.problems] == [
        "saw_kerfs.csv:2:2: T002: 'thin' is not a length; write it as 30.2, 1 3/16 or 1-3/16\"\n"
        "    Write a length under 'kerf'.",
        "saw_kerfs.csv:3:2: T002: '2.2' has no unit; write '2.2 mm' or '2.2 in'\n"
        "    Write a length under 'kerf'.",
    ]


def test_a_cell_that_is_no_number_is_refused(tmp_path):
    """A comma instead of a point is a common slip."""
    (tmp_path / "climates.csv").write_text(
        'climate,built,driest,dampest,basis,source\nattic,"8,5",6,11,measured,own shop\n'
    )
    with pytest.raises(InputRefused, match="climates.csv:2:2: T002: '8,5' is not a number"):
        table(Climate, tmp_path)


def test_a_missing_column_is_named(tmp_path):
    """The heading is checked before any row."""
    (tmp_path / "saw_kerfs.csv").write_text("tool,basis,source\nband saw,x,y\n")
    wanted = "T001: the column 'kerf' is missing\n    Columns: tool, kerf, basis, source."
    with pytest.raises(InputRefused, match=wanted):
        table(SawKerf, tmp_path)
