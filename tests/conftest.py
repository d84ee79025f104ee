"""Small invented courses for tests: each is a folder written from text."""

from __future__ import annotations

import os
import shutil
from collections.abc import Callable
from importlib.resources import files
from pathlib import Path

import pytest

from course.build import build, list_keys
from course.cabinet import Cabinet
from course.course import Course
from course.course_folder import read_course
from course.kinds import read_library
from course.order import Order, plan_order
from course.plan import read_plan

CLASS_PLAN = Path(__file__).with_name("class_plan.yaml").read_text("utf-8")
"""The class cabinet as it is without a drawer."""


@pytest.fixture
def drawers_plan() -> str:
    """The plan of a cabinet with two drawers, each made and hung in its own way."""
    return Path(__file__).with_name("drawers_plan.yaml").read_text("utf-8")


@pytest.fixture(scope="session")
def two_bays_plan() -> str:
    """The plan of a case of two bays in inches, with a pair of doors and a back of unequal bays."""
    return Path(__file__).with_name("two_bays_plan.yaml").read_text("utf-8")


@pytest.fixture
def class_plan() -> str:
    """The plan of the class cabinet without a drawer."""
    return CLASS_PLAN


@pytest.fixture
def cabinet_of() -> Callable[[str], Cabinet]:
    """Builds the cabinet of a plan text."""

    def make(text: str) -> Cabinet:
        library = read_library()
        return build(read_plan(text, "plan.yaml", list_keys(library)), library)

    return make


@pytest.fixture
def course_folder(tmp_path: Path) -> Callable[..., Path]:
    """Writes a course folder: the class cabinet and two students, with any file replaced."""

    def make(**texts: str) -> Path:
        folder = tmp_path / "course"
        folder.mkdir(exist_ok=True)
        files_ = {
            "course": "title: Test course\nid: test\ndate: 2026-10-05\ninvented: yes\n"
            "shop: {machines: [table saw, router table]}\n",
            "plan": CLASS_PLAN,
            "roster": "id,name,bench,units\ns1,Ada Test,1,mm\ns2,Bo Test,2,in\n",
            **texts,
        }
        endings = {"course": "yaml", "plan": "yaml"}
        for name, text in files_.items():
            (folder / f"{name}.{endings.get(name, 'csv')}").write_text(text, "utf-8")
        return folder

    return make


@pytest.fixture
def course_of(course_folder: Callable[..., Path]) -> Callable[..., Course]:
    """Reads a course written by `course_folder`."""

    def make(**texts: str) -> Course:
        return read_course(course_folder(**texts))

    return make


@pytest.fixture(scope="session")
def office() -> str:
    """The spreadsheet program that some tests open workbooks with; where it is missing only those are left out."""
    found = shutil.which("soffice") or shutil.which("libreoffice")
    if found is None and os.environ.get("CI"):
        pytest.fail("the tests need LibreOffice here: .ci/run installs it")
    if found is None:
        pytest.skip("LibreOffice is not installed, so this workbook was not opened with it")
    return found


@pytest.fixture
def demo_folder(tmp_path: Path) -> Path:
    """A copy of the demo course as it is shipped."""
    return Path(shutil.copytree(str(files("course").joinpath("demo")), tmp_path / "demo"))


@pytest.fixture
def few_of_the_demo(demo_folder: Path) -> Callable[..., Path]:
    """The demo course with some of its students only, which is planned and printed so much sooner."""

    def make(*ids: str) -> Path:
        for name in ("roster.csv", "signoffs.csv", "made.csv"):
            heading, *rows = (demo_folder / name).read_text("utf-8").splitlines()
            kept = [row for row in rows if row.split(",")[0] in ids]
            (demo_folder / name).write_text("\n".join([heading, *kept]) + "\n", "utf-8")
        return demo_folder

    return make


@pytest.fixture(scope="session")
def demo_order(tmp_path_factory: pytest.TempPathFactory) -> Order:
    """The order of the demo, in a folder of its own; nothing that is given it changes it."""
    folder = tmp_path_factory.mktemp("order") / "demo"
    return plan_order(read_course(Path(shutil.copytree(str(files("course").joinpath("demo")), folder))))
