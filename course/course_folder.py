"""A course folder read as a whole: every problem of all its files at once, each with its place."""

from __future__ import annotations

import datetime
import difflib
import re
from dataclasses import replace
from functools import lru_cache
from pathlib import Path

from course.build import build, list_keys
from course.cabinet import Cabinet
from course.course import Course, whom
from course.course_form import form_problems
from course.kind_faults import faults
from course.kinds import Library, read_library
from course.log import FILE, Log
from course.made import FILE as MADE
from course.made import read_made
from course.plan import flat, read_plan
from course.roster import Student, read_roster
from course.signoffs import SignOff, read_signoffs
from course.stock import Piece, read_stock
from shared.handbook import tables
from shared.own_files import yaml_in
from shared.places import Items, Mapping, Node, Place, Row, Table, Text, Unreadable, read_csv, read_text
from shared.problems import InputRefused, Problem, meant
from shared.terms import TERMS, in_us_words
from shared.units import SHOWN


def read_course(folder: Path) -> Course:
    """Read a course folder.

    Raises:
        InputRefused: With every problem of all its files.
    """
    problems: list[Problem] = []
    if not folder.is_dir():
        says = "it is not a folder" if folder.exists() else "there is no such folder"
        do = "Give the folder that holds course.yaml, plan.yaml and roster.csv."
        raise InputRefused([Problem("P000", Place(str(folder)), says, do)])
    top = yaml_in(folder, "course.yaml", problems, needed=True)
    problems += form_problems(top)
    settings = flat(top)
    cabinet, unit, revision = _cabinet(folder, problems)
    units = _one_of(top, "units", tuple(SHOWN), "mm", problems)
    paper = _one_of(top, "paper", ("a4", "letter"), "a4" if units == "mm" else "letter", problems)
    terms = _one_of(top, "terms", TERMS, "us", problems)
    _one_of(top, "second_reader", ("no", "yes"), "no", problems)
    _days(top, problems)
    settings = {_in_us_words(name, terms): text for name, text in settings.items()}
    machines = _machines(top.get("shop"), "machines", terms)
    _are_machines(top.get("shop"), machines, terms, problems)
    planned = _planned(top, len(_words(top, "sessions")), problems)
    stock: dict[str, Piece] = {}
    students: tuple[Student, ...] = ()
    signoffs: dict[tuple[str, str], SignOff] = {}
    roster = _read_table(folder, "roster.csv", problems, needed=True)
    stock_table, signed, others = (
        _read_table(folder, name, problems, needed=False) for name in ("stock.csv", "signoffs.csv", MADE)
    )
    if cabinet and stock_table:
        stock = read_stock(stock_table, unit, cabinet.stock, problems)
    if roster:
        students = read_roster(roster, unit, units, cabinet, stock, problems)
    if signed and students:
        ends = _date(settings.get("ends"))
        ids = {row.text("id") for row in roster.rows} if roster else set()
        signed = replace(signed, rows=tuple(_machine_in_us_words(row, terms) for row in signed.rows))
        signoffs = read_signoffs(signed, ids, (*machines, *_words(top.get("shop"), "endorsements")), ends, problems)
    made = []
    if others and cabinet and students:
        made = read_made(others, {s.id: s.name for s in students}, cabinet, problems)
    if any(p.severe for p in problems) or cabinet is None:
        raise InputRefused(problems)
    if not signoffs and not _by_hand_alone(top.get("shop")):
        says = "no sign-off is recorded, so every packet prints the hand routes only"
        problems.append(Problem("A010", Place("signoffs.csv"), says, "Record who may use which machine.", False))
    title = top.text("title", cabinet.title)
    course = Course(
        folder, title, f"{top.text('id', _slug(title))} r{revision}", top.text("term"), top.text("instructor"), paper,
        top.text("date"), top.text("invented") in ("yes", "true"), settings, machines,
        _words(top, "sessions"), cabinet, students, stock, signoffs, Log(folder / FILE), tuple(problems),
        _machines(top.get("shop"), "forbidden", terms), _words(top.get("shop"), "hand_only"),
        _words(top.get("shop"), "endorsements"), _words(top.get("shop"), "prepared"), planned,
        tuple(made),
    )  # fmt: skip
    return _proved(course)


def _read_table(folder: Path, name: str, problems: list[Problem], needed: bool) -> Table | None:
    path = folder / name
    if not needed and not path.exists():
        return None
    try:
        return read_csv(read_text(path), name)
    except Unreadable as error:
        problems.append(Problem("P001", error.place, error.says, error.do))
        return None


def _slug(text: str) -> str:
    return re.sub(r"[^a-z0-9]+", "-", text.lower()).strip("-")[:40] or "course"


def _planned(top: Mapping, sessions: int, problems: list[Problem]) -> dict[str, tuple[Text, ...]]:
    """What is planned for each session, by its number."""
    block = top.get("plan")
    if block is None:
        return {}
    if not isinstance(block, Mapping):
        do = "Write a line for each session, as in `plan: {4: [groove edges]}`."
        problems.append(Problem("P024", block.place, "plan does not say what is done in which session", do))
        return {}
    found: dict[str, tuple[Text, ...]] = {}
    for key, node in block.items():
        if key not in map(str, range(1, sessions + 1)):
            says = f"plan names session '{key}', and there are {sessions} sessions"
            problems.append(Problem("P024", block.keys[key], says, "Number the sessions from 1, as they are listed."))
        elif not isinstance(node, Items):
            problems.append(Problem("P024", node.place, f"session {key} has no list", "Write it as [groove edges]."))
        else:
            found[key] = tuple(item for item in node if isinstance(item, Text))
    return found


