"""Proof-reading of a plan before wood is bought: what a comparison in a kind cannot say.

Each rule is one function from a student's cabinet to things to look at; all stand in `RULES`. They look at the
cabinet by choices and stock alone, since readings come later, and stop nothing. Comparisons that a kind or joint can
write itself stand there, under `rules:`, and are told whenever the course is read.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from itertools import product

from course.absurd import absurd
from course.cabinet import Joint, Part
from course.course import Course, whom
from course.formula import LENGTH
from course.instructions import read_instructions
from course.order_settings import read_order_settings
from course.quantities import Origin, Values
from course.remedy_files import read_remedies
from course.roster import Student
from course.seasons import HIGHEST_MOISTURE, in_order
from course.stock import Piece
from shared.handbook import shelf
from shared.places import Place
from shared.problems import Problem
from shared.units import INCH, SHOWN, Shown

RABBET_BAND = Fraction("0.3")
"""How far a rabbet may be off the width that its bit cuts; common practice. [mm]"""


MAY_BE_LESS = ("set_back", "clearance", "ease")
"""Ends of names of sizes that may be less than nothing: something stands proud, or a fit is tight."""
ROOM_BEHIND = Fraction(2)
"""How much further back a shelf is advised to stay than the door is thick; our choice. [mm]"""


@dataclass(frozen=True, slots=True)
class Look:
    """One student's cabinet as a rule looks at it."""

    course: Course
    student: Student
    values: Values

    @property
    def shown(self) -> Shown:
        """Units of the course: its instructor reads the proof."""
        return SHOWN[self.course.text("units", "mm")]

    def size(self, value: Fraction) -> str:
        """A length in the units of the course."""
        return self.shown.size(value)

    def at_least(self, value: Fraction) -> str:
        """A length rounded up to what is printed, so that what is printed is enough."""
        return self.size(math.ceil(value / self._step) * self._step)

    def at_most(self, value: Fraction) -> str:
        """A length rounded down to what is printed, so that what is printed is not too much."""
        return self.size(math.floor(value / self._step) * self._step)

    @property
    def _step(self) -> Fraction:
        decimals = Fraction(1, 10**self.shown.places)
        if self.shown.unit == "mm":
            return decimals
        return INCH * (Fraction(1, self.shown.parts) if self.shown.parts else decimals)

    def place(self, *names: str) -> Place:
        """The line of plan, roster or stock file nearest behind some quantities; else that of the first."""
        todo, seen = list(names), set(names)
        while todo:
            for name in todo:
                given = self.values.given(name)
                if given and given.origin is not Origin.TABLE:
                    return given.place
                if self.values.origin(name) is Origin.PLAN:
                    return self.course.cabinet.graph[name].place
            todo = [inner for name in todo for inner in self.values.inputs(name) if inner not in seen]
            seen.update(todo)
        return self.course.cabinet.graph[names[0]].place


Rule = Callable[[Look], Iterator[Problem]]


def _warning(code: str, place: Place, says: str, do: str) -> Problem:
    return Problem(code, place, says, do, severe=False)


def _plain(value: Fraction) -> str:
    """A number as a person writes it, as `8` or `8.5`."""
    return f"{float(value):g}"


def moisture_rises(look: Look) -> Iterator[Problem]:
    """The three moisture contents of the climate stand in their order, where wood shrinks."""
    dry, built, damp = (look.values.number(f"climate.{word}") for word in ("dry", "built", "damp"))
    if in_order(look.values):
        return
    says = (
        f"the climate runs from {_plain(dry)} % over {_plain(built)} % as built to {_plain(damp)} %, "
        "so nothing can be said of its seasons"
    )
    place = look.place("climate.built", "climate.dry", "climate.damp")
    yield _warning("V001", place, says, f"Write 0 <= dry <= built <= damp <= {HIGHEST_MOISTURE}, as in 6, 8 and 10.")


def wood_is_at_home(look: Look) -> Iterator[Problem]:
    """A board is no drier and no damper than the climate it will live in."""
    dry, damp = look.values.number("climate.dry"), look.values.number("climate.damp")
    for piece_id in look.student.pieces.values():
        piece = look.course.stock[piece_id]
        if piece.moisture is None or dry <= piece.moisture <= damp:
            continue
        says = (
            f"'{piece.id}' was measured at {_plain(piece.moisture)} % moisture, the climate runs from "
            f"{_plain(dry)} % to {_plain(damp)} %"
        )
        do = "Leave it in the shop and measure it again before it is cut, or correct the climate of the plan."
        yield _warning("V002", piece.place, says, do)


def _left_over_tenons(look: Look) -> Iterator[tuple[Joint, Piece]]:
    """Joints whose tenon is left over between two faces, each with the student's measured pieces that it is cut in."""
    for assembly in look.course.cabinet.assemblies.values():
        for joint in assembly.joints.values():
            if f"{joint.prefix}.stock_high" not in look.values:
                continue
            roles = {look.course.cabinet.part(site.male).stock for site in joint.sites}
            for role in sorted(roles & look.student.pieces.keys()):
                piece = look.course.stock[look.student.pieces[role]]
                if piece.measured:
                    yield joint, piece


