"""Preparing a class: one file for the printer, and packets that are left alone only when nothing differs."""

from __future__ import annotations

import hashlib
import io
import os
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pikepdf
import pypdfium2
import pytest
from typer.testing import CliRunner

from course.course_folder import read_course
from course.readings import Reading
from lessons import fresh
from lessons.__main__ import app
from lessons.demo import copy_course
from lessons.prepare import Prepared, prepare_course
from lessons.print_file import in_bench_order, joined
from shared.render import press
from shared.render.document import Document
from shared.render.html import write_html
from shared.render.pdf import write_pdf

COURSE = "title: Test course\nid: test\ndate: 2026-10-05\nshop: {machines: [router table]}\n"
ROSTER = "id,name,bench,units,piece.case\ns1,Ada Test,2,mm,sheet-A\ns2,Bo Test,1,mm,sheet-A\n"
STOCK = "id,role,material,thickness 1\nsheet-A,case,birch plywood,17.6 mm\n"
SIGNOFFS = "student,machine,lesson,test,score,demonstration,permission\ns1,router table,2026-09-14,2026-09-15,100,2026-09-16,2026-09-17\n"
TOP = Path(__file__).parents[2]
PACKET = "packets/s1-Ada-Test.html"


@pytest.fixture
def folder(course_folder: Callable[..., Path]) -> Path:
    return course_folder(course=COURSE, roster=ROSTER, stock=STOCK, signoffs=SIGNOFFS)


@pytest.fixture
def quick(monkeypatch: pytest.MonkeyPatch) -> None:
    """PDFs take long and are made of the same tree as the HTML: a sum of it stands in for them."""
    monkeypatch.setattr(press, "write_pdf", lambda document: hashlib.sha256(write_html(document).encode()).digest())


def run(folder: Path, student: str = "s1") -> Prepared:
    read_from = fresh.folder(folder)
    return prepare_course(read_course(folder), student, read_from=read_from)


def pages(folder: Path) -> dict[str, bytes]:
    """Every paper there is, by its name."""
    out = folder / "out"
    return {p.relative_to(out).as_posix(): p.read_bytes() for p in out.rglob("*") if p.is_file() and p.name != fresh.NOTE}


@pytest.mark.usefixtures("quick")
def test_a_packet_from_which_nothing_differs_is_left_as_it_is(folder: Path) -> None:
    """The second run writes nothing and says which files it kept."""
    first = run(folder)
    assert first.kept == () and len(first.written) == 3
    second = run(folder)
    assert second.written == () and second.kept == first.written and second.problems == first.problems


@dataclass
class Change:
    """One input of a packet that is changed."""

    file: str
    make: Callable[[str], str]

    def apply(self, folder: Path) -> None:
        path = folder / self.file
        path.parent.mkdir(parents=True, exist_ok=True)
        old = path.read_text("utf-8") if path.exists() else ""
        new = self.make(old)
        assert new != old
        path.write_text(new, "utf-8")


def built_in(package: str, name: str, old: str, new: str) -> Callable[[str], str]:
    """A course's own copy of a built-in file, with one thing changed."""
    text = files(package).joinpath(name).read_text("utf-8")
    assert old in text
    return lambda _: text.replace(old, new)


