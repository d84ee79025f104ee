"""Course files with random slips: every one is read, or refused in words; nothing else ever comes out.

The slips are seeded, so that a failure comes again: lines are deleted, doubled, exchanged and moved in; letters come
and go; values become other values.
"""

from __future__ import annotations

import random
import re
import shutil
from importlib.resources import files
from pathlib import Path

import pytest

from course.course_folder import read_course
from course.proof import proof
from rubrics.check_files import read_checks
from shared.problems import InputRefused, Problem

SIGNS = "\t'\"{}[]:,;#&*!|>%@`\x00\x07\u00e9\U0001f600\u2028\ufeff-?\\\r\u00bd\u0663\u00b2()/+="
VALUES = (
    *("", "0", "-1", "-5 mm", "1e9", "nan", "1/0", "12,5", "12 furlong", "rest", "2 shares", "true", "no", "~", "[]"),
    *("{}", "[a, b]", "{a: 1}", "2026-02-30", "02/03/2026", "a.b.c", "case.width", "stock.case.thickness", "sqrt(0-1)"),
    *("width / 0", "min()", "\u0663 mm", "\u00b2 mm", "9" * 40, "'", "*a", "&a b", "((((", "1 + ", "door", "12:30"),
)
SLIPS = 40
"""Of each file."""


def delete(lines: list[str], rng: random.Random) -> None:
    """A line is gone."""
    del lines[rng.randrange(len(lines))]


def double(lines: list[str], rng: random.Random) -> None:
    """A line stands in another place too."""
    lines.insert(rng.randrange(len(lines)), rng.choice(lines))


def exchange(lines: list[str], rng: random.Random) -> None:
    """Two lines have changed places."""
    one, other = rng.randrange(len(lines)), rng.randrange(len(lines))
    lines[one], lines[other] = lines[other], lines[one]


def shift(lines: list[str], rng: random.Random) -> None:
    """A line stands further in, or not in at all."""
    at = rng.randrange(len(lines))
    lines[at] = rng.choice(("  ", "\t", " ")) + lines[at] if rng.random() < 0.5 else lines[at].lstrip()


def sign(lines: list[str], rng: random.Random) -> None:
    """A letter is gone, or an odd one has come."""
    at = rng.randrange(len(lines))
    column = rng.randrange(len(lines[at]) + 1)
    gone = rng.random() < 0.4
    lines[at] = lines[at][:column] + ("" if gone else rng.choice(SIGNS)) + lines[at][column + gone :]


def value(lines: list[str], rng: random.Random) -> None:
    """A word or number is another."""
    at = rng.randrange(len(lines))
    words = list(re.finditer(r"[^\s:,\[\]{}#]+", lines[at]))
    if words:
        word = rng.choice(words)
        lines[at] = lines[at][: word.start()] + rng.choice(VALUES) + lines[at][word.end() :]


def other_name(lines: list[str], rng: random.Random) -> None:
    """A name of the file stands where another was."""
    at = rng.randrange(len(lines))
    words = list(re.finditer(r"[a-z_.]{3,}", lines[at]))
    if words:
        word = rng.choice(words)
        name = rng.choice(re.findall(r"[a-z_.]{3,}", "".join(lines)))
        lines[at] = lines[at][: word.start()] + name + lines[at][word.end() :]


WAYS = (delete, double, exchange, shift, sign, value, value, other_name)


def slipped(text: str, rng: random.Random) -> str:
    """A text with one to three slips."""
    lines = text.splitlines(keepends=True)
    for _ in range(rng.choice((1, 1, 2, 3))):
        rng.choice(WAYS)(lines, rng)
    return "".join(lines)


@pytest.fixture(scope="module")
def course(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """Two students of the demo course, with a kind, a joint and a check of its own and an order."""
    folder = tmp_path_factory.mktemp("slips") / "course"
    shutil.copytree(str(files("course").joinpath("demo")), folder)
    for name, ids in (("roster.csv", ("id,", "s01,", "s03,")), ("signoffs.csv", ("student,", "s01,", "s03,"))):
        lines = (folder / name).read_text("utf-8").splitlines(keepends=True)
        (folder / name).write_text("".join(line for line in lines if line.startswith(ids)), "utf-8")
    (folder / "made.csv").write_text("student,what,by\ns03,D-RT,partner s01\nall,back.groove,instructor\n", "utf-8")
    (folder / "cutting.yaml").write_text(
        "pinned:\n  sheet-A 2: [s01 C-SL, s01 C-SR]\nforbidden: [sheet-B]\nused: [sheet-A 1]\n"
        "today: {students: [s01], parts: [C-SL]}\n",
        "utf-8",
    )
    (folder / "order.yaml").write_text(
        "scrap: {default: 6 %, rail: 1/10}\ntrim: {ends: 12 mm}\nlabel_paper: letter 30\nfor_sale:\n"
        "  case: {whole: {length: 2440 mm, width: 1220 mm, price: 68}}\n",
        "utf-8",
    )
    for package, own, name in (
        ("course", "kinds", "dividers.yaml"), ("course", "joints", "dado.yaml"), ("rubrics", "checks", "06_groove.yaml"),
    ):  # fmt: skip
        (folder / own).mkdir()
        (folder / own / name).write_text(files(package).joinpath(own, name).read_text("utf-8"), "utf-8")
    return folder


def told(folder: Path) -> list[Problem]:
    """Everything that is said of a course folder, whether it can be used or not."""
    try:
        read = read_course(folder)
    except InputRefused as refused:
        assert refused.problems, "refused without a word"
        return list(refused.problems)
    return [*read.notes, *proof(read), *read_checks(folder).problems]


@pytest.mark.parametrize(
    "name",
    [
        "course.yaml", "plan.yaml", "roster.csv", "stock.csv", "signoffs.csv", "made.csv", "order.yaml", "cutting.yaml",
        "kinds/dividers.yaml", "joints/dado.yaml", "checks/06_groove.yaml",
    ],
)  # fmt: skip
def test_slips_in_a_course_file_are_told_in_words(course: Path, name: str):
    """Whatever is typed wrong, there is no exception, and each problem says where, what is wrong and what to do."""
    path = course / name
    good = path.read_text("utf-8")
    told_of_good = {str(problem) for problem in told(course)}
    noticed = 0
    try:
        for number in range(SLIPS):
            path.write_bytes(slipped(good, random.Random(f"{name} {number}")).encode("utf-8"))
            problems = told(course)
            noticed += any(str(problem) not in told_of_good for problem in problems)
            for problem in problems:
                assert problem.place.file and problem.says.strip() and problem.do.strip(), (number, problem)
    finally:
        path.write_text(good, "utf-8")
    assert noticed > SLIPS / 5, "slips in this file are not even looked at"
