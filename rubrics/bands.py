"""Bands of fit checks: the limits of a check file, or those a course sets instead."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from fnmatch import fnmatchcase
from fractions import Fraction
from pathlib import Path

from rubrics.fit_classes import FitClass
from shared.places import NOWHERE, Items, Node, Place, Text, Unreadable, read_text, read_yaml
from shared.places import Mapping as Block
from shared.problems import Problem, meant
from shared.units import NotALength, length

COURSE = "course.yaml"
"""Where limits come from that a course writes out."""
_AS = "Write `bands: {shoulder: {lower: -0.5 mm, upper: 0.5 mm}}`."


@dataclass(frozen=True, slots=True)
class Band:
    """Limits around a target; None where there is none. [mm]"""

    lower: Fraction | None
    upper: Fraction | None
    place: Place = NOWHERE
    fit: str = ""
    """Name of the fit class; empty for limits that are written out."""
    source: str = ""
    """Where the limits come from; empty where that is said elsewhere."""


def band_of(fit: FitClass, place: Place) -> Band:
    """The limits of a fit class, named at a place."""
    return Band(fit.lower, fit.upper, place, fit.name, fit.source)


def read_bands(
    settings: Mapping[str, Text], classes: Mapping[str, FitClass], problems: list[Problem]
) -> dict[str, Band]:
    """Bands of `course.yaml`, by the name of a check, of an assembly's check, or of one size, `*` for any.

    Written as `bands: {shoulder: {lower: -0.5 mm, upper: 0.5 mm}, "*.groove.depth": {fit: groove depth}}`; what is
    wrong is added to `problems`.
    """
    sides: dict[str, dict[str, Text]] = {}
    for key, text in settings.items():
        if not key.startswith("bands."):
            continue
        name, _, side = key.removeprefix("bands.").rpartition(".")
        if side not in ("lower", "upper", "fit") or not name:
            problems.append(Problem("B060", text.place, f"a band has no '{side}'", _AS))
            continue
        sides.setdefault(name, {})[side] = text
    found: dict[str, Band] = {}
    for name, texts in sides.items():
        if "fit" in texts:
            if band := _named(name, texts, classes, problems):
                found[name] = band
            continue
        limits = {side: _limit(text, problems) for side, text in texts.items()}
        band = Band(limits.get("lower"), limits.get("upper"), next(iter(texts.values())).place, source=COURSE)
        if band.lower is not None and band.upper is not None and band.lower >= band.upper:
            says = f"the lower limit of '{name}' is not below its upper limit"
            problems.append(Problem("B062", band.place, says, "Exchange the two."))
        found[name] = band
    return found


def _named(
    name: str, texts: Mapping[str, Text], classes: Mapping[str, FitClass], problems: list[Problem]
) -> Band | None:
    """The band of a fit class that a course names for a check; None when there is none."""
    fit = texts["fit"]
    if len(texts) > 1:
        problems.append(Problem("B066", fit.place, f"'{name}' has a fit class and limits", "Keep one of the two."))
    if fit.text not in classes:
        problems.append(Problem("B066", fit.place, f"there is no fit class '{fit.text}'", meant(fit.text, classes)))
        return None
    return band_of(classes[fit.text], fit.place)


def bands_are_limits(folder: Path, problems: list[Problem]) -> None:
    """Add to `problems` what stands under `bands` in `course.yaml` and is no band at all, as a list."""
    try:
        top = read_yaml(read_text(folder / "course.yaml"), "course.yaml")
    except Unreadable:  # the course was read from it a moment ago; what became of it since is told when it is read
        return
    bands = top.get("bands")
    if isinstance(bands, Items) or (isinstance(bands, Text) and not bands.empty):
        problems.append(Problem("B060", bands.place, "bands are not written as names and limits", _AS))
    for name, node in bands.items() if isinstance(bands, Block) else ():
        problems += [Problem("B060", place, f"'{name}' has no limits but a list", _AS) for place in _lists(node)]


def _lists(node: Node) -> list[Place]:
    if isinstance(node, Items):
        return [node.place]
    return [place for _, inner in node.items() for place in _lists(inner)] if isinstance(node, Block) else []


def _limit(text: Text, problems: list[Problem]) -> Fraction | None:
    try:
        return length(text.text)
    except NotALength as error:
        problems.append(Problem("B061", text.place, str(error), "Write the limit with its unit, as in 0.3 mm."))
        return None


def band_for(
    names: Sequence[str], id_: str, one_sided: bool, bands: Mapping[str, Band]
) -> tuple[str, Band] | None:
    """The band that a course sets for a check, with the name it is set under; the narrowest name wins.

    A band under a wide name replaces only bands of its own sort: one with a lower limit those with two limits, one
    without those with an upper limit alone.

    Args:
        names: Wide names, the narrower first, as `door.shoulder` and `shoulder`.
        id_: Full name of the check; a band may name it with `*`.
        one_sided: Whether the check has an upper limit only.
        bands: All bands of the course.
    """
    exact = [name for name in bands if name == id_] or [name for name in bands if fnmatchcase(id_, name)]
    wide = [name for name in names if name in bands and (bands[name].lower is None) == one_sided]
    return next(((name, bands[name]) for name in (*exact, *wide)), None)
