"""The demo's documents, compared with those that were looked at and accepted; `make gold` accepts new ones."""

from __future__ import annotations

import html
import os
import re
from importlib.resources import as_file, files
from pathlib import Path

import pytest

from course.course import Course
from course.course_folder import read_course
from course.cutlist import cut_rows
from course.cutlist_files import table_text
from lessons.class_sheets import class_sheets
from lessons.packet import packet, read_lessons
from shared.render.html import write_html

GOLD = Path(__file__).parents[1] / "gold"


@pytest.fixture(scope="module")
def course() -> Course:
    with as_file(files("course").joinpath("demo")) as folder:
        return read_course(folder)


def as_text(page: str) -> str:
    """The words of an HTML page, a line for each block, drawings left out."""
    page = re.sub(r"<style>.*?</style>|<svg.*?</svg>", "", page, flags=re.DOTALL)
    page = re.sub(r"</(p|li|tr|h\d|section|figure|header)>", "\n", page)
    page = re.sub(r"</(td|th|span)>", " | ", page)
    lines = (" ".join(html.unescape(re.sub(r"<[^>]*>", "", line)).split()) for line in page.splitlines())
    return "\n".join(line for line in lines if line) + "\n"


def compare(name: str, text: str, tmp_path: Path) -> None:
    accepted = GOLD / name
    if os.environ.get("FAIRFIT_ACCEPT"):
        accepted.write_text(text, "utf-8")
        return
    if not accepted.exists() or accepted.read_text("utf-8") != text:
        new = tmp_path / name
        new.write_text(text, "utf-8")
        old = accepted.read_text("utf-8").splitlines() if accepted.exists() else []
        changed = [line for line in text.splitlines() if line not in old][:12]
        pytest.fail(f"{name} is not as accepted; the new one is {new}. New lines:\n" + "\n".join(changed))


@pytest.mark.parametrize("student", ["s01", "s03", "s05"])
def test_packets_are_as_accepted(course, tmp_path, student: str):
    """A packet in mm, one in inches with veneered panels, and one without a sign-off read as they did when looked at."""
    made = packet(course, course.student(student), read_lessons(course))
    compare(f"packet-{student}.txt", as_text(write_html(made.document)), tmp_path)


@pytest.mark.parametrize("student", ["s01", "s03", "s09"])
def test_cut_lists_are_as_accepted(course, tmp_path, student: str):
    """Cut lists in mm, in fractions and in decimals of an inch, as on the terminal."""
    person = course.student(student)
    compare(f"cutlist-{student}.txt", table_text(course, person, cut_rows(course, person)) + "\n", tmp_path)


def test_class_sheets_are_as_accepted(course, tmp_path):
    """Settings, sign-offs, benches and stock of the class."""
    pages = [as_text(write_html(sheet.document)) for sheet in class_sheets(course, read_lessons(course))]
    compare("class-sheets.txt", "\n".join(pages), tmp_path)