def stock_is_even_enough(look: Look) -> Iterator[Problem]:
    """A tenon left over between two faces varies as much as its stock: one to one (common practice)."""
    for joint, piece in _left_over_tenons(look):
        band = look.values.number(f"{joint.prefix}.stock_high") - look.values.number(f"{joint.prefix}.stock_low")
        if piece.spread <= band:
            continue
        says = (
            f"'{piece.id}' is {look.shown.fine(min(piece.thickness))} to "
            f"{look.shown.fine(max(piece.thickness))} thick, {look.shown.fine(piece.spread)} apart; "
            f"a {joint.kind} has a band of {look.shown.fine(band)}"
        )
        do = (
            f"Plane all of it in one setting to within {look.shown.fine(band)}, "
            "or cut both cheeks against the fence, so that the shoulder takes up the difference."
        )
        yield _warning("V003", piece.place, says, do)


def stock_suits_one_set_up(look: Look) -> Iterator[Problem]:
    """A tenon left over in stock thinner or thicker than planned is too by as much, at the set-up of the plan (F10)."""
    plan = look.course.plan_values
    for joint, piece in _left_over_tenons(look):
        low, high = (plan.number(f"{joint.prefix}.{word}") for word in ("stock_low", "stock_high"))
        if low <= piece.mean_thickness <= high:
            continue
        says = (
            f"'{piece.id}' is {look.shown.fine(piece.mean_thickness)} thick; one set-up for all gives a {joint.kind} "
            f"within its band in stock of {look.shown.fine(low)} to {look.shown.fine(high)}"
        )
        do = (
            "Plane it with the other boards in one setting, or set up anew for it by its own packet, "
            "or cut both cheeks against the fence."
        )
        yield _warning("V008", piece.place, says, do)


def rabbet_bit_cuts_it(look: Look) -> Iterator[Problem]:
    """A bit with a bearing cuts a rabbet of half their difference (geometry)."""
    cutter, bearing = (look.values.number(f"shop.rabbet_{word}") for word in ("cutter", "bearing"))
    cut = (cutter - bearing) / 2
    for assembly in look.course.cabinet.assemblies:
        name = f"{assembly}.back_rabbet.width"
        if name not in look.values or abs(look.values.number(name) - cut) <= RABBET_BAND:
            continue
        wanted = look.values.number(name)
        says = (
            f"the rabbet for the back is {look.size(wanted)} wide; the shop's bit of {look.size(cutter)} "
            f"with its bearing of {look.size(bearing)} cuts {look.size(cut)}"
        )
        do = f"Make back_rabbet.width {look.size(cut)}"
        if cutter > 2 * wanted:
            do += f", or write a bearing of {look.size(cutter - 2 * wanted)} as shop.rabbet_bearing"
        yield _warning("V004", look.place(name, "shop.rabbet_bearing", "shop.rabbet_cutter"), says, do + ".")


def parts_pass_machines(look: Look) -> Iterator[Problem]:
    """A blank is long and wide enough to be led through a machine, where there is one (common practice)."""
    if not look.course.machines:
        return
    for size, code in (("length", "V005"), ("width", "V006")):
        limit = look.values.number(f"shop.least_{size}")
        small: dict[str, list[Part]] = {}
        for part in look.course.cabinet.parts:
            if _blank(look, part, size) < limit:
                small.setdefault(part.stock, []).append(part)
        for role, parts in small.items():
            yield _too_small(look, code, role, size, limit, parts)


def _blank(look: Look, part: Part, size: str) -> Fraction:
    return look.values.number(f"{part.name}.{size}") + look.values.number(f"stock.{part.stock}.rough_{size}")


def _too_small(look: Look, code: str, role: str, size: str, limit: Fraction, parts: Sequence[Part]) -> Problem:
    least = min(parts, key=lambda part: _blank(look, part, size))
    short, extra = _blank(look, least, size), f"stock.{role}.rough_{size}"
    labels = ", ".join(part.label for part in parts)
    more = " and more" if any(_blank(look, part, size) > short for part in parts) else ""
    word = "long" if size == "length" else "wide"
    says = (
        f"blanks of {labels} are {look.size(short)}{more} {word}; "
        f"a machine needs {look.size(limit)} (shop.least_{size})"
    )
    enough = look.at_least(look.values.number(extra) + limit - short)
    do = (
        "Do the machine work while they are joined in one larger piece and separate them last, "
        f"make {extra} {enough}, or work them by hand. The machine's manual and the instructor come first."
    )
    return _warning(code, look.place(f"{least.name}.{size}"), says, do)