CHANGES = {
    "title": Change("course.yaml", lambda text: text.replace("Test course", "Other course")),
    "date": Change("course.yaml", lambda text: text.replace("2026-10-05", "2026-10-06")),
    "terms": Change("course.yaml", lambda text: text + "terms: uk\n"),
    "plan": Change("plan.yaml", lambda text: text.replace("width: 400", "width: 402")),
    "bench": Change("roster.csv", lambda text: text.replace("Ada Test,2", "Ada Test,7")),
    "stock": Change("stock.csv", lambda text: text.replace("17.6", "17.7")),
    "sign-off": Change("signoffs.csv", lambda text: text.splitlines()[0] + "\n"),
    "own operation": Change(
        "lessons/21_groove_edges.md",
        built_in("lessons", "operations/21_groove_edges.md", "The wrong edge is grooved.", "Mind the edge."),
    ),
    "own template": Change("lessons/cover.md.j2", built_in("lessons", "templates/cover.md.j2", "# Safety", "# Safely")),
    "safety": Change("course.yaml", lambda text: text + "safety: {local: 'Goggles hang at the door.'}\n"),
    "instructor": Change("course.yaml", lambda text: text + "instructor: R. Sample\n"),
    "paper": Change("course.yaml", lambda text: text + "paper: letter\n"),
    "shop": Change("course.yaml", lambda text: text.replace("[router table]", "[router table], hand_only: [groove edges]")),
    "units": Change("roster.csv", lambda text: text.replace("Ada Test,2,mm", "Ada Test,2,in")),
    "own kind": Change(
        "kinds/loose_shelf.yaml", built_in("course", "kinds/loose_shelf.yaml", "set_back: {default: 20", "set_back: {default: 21")
    ),
    "own joint": Change("joints/dado.yaml", built_in("course", "joints/dado.yaml", "depth: {default: 6", "depth: {default: 5")),
    "own coach": Change("lessons/coach/groove.yaml", built_in("lessons", "coach/groove.yaml", "turn: raise cutter", "turn: lift cutter")),
    "own check": Change("checks/02_dado.yaml", built_in("rubrics", "checks/02_dado.yaml", "title: ", "title: Own ")),
}


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("name", CHANGES)
def test_each_input_that_changes_changes_the_packet(folder: Path, name: str) -> None:
    """What is then in the folder is what a run in an empty folder makes."""
    run(folder)
    before = pages(folder)
    CHANGES[name].apply(folder)
    run(folder)
    after = pages(folder)
    assert after[PACKET] != before[PACKET]
    assert after == from_nothing(folder)


def from_nothing(folder: Path) -> dict[str, bytes]:
    """The papers as one makes them who has none, with the same settings throughout."""
    for path in sorted((folder / "out").rglob("*"), reverse=True):
        path.rmdir() if path.is_dir() else path.unlink()
    prepare_course(read_course(folder), "s1")
    return pages(folder)


@pytest.mark.usefixtures("quick")
def test_a_reading_and_a_part_that_is_cut_change_the_packet_of_their_student_alone(folder: Path) -> None:
    """The other student's packet is left as it is, and rightly so."""
    for student in ("s1", "s2"):
        run(folder, student)
    before = pages(folder)
    course = read_course(folder)
    course.log.add([Reading("s1", "case.back.width", p, 1, "383.0", Fraction(383), "rods") for p in (1, 2, 3)])
    assert run(folder, "s1").kept == () and len(run(folder, "s2").kept) == 3
    after = pages(folder)
    assert after[PACKET] != before[PACKET]
    read_course(folder).mark(course.student("s1"), "door.stile.left", "cut", at="2026-10-05")
    assert run(folder, "s1").kept == () and pages(folder)[PACKET] != after[PACKET]
    left = pages(folder)
    assert of(left, "s2") == of(before, "s2") and of(left, "s1") == from_nothing(folder)
    prepare_course(read_course(folder), "s2")
    assert of(pages(folder), "s2") == of(left, "s2")


def of(papers: dict[str, bytes], student: str) -> dict[str, bytes]:
    """The papers of one student."""
    return {name: data for name, data in papers.items() if f"/{student}-" in name}


