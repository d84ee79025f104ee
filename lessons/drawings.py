"""Which drawing stands on which sheet, as the data table says."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import replace

from course.course import Course
from course.quantities import Values
from course.roster import Student
from lessons.bench import DATA, Bench
from lessons.edge_drawings import back_rabbet, back_rabbet_bit, bottom_groove, bottom_groove_by_hand, pin_holes
from lessons.fit_drawings import diagonals, reveal_map
from lessons.joint_drawings import (
    backing_fence,
    channel,
    corner,
    frame_section,
    groove_detail,
    router_table,
    tenon_setup,
)
from lessons.operation import Route
from lessons.part_drawings import part_drawing
from lessons.sequence import Work
from shared.places import Mapping
from shared.render.sketch import Drawing

WORDS, LARGE_WORDS = 9.0, 14.0
"""Type sizes in drawings, plain and large print. [pt]"""
DRAWINGS: dict[str, Callable[[Bench, str], Drawing]] = {
    "frame section": frame_section,
    "groove detail": groove_detail,
    "tenon set-up": tenon_setup,
    "router table": router_table,
    "channel": channel,
    "backing fence": backing_fence,
    "corner": corner,
    "diagonals": diagonals,
    "reveal map": reveal_map,
    "back rabbet": back_rabbet,
    "back rabbet bit": back_rabbet_bit,
    "bottom groove": bottom_groove,
    "bottom groove by hand": bottom_groove_by_hand,
    "pin holes": pin_holes,
}
"""Drawings of an assembly that the data table may name."""


PARTS = "each part"
"""What the data table says for the first part of each group, with its joints."""


def bench_of(course: Course, student: Student, values: Values, room: tuple[float, float] = (165.0, 120.0)) -> Bench:
    """What a student's drawings are made from."""
    return Bench(course.cabinet, values, student.shown, LARGE_WORDS if student.large_print else WORDS, room)


def drawings_of(
    course: Course, student: Student, works: Sequence[Work], values: Values, route: Route | None
) -> Iterator[Drawing]:
    """What the data table shows with these features, one for each assembly whose drawing differs.

    Where drawings of one kind differ, the title of each says which assemblies it is of.
    """
    operation = works[0].operation
    bench = bench_of(course, student, values)
    found: dict[tuple[str, str], tuple[Drawing, list[str]]] = {}
    for section, features in (("makes", operation.makes), ("prepares", operation.prepares)):
        for feature, work, assembly in _places(works, features):
            for kind, drawing in _of_feature(bench, section, feature, assembly, work, route):
                _, of = found.setdefault((kind, drawing.alt), (drawing, []))
                of.append(course.cabinet.assemblies[assembly].title)
    kinds = [kind for kind, _ in found]
    for (kind, _), (drawing, of) in found.items():
        yield _named(drawing, of) if kinds.count(kind) > 1 and kind != PARTS else drawing


def _named(drawing: Drawing, of: Sequence[str]) -> Drawing:
    """The drawing with a title that begins with the assemblies it is of, as `Back: diagonals, scale 1 : 15`."""
    who = ", ".join(dict.fromkeys(of))
    title = f"{who[:1].upper()}{who[1:]}: {drawing.title[:1].lower()}{drawing.title[1:]}"
    return replace(drawing, title=title)


def _places(works: Sequence[Work], features: Sequence[str]) -> Iterator[tuple[str, Work, str]]:
    for feature in features:
        for work in works:
            for assembly in work.assemblies:
                if any(f.name == feature and f.assembly == assembly.name for f in work.features):
                    yield feature, work, assembly.name


def _of_feature(
    bench: Bench, section: str, feature: str, assembly: str, work: Work, route: Route | None
) -> Iterator[tuple[str, Drawing]]:
    """Kinds and drawings of one feature."""
    pages = DATA.get(section)
    row = pages.get(feature) if isinstance(pages, Mapping) else None
    if not isinstance(row, Mapping):
        return
    name = row.text(route.name if route else "", row.text("any"))
    for one in filter(None, (word.strip() for word in name.split(","))):
        if one == PARTS:
            for part in _one_of_a_kind(work, assembly):
                yield one, part_drawing(bench, part)
        else:
            yield one, DRAWINGS[one](bench, assembly)


def _one_of_a_kind(work: Work, assembly: str) -> list[str]:
    """The first part of each group that a work is done on."""
    mine = [p for p in work.parts if p.assembly == assembly] or list(work.parts)
    return [p.name for p in {part.group: part for part in reversed(mine)}.values()]