def _cabinet(folder: Path, problems: list[Problem]) -> tuple[Cabinet | None, str, str]:
    try:
        return _built(read_text(folder / "plan.yaml"), read_library(folder))
    except Unreadable as error:
        problems.append(Problem("P001", error.place, error.says, error.do))
    except InputRefused as refused:
        problems.extend(refused.problems)
    return None, "", ""


@lru_cache(maxsize=2)
def _built(text: str, library: Library) -> tuple[Cabinet, str, str]:
    """The cabinet of a plan's text, the plan's unit and revision; built once while neither text nor kinds change."""
    wrong = (*library.problems, *faults(library))
    if wrong:
        raise InputRefused(wrong)
    plan = read_plan(text, "plan.yaml", list_keys(library))
    return build(plan, library), plan.unit, plan.revision


def _proved(course: Course) -> Course:
    """The course, when every student's cabinet can be built."""
    who: dict[Problem, list[str]] = {}
    for student in course.students:
        try:
            broken = course.cabinet.broken_rules(course.without_log(student), student.shown)
        except InputRefused as refused:
            broken = list(refused.problems)
        for problem in broken:
            who.setdefault(problem, []).append(student.id)
    problems = [replace(p, says=f"{whom(course, tuple(dict.fromkeys(ids)))}: {p.says}") for p, ids in who.items()]
    if any(p.severe for p in problems):
        raise InputRefused([*course.notes, *problems])
    object.__setattr__(course, "notes", (*course.notes, *_unknown_species(course), *problems))
    return course


def _unknown_species(course: Course) -> list[Problem]:
    found: dict[str, Problem] = {}
    for values in (course.plan_values, *(course.without_log(s) for s in course.students)):
        for role in course.cabinet.stock:
            name = f"stock.{role}.material"
            if values[f"stock.{role}.build"] != "solid" or values.number(f"stock.{role}.movement"):
                continue
            given, species = values.given(name), str(values[name])
            place = given.place if given else course.cabinet.graph[name].place
            says = f"no table gives the movement of '{species}'; its seasonal movement is counted as nothing"
            found[species] = Problem("S010", place, says, _own_movement(species), False)
    return list(found.values())


def _own_movement(species: str) -> str:
    """What to do about a wood that no table has."""
    do = "Write its share of the width for each percent of moisture as `movement: 0.003` beside it in the plan"
    try:
        tables.movement(species)
    except tables.UnknownName as unknown:
        near = unknown.do if unknown.do.startswith("Did you mean") else "Or name a wood of the tables that moves alike."
        return f"{do}. {near}"
    return f"{do}."


def _by_hand_alone(shop: Node | None) -> bool:
    """Whether a shop says that it has no machine, as `machines: []`."""
    machines = shop.get("machines") if isinstance(shop, Mapping) else None
    return isinstance(machines, Items) and not len(machines)


def _one_of(top: Mapping, key: str, known: tuple[str, ...], default: str, problems: list[Problem]) -> str:
    node = top.get(key)
    text = top.text(key, default)
    if text not in known:
        problems.append(Problem("P013", node.place if node else top.place, f"{key} is '{text}'", meant(text, known)))
        return default
    return text


def _words(node: object, key: str) -> tuple[str, ...]:
    value = node.get(key) if isinstance(node, Mapping) else None
    return tuple(item.text for item in value if isinstance(item, Text)) if isinstance(value, Items) else ()


def _machines(shop: object, key: str, terms: str) -> tuple[str, ...]:
    """Machines as the program calls them; a UK course may write their UK names."""
    return tuple(in_us_words(name, terms) for name in _words(shop, key))


def _in_us_words(name: str, terms: str) -> str:
    """A dotted name of the settings whose last word may be the UK name of a station."""
    block, point, station = name.rpartition(".")
    return f"{block}.{in_us_words(station, terms)}" if point and block == "shop.stations" else name


def _machine_in_us_words(row: Row, terms: str) -> Row:
    cell = row.cells.get("machine")
    if cell is None:
        return row
    return replace(row, cells={**row.cells, "machine": replace(cell, text=in_us_words(cell.text, terms))})


def _are_machines(shop: object, machines: tuple[str, ...], terms: str, problems: list[Problem]) -> None:
    """What is forbidden is a machine of the shop, spelled as there: a slip would allow it."""
    forbidden = shop.get("forbidden") if isinstance(shop, Mapping) else None
    for item in forbidden if isinstance(forbidden, Items) else ():
        if isinstance(item, Text) and in_us_words(item.text, terms) not in machines:
            says = f"shop.forbidden names '{item.text}', which is not among shop.machines"
            do, slip = meant(item.text, machines), bool(difflib.get_close_matches(item.text, machines))
            if not slip:
                do = f"Nobody can use what is not there: take it out, or add '{item.text}' to shop.machines."
            problems.append(Problem("P025", item.place, says, do, slip))


def _date(text: Text | None) -> datetime.date | None:
    try:
        return datetime.date.fromisoformat(text.text) if text else None
    except ValueError:
        return None


def _days(top: Mapping, problems: list[Problem]) -> None:
    for key in ("date", "ends"):
        node = top.get(key)
        if isinstance(node, Text) and not node.empty and _date(node) is None:
            says = f"{key} is '{node.text}', which is not a date"
            problems.append(Problem("P022", node.place, says, "Write it as 2026-09-14."))
