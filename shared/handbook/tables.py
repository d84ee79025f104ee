"""The published tables of `shared/tables`, as records.

The `basis` of a row says how far it can be trusted:

- `printed`: the figure stands in the source named;
- `computed`: a published formula applied to printed figures;
- `common practice`, `our choice`: no standard behind it;
- `from memory`: never checked against a print; shown as such wherever it is used.

A file of the same name in the folder an instructor gives wins over the built-in one.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, field, fields
from fractions import Fraction
from functools import lru_cache
from pathlib import Path
from typing import TYPE_CHECKING, TypeVar

from shared.places import Row, read_csv, read_text
from shared.problems import InputRefused, Problem, meant
from shared.units import NotALength, length

if TYPE_CHECKING:
    from _typeshed import DataclassInstance

BUILT_IN = Path(__file__).parent.parent / "tables"
"""Where the tables stand that come with the program."""

FROM_MEMORY = "from memory"
"""The `basis` of a row that nothing confirms."""

_NUMBER = {"read": "number"}
_NUMBER_OR_NONE = {"read": "number or nothing"}
_LENGTH = {"read": "length"}
_LENGTH_OR_NONE = {"read": "length or nothing"}


class UnknownName(LookupError):
    """A name no row has; `says` what is wrong, `do` names the nearest ones."""

    def __init__(self, says: str, do: str) -> None:
        self.says, self.do = says, do
        super().__init__(f"{says}. {do}")


@dataclass(frozen=True, slots=True)
class Movement:
    """Movement of a species across the grain, Wood Handbook Table 13-5."""

    species: str
    group: str
    """`hardwood`, `softwood` or `imported`."""
    radial: Fraction = field(metadata=_NUMBER)
    """Quartersawn. [1/percentage point of moisture content]"""
    tangential: Fraction = field(metadata=_NUMBER)
    """Flatsawn. [1/percentage point of moisture content]"""
    shrinkage_start: Fraction = field(metadata=_NUMBER)
    """Moisture content below which the species is taken to shrink. [%]"""
    basis: str
    source: str
    note: str


@dataclass(frozen=True, slots=True)
class Shrinkage:
    """Shrinkage of a species from green to ovendry, Wood Handbook Table 4-3."""

    species: str
    group: str
    radial: Fraction | None = field(metadata=_NUMBER_OR_NONE)
    """[% of the green size]"""
    tangential: Fraction | None = field(metadata=_NUMBER_OR_NONE)
    """[% of the green size]"""
    volumetric: Fraction | None = field(metadata=_NUMBER_OR_NONE)
    """[% of the green size]"""
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class Stiffness:
    """Modulus of elasticity of clear wood along the grain, in bending at 12 % moisture, Wood Handbook Table 5-3a."""

    species: str
    group: str
    modulus: Fraction = field(metadata=_NUMBER)
    """[MPa]"""
    basis: str
    source: str
    note: str


@dataclass(frozen=True, slots=True)
class ShopName:
    """What the shop calls a wood, and the row of the tables that is meant; empty when there is none."""

    shop_name: str
    species: str
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class EmcConstants:
    """One line of constants of Wood Handbook Eq. 4-5: constant + linear x T + square x T squared."""

    scale: str
    """`celsius` or `fahrenheit`."""
    symbol: str
    constant: Fraction = field(metadata=_NUMBER)
    linear: Fraction = field(metadata=_NUMBER)
    square: Fraction = field(metadata=_NUMBER)
    source: str


@dataclass(frozen=True, slots=True)
class RecommendedMoisture:
    """Moisture content of wood when it is built in, Wood Handbook Table 13-2. [%]"""

    use: str
    region: str
    average: Fraction = field(metadata=_NUMBER)
    lowest: Fraction = field(metadata=_NUMBER)
    """Of a single piece."""
    highest: Fraction = field(metadata=_NUMBER)
    """Of a single piece."""
    average_basis: str
    range_basis: str
    source: str


@dataclass(frozen=True, slots=True)
class Climate:
    """The three moisture contents a piece of furniture meets. [%]"""

    climate: str
    built: Fraction = field(metadata=_NUMBER)
    driest: Fraction = field(metadata=_NUMBER)
    dampest: Fraction = field(metadata=_NUMBER)
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class HardwoodThickness:
    """Rough and surfaced thickness of hardwood sold by quarters. [mm]"""

    nominal: str
    """As `5/4`."""
    rough: Fraction = field(metadata=_LENGTH)
    surfaced_two_sides: Fraction = field(metadata=_LENGTH)
    surfaced_one_side: Fraction | None = field(metadata=_LENGTH_OR_NONE)
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class SoftwoodBoard:
    """Dressed size of a softwood board. [mm]"""

    nominal: str
    """As `1x6`."""
    thickness: Fraction = field(metadata=_LENGTH)
    width: Fraction = field(metadata=_LENGTH)
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class SheetThickness:
    """How thick a sheet may be that is sold under a nominal thickness. [mm]"""

    material: str
    nominal: Fraction = field(metadata=_LENGTH)
    least: Fraction = field(metadata=_LENGTH)
    usual: Fraction | None = field(metadata=_LENGTH_OR_NONE)
    """The figure on the label, or the average; nothing where the source gives limits only."""
    most: Fraction = field(metadata=_LENGTH)
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class SheetSize:
    """A size sheets are sold in. [mm]"""

    name: str
    width: Fraction = field(metadata=_LENGTH)
    length: Fraction = field(metadata=_LENGTH)
    material: str
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class SawKerf:
    """What a saw takes away. [mm]"""

    tool: str
    kerf: Fraction = field(metadata=_LENGTH)
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class SheetMovement:
    """How sheets, and solid wood along the grain, change with moisture."""

    what: str
    value: Fraction = field(metadata=_NUMBER)
    unit: str
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class ChartFactors:
    """Range of a small group from a normal spread: its mean and deviation, in deviations of one reading."""

    readings: Fraction = field(metadata=_NUMBER)
    """In the group."""
    d2: Fraction = field(metadata=_NUMBER)
    d3: Fraction = field(metadata=_NUMBER)
    basis: str
    source: str


@dataclass(frozen=True, slots=True)
class GaugeFactor:
    """A factor of the gauge study by averages and ranges."""

    factor: str
    """K1 and D4 by trials, K2 by people, K3 by parts."""
    count: Fraction = field(metadata=_NUMBER)
    value: Fraction = field(metadata=_NUMBER)
    basis: str
    source: str


FILES = {
    Movement: "movement_coefficients.csv",
    Shrinkage: "shrinkage.csv",
    Stiffness: "stiffness.csv",
    ShopName: "species_names.csv",
    EmcConstants: "emc_constants.csv",
    RecommendedMoisture: "recommended_moisture.csv",
    Climate: "climates.csv",
    HardwoodThickness: "hardwood_thickness.csv",
    SoftwoodBoard: "softwood_boards.csv",
    SheetThickness: "sheet_thickness.csv",
    SheetSize: "sheet_sizes.csv",
    SawKerf: "saw_kerfs.csv",
    SheetMovement: "sheet_movement.csv",
    ChartFactors: "chart_factors.csv",
    GaugeFactor: "gauge_factors.csv",
}
"""The file each kind of record stands in; its columns are named as the fields."""

Record = TypeVar("Record", bound="DataclassInstance")


@lru_cache(maxsize=64)
def table(kind: type[Record], folder: Path | None = None) -> tuple[Record, ...]:
    """All rows of one table, in the order of the file.

    Args:
        kind: One of the record classes in `FILES`.
        folder: Where an instructor keeps own tables; a file of the same name there is read instead.

    Raises:
        InputRefused: A column is missing, or a cell is not the number or length it should be (T001, T002).
        Unreadable: The file is no CSV.
    """
    name = FILES[kind]
    own = folder / name if folder else None
    path = own if own and own.is_file() else BUILT_IN / name
    read = read_csv(read_text(path), name)
    missing = [f.name for f in fields(kind) if f.name not in read.headings]
    if missing:
        says, do = f"the column '{missing[0]}' is missing", ", ".join(f.name for f in fields(kind))
        raise InputRefused([Problem("T001", read.place, says, f"Columns: {do}.")])
    problems: list[Problem] = []
    rows = tuple(kind(**dict(_cells(kind, row, problems))) for row in read.rows)
    if problems:
        raise InputRefused(problems)
    return rows


def _cells(kind: type, row: Row, problems: list[Problem]) -> Iterator[tuple[str, object]]:
    for column in fields(kind):
        wanted = column.metadata.get("read", "text")
        text = row.text(column.name)
        if not text and wanted.endswith("or nothing"):
            yield column.name, None
            continue
        try:
            yield column.name, _value(text, wanted)
        except (ValueError, ZeroDivisionError) as error:
            says = str(error) if isinstance(error, NotALength) else f"'{text}' is not a number"
            do = f"Write a {wanted} under '{column.name}'."
            problems.append(Problem("T002", row.at(column.name), says, do))
            yield column.name, None


def _value(text: str, wanted: str) -> object:
    if wanted.startswith("number"):
        return Fraction(text)
    return length(text) if wanted.startswith("length") else text


def movement(name: str, folder: Path | None = None) -> Movement:
    """The movement of a species, by its name in the table or a shop name, in any case.

    Raises:
        UnknownName: No row has the name; the message names the nearest.
    """
    return _named(name, Movement, folder)


def shrinkage(name: str, folder: Path | None = None) -> Shrinkage:
    """The shrinkage of a species, found as `movement` finds its row.

    Raises:
        UnknownName: No row has the name; the message names the nearest.
    """
    return _named(name, Shrinkage, folder)


def stiffness(name: str, folder: Path | None = None) -> Stiffness:
    """The stiffness of a species, found as `movement` finds its row.

    Raises:
        UnknownName: No row has the name; the message names the nearest.
    """
    return _named(name, Stiffness, folder)


def climate(name: str, folder: Path | None = None) -> Climate:
    """The moisture contents of a climate, by name, in any case.

    Raises:
        UnknownName: No row has the name; the message names the nearest.
    """
    rows = table(Climate, folder)
    for row in rows:
        if _plain(row.climate) == _plain(name):
            return row
    raise UnknownName(f"no climate is named '{name}'", meant(name, (row.climate for row in rows)))


@lru_cache(maxsize=16)
def _by_name(kind: type[Record], folder: Path | None) -> tuple[dict[str, str], dict[str, Record]]:
    """The species behind each shop name, and each species' row, by plain names."""
    shop = {_plain(row.shop_name): row.species for row in table(ShopName, folder)}
    return shop, {_plain(row.species): row for row in table(kind, folder)}


def _named(name: str, kind: type[Record], folder: Path | None) -> Record:
    shop, by_name = _by_name(kind, folder)
    wanted = _plain(name)
    if wanted in by_name:
        return by_name[wanted]
    if wanted in shop and not shop[wanted]:
        raise UnknownName(
            f"the tables have no row for '{name}'",
            "Add one to your own tables with its source, or name another wood.",
        )
    if _plain(shop.get(wanted, "")) in by_name:
        return by_name[_plain(shop[wanted])]
    known = [*(n for n, species in shop.items() if _plain(species) in by_name), *by_name]
    raise UnknownName(f"no wood is named '{name}'", meant(wanted, known))


def _plain(name: str) -> str:
    return " ".join(name.casefold().replace("-", " ").replace(",", " ").split())