def shelves_hold(look: Look) -> Iterator[Problem]:
    """A loose shelf whose stiffness is known does not sag beyond the limit in years of its load."""
    for assembly in look.course.cabinet.assemblies:
        board = f"{assembly}.board"
        if f"{assembly}.load" not in look.values:
            continue
        part = look.course.cabinet.part(board)
        modulus = look.values.number(f"stock.{part.stock}.modulus")
        if modulus <= 0:
            continue
        span, depth, thickness = (look.values.number(f"{board}.{word}") for word in ("length", "width", "thickness"))
        load = look.values.number(f"{assembly}.load")
        beam, weight = shelf.Shelf(span, depth, thickness, modulus), shelf.pounds_per_foot(load)
        sag, limit = shelf.lasting_sag(beam, weight), shelf.sag_limit(span)
        if sag <= limit:
            continue
        books = " of books (from memory)" if look.values.origin(f"{assembly}.load") is Origin.DEFAULT else ""
        given = look.values.given(f"stock.{part.stock}.modulus")
        source = given.note if given and given.origin is Origin.TABLE else "as written"
        says = (
            f"the shelf {part.label} spans {look.size(span)} and may sag about {look.shown.fine(sag)} in years "
            f"under {_plain(load)} pounds a foot{books}, with a stiffness of {_plain(modulus)} MPa ({source}); "
            f"{look.shown.fine(limit)} is let pass (common practice)"
        )
        thicker = Fraction(thickness * Fraction(math.cbrt(sag / limit)))
        do = (
            f"Span at most {look.at_most(shelf.longest_span(beam, weight))}, use {look.at_least(thicker)} thick stock, "
            "or put a strip under its front edge."
        )
        yield _warning("V007", look.place(f"stock.{part.stock}.modulus", f"{board}.length"), says, do)


def shelves_stay_behind_doors(look: Look) -> Iterator[Problem]:
    """A shelf ends behind the door that closes the same opening, or the door does not shut."""
    filled = [one for one in look.course.cabinet.assemblies.values() if one.fills]
    for board, door in product(filled, filled):
        back, thick = f"{board.name}.set_back", f"{door.name}.stile.left.thickness"
        if door.choices.get("use") != "door" or door.fills != board.fills or back not in look.values:
            continue
        behind, door_size = look.values.number(back), look.values.number(thick)
        if behind > door_size:
            continue
        says = (
            f"'{board.title}' stays {look.size(behind)} behind the front of its opening and '{door.title}' in it is "
            f"{look.size(door_size)} thick, so the door cannot shut"
        )
        do = f"Write `set_back: {look.at_least(door_size + ROOM_BEHIND)}` or more at '{board.name}'."
        written = look.values.origin(back) is not Origin.DEFAULT
        yield _warning("V009", look.place(back) if written else board.place, says, do)


def one_thing_fills_an_opening(look: Look) -> Iterator[Problem]:
    """Two things in one opening are in each other's way, unless one of them is a loose shelf."""
    found: dict[str, dict[str, Place]] = {}
    for one in look.course.cabinet.assemblies.values():
        if one.fills and f"{one.name}.set_back" not in look.values:
            found.setdefault(one.fills, {}).setdefault(one.name.partition(".")[0], one.place)
    for opening, places in found.items():
        if len(places) > 1:
            says = f"{' and '.join(repr(name) for name in places)} are put into the same opening, {opening}"
            first = next(iter(places))
            do = f"Put what comes later into an opening of what comes first, as in `in: {first}.upper`."
            yield _warning("V010", list(places.values())[-1], says, do)


def sizes_are_more_than_nothing(look: Look) -> Iterator[Problem]:
    """A size that the plan or the roster writes with a minus, though its kind has one without."""
    for name in look.course.cabinet.settable:
        quantity = look.course.cabinet.graph[name]
        value = look.values[name]
        if quantity.dimension != LENGTH or not isinstance(value, Fraction) or value >= 0:
            continue
        if look.values.origin(name) in (Origin.PLAN, Origin.CHOICE) and not name.endswith(MAY_BE_LESS):
            says = f"{name} is {look.size(value)}, less than nothing: {quantity.says}"
            yield _warning("V011", look.place(name), says, "Write it without the minus.")


RULES: tuple[Rule, ...] = (
    moisture_rises, wood_is_at_home, stock_is_even_enough, stock_suits_one_set_up, rabbet_bit_cuts_it,
    parts_pass_machines, shelves_hold, shelves_stay_behind_doors,
    one_thing_fills_an_opening, sizes_are_more_than_nothing,
)  # fmt: skip


def proof(course: Course, rules: Iterable[Rule] = RULES) -> tuple[Problem, ...]:
    """What to look at before wood is bought, in the order of the files; each thing once, with whom it is about."""
    who: dict[Problem, list[str]] = {}
    for student in course.students:
        look = Look(course, student, course.without_log(student))
        for problem in dict.fromkeys(found for rule in rules for found in rule(look)):
            who.setdefault(problem, []).append(student.id)
    found = [replace(problem, says=f"{whom(course, ids)}: {problem.says}") for problem, ids in who.items()]
    found += (*other_files(course), *(one for student in course.students for one in absurd(course, student)))
    return tuple(sorted(found, key=lambda p: (p.place.sort_key, p.code, p.says)))


def other_files(course: Course) -> tuple[Problem, ...]:
    """What is wrong in `order.yaml`, `cutting.yaml` and own remedies, said before anybody needs them."""
    groups = [part.group for part in course.cabinet.parts]
    settings = read_order_settings(course.folder, groups, course.cabinet.stock)
    return (*settings.problems, *read_instructions(course).problems, *read_remedies(course.folder).problems)