@pytest.mark.usefixtures("quick")
def test_another_program_makes_all_again(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """Any file of the program that differs is enough."""
    run(folder)
    monkeypatch.setattr(fresh, "program", lambda: "another")
    assert run(folder).kept == ()


def test_the_sum_of_the_program_sees_every_file_of_it(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    """A line more in any file, code or data, gives another sum; the same files give the same."""
    names = ("a/code.py", "a/tables/b.csv")
    for name in names:
        (tmp_path / name).parent.mkdir(exist_ok=True)
        (tmp_path / name).write_text("one\n", "utf-8")
    monkeypatch.setattr(fresh, "PACKAGES", ("a",))
    monkeypatch.setattr(fresh, "files", lambda package: tmp_path / package)
    sums = [fresh.program.__wrapped__(), fresh.program.__wrapped__()]
    for name in names:
        (tmp_path / name).write_text("two\n", "utf-8")
        sums.append(fresh.program.__wrapped__())
    assert sums[0] == sums[1] and len(set(sums)) == 3


@pytest.mark.usefixtures("quick")
@pytest.mark.parametrize("harm", ["changed", "gone", "no note"])
def test_a_file_that_is_not_as_it_was_written_is_made_again(folder: Path, harm: str) -> None:
    """Someone edited or deleted a page, or the note is no note."""
    run(folder)
    before, path = pages(folder), folder / "out" / PACKET
    if harm == "no note":
        (folder / "out" / fresh.NOTE).write_text("[1, 2", "utf-8")
    elif harm == "gone":
        path.unlink()
    else:
        path.write_text("scribble", "utf-8")
    assert run(folder).kept == () and pages(folder) == before


@pytest.mark.usefixtures("quick")
def test_a_course_that_is_edited_while_it_is_prepared_is_prepared_again(folder: Path) -> None:
    """What was read and what lies there now differ, so nothing is noted."""
    read_from, course = fresh.folder(folder), read_course(folder)
    CHANGES["title"].apply(folder)
    prepare_course(course, "s1", read_from=read_from)
    assert run(folder).kept == () and b"Other course" in pages(folder)[PACKET]


@pytest.mark.usefixtures("quick")
def test_a_packet_with_a_problem_is_made_and_told_every_time(folder: Path) -> None:
    """A template that cannot be filled is told in the second run too."""
    (folder / "lessons").mkdir()
    (folder / "lessons" / "fit_sheet.md.j2").write_text("# {{ nonsense }}\n", "utf-8")
    first, second = run(folder), run(folder)
    assert first.problems == second.problems != () and second.kept == ()


def document(title: str, count: int) -> bytes:
    text = {"t": "p", "c": [{"t": "text", "s": title}], "tight": False}
    tree = [text, *([{"t": "pagebreak"}, text] * (count - 1))]
    return write_pdf(Document(title, title, "test r1", tree))


def test_the_print_file_starts_every_packet_on_a_sheet_of_its_own(tmp_path: Path) -> None:
    """Three pages and two, printed on both sides: the first is filled up to four with an empty page."""
    for name, count in (("one", 3), ("two", 2)):
        (tmp_path / f"{name}.pdf").write_bytes(document(name, count))
    whole = joined([tmp_path / "one.pdf", tmp_path / "two.pdf"], "both")
    assert whole == joined([tmp_path / "one.pdf", tmp_path / "two.pdf"], "both")
    opened = pypdfium2.PdfDocument(whole)
    texts = [opened[i].get_textpage().get_text_range() for i in range(len(opened))]
    assert [next((n for n in ("one", "two") if n in text), "") for text in texts] == ["one"] * 3 + [""] + ["two"] * 2
    assert {opened[i].get_size() for i in range(len(opened))} == {opened[0].get_size()}
    with pikepdf.open(io.BytesIO(whole)) as pdf:
        assert "/StructTreeRoot" not in pdf.Root and all("/StructParents" not in page.obj for page in pdf.pages)


def test_the_print_file_is_in_the_order_of_the_benches(folder: Path) -> None:
    """Bo stands at bench 1 and comes first; unchanged sheets are in it too when it is made again."""
    assert [s.name for s in in_bench_order(read_course(folder))] == ["Bo Test", "Ada Test"]
    for _ in range(2):
        result = CliRunner().invoke(app, ["prepare", str(folder), "--operation", "groove edges", "--print-file"])
        assert result.exit_code == 0, result.output
    assert "Left 4 files as they were: nothing they are made from has changed" in result.output
    opened = pypdfium2.PdfDocument(folder / "out" / "class" / "all-packets-groove-edges.pdf")
    heads = [opened[i].get_textpage().get_text_range().splitlines()[0] for i in range(len(opened)) if i % 2 == 0]
    assert heads[0].startswith("Bo Test") and heads[-1].startswith("Ada Test")


def test_the_print_file_is_for_the_whole_class(folder: Path) -> None:
    """With one student it is refused, with what to do."""
    result = CliRunner().invoke(app, ["prepare", str(folder), "--print-file", "--student", "s1"])
    assert result.exit_code == 2 and "leave out --student" in result.output


@pytest.mark.parametrize("after", [0, 0.3, 0.7, 1.5])
def test_ctrl_c_ends_a_run_at_once_and_in_words(tmp_path, after: float):
    """As in a terminal, where it reaches all processes, when they start and when they set: never lost, no traceback."""
    folder = copy_course(tmp_path / "course")
    run = subprocess.Popen(
        [sys.executable, "-m", "lessons", "prepare", str(folder)],
        cwd=TOP, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True, start_new_session=True,
        preexec_fn=lambda: signal.signal(signal.SIGINT, signal.SIG_DFL),  # jobs in the background ignore it
    )  # fmt: skip
    assert run.stderr and run.stderr.readline().startswith("Packets")
    time.sleep(after)
    os.killpg(run.pid, signal.SIGINT)
    _, told = run.communicate(timeout=60)
    assert (run.returncode, told.strip()) == (
        130, "Stopped. What is written so far stays; give the same command again to have the rest."
    )  # fmt: skip
