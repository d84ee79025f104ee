"""US and UK words: one or the other in every document of a course, and nothing but words is changed."""

from __future__ import annotations

import html
import re
from collections.abc import Callable, Iterator
from dataclasses import replace
from pathlib import Path

import openpyxl
import pytest
from hypothesis import given
from hypothesis import strategies as st
from typer.testing import CliRunner

from course.course import Course
from course.course_folder import read_course
from course.cutlist import cut_rows
from course.cutlist_files import write_cutlist
from course.order import Order, plan_order
from lessons.__main__ import app
from lessons.cautions import CAUTIONS
from lessons.class_flow import flow_problems
from lessons.instructor import instructor_copy
from lessons.layouts import write_papers
from lessons.packet import read_lessons
from lessons.prepare import prepare_course
from lessons.route import barred
from rubrics.class_report import facts, write_class_report
from rubrics.feedback import feedback_document, pages
from rubrics.gradebook import write_gradebook
from rubrics.grading import grade
from rubrics.sheet import measurement_workbook
from shared.problems import InputRefused
from shared.render.html import write_html
from shared.render.tree import words
from shared.terms import pairs, wording

US_ONLY = (
    *("rabbet", "rabbets", "rabbeted", "rabbeting", "dado", "dadoes", "dados", "mortise", "mortises", "mortised"),
    *("caliper", "carcass", "clamp", "clamps", "clamped", "clamping", "lumber", "jointer", "miter", "table saw"),
    *("sign-off", "sign-offs", "hardware", "track saw", "sheet goods", "glue-up", "winding sticks", "cut list"),
    *("shelf pin", "shelf pins", "solid wood", "stop block", "story rod", "story stick", "auxiliary fence"),
    *("millimeters", "center", "centering", "color", "fibers", "labeled", "neighbor", "vapor", "vise", "jewelry"),
)
"""Words that a UK workshop does not use, or spells otherwise (common practice)."""
UK_ONLY = (
    *("rebate", "rebates", "rebated", "housing", "housings", "mortice", "mortices", "calliper", "carcase", "cramp"),
    *("cramps", "cramped", "timber", "thicknesser", "surface planer", "mitre", "circular saw bench", "authorisation"),
    *("ironmongery", "cutting list", "trenching head", "millimetres", "centre", "colour", "fibres", "labelled"),
)
COMMANDS = (
    ["check"], ["sequence"], ["cutlist", "s03"], ["coach", "s03", "dado width", "18.5 mm"],
    ["coach", "s03", "front lip", "5.3 mm"], ["changes", "s03"], ["why", "s03", "door.rail.top.length"], ["remedy", "s03"],
)  # fmt: skip
"""What is printed on the terminal for people to read; names that are typed in stay as they are."""
UK = "title: Test course\nid: test\ndate: 2026-10-05\nterms: uk\ninvented: yes\nshop: {machines: [table saw, dado set]}\n"


def found(words: tuple[str, ...], text: str) -> list[str]:
    """Which of some words stand in a text, whole and in any case; UK phrases that hold a US word do not count."""
    plain = re.sub(r"[\s\u00a0]+", " ", text.replace("\u2011", "-")).lower()
    return [word for word in words if re.search(rf"(?<![\w.]){re.escape(word)}(?!\w|\.\w)", plain)]


def shown(page: str) -> str:
    """What a reader of an HTML page sees or hears: texts, texts of drawings and their descriptions."""
    page = re.sub(r"<style>.*?</style>", "", page, flags=re.DOTALL)
    spoken = " ".join(re.findall(r'(?:alt|aria-label|title)="([^"]*)"', page))
    return f"{re.sub(r'<[^>]+>', ' ', page)} {spoken}"


def without_sources(text: str) -> str:
    """A text without the sources of cautions, which are quoted as they are called."""
    text = html.unescape(text).replace("\u00a0", " ")
    for caution in CAUTIONS.values():
        text = text.replace(caution.source, "")
    return text


def cells(workbook: Path) -> str:
    book = openpyxl.load_workbook(workbook)
    return "\n".join(
        str(cell.value) for sheet in book for row in sheet.iter_rows() for cell in row if cell.value is not None
    )


@pytest.fixture(scope="module")
def order_of() -> Callable[[Course], Order]:
    """The order of a course, planned for the first that asks: its terms change no size, and words come last."""
    planned: list[Order] = []

    def make(course: Course) -> Order:
        planned[:] = planned or [plan_order(course)]
        return replace(planned[0], course=replace(planned[0].course, settings=course.settings))

    return make


def documents(course: Course, order: Order) -> Iterator[tuple[str, str]]:
    """Every kind of document of a course by its name, and what the commands print about one student."""
    prepared = prepare_course(course)
    grades = grade(course)
    book = course.folder / "gradebook.xlsx"
    book.write_bytes(write_gradebook(grades))
    yield book.name, cells(book)
    report = write_class_report(facts(grades), course.folder / "report")
    for path in (*prepared.written, *write_papers(order).paths, *report):
        if path.suffix == ".html":
            yield path.name, without_sources(shown(path.read_text("utf-8")))
        elif path.suffix == ".xlsx":
            yield path.name, cells(path)
        elif path.suffix in (".csv", ".txt"):
            yield path.name, path.read_text("utf-8")
    for command in COMMANDS:
        yield " ".join(command), CliRunner().invoke(app, [command[0], str(course.folder), *command[1:]]).output
    for page in pages(grades):
        yield f"feedback of {page.student.id}", shown(write_html(feedback_document(page, course)))
    student = course.students[0]
    for ending in ("csv", "html"):
        path = write_cutlist(course, student, cut_rows(course, student), course.folder / f"list.{ending}")
        text = path.read_text("utf-8")
        yield path.name, text if ending == "csv" else shown(text)
    yield "list.xlsx", cells(write_cutlist(course, student, cut_rows(course, student), course.folder / "list.xlsx"))


def demo(folder: Path, terms: str) -> Course:
    """The course in the words of one side of the ocean."""
    with (folder / "course.yaml").open("a", encoding="utf-8") as file:
        file.write(f"terms: {terms}\n")
    return read_course(folder)


@pytest.mark.parametrize(("terms", "other"), [("uk", US_ONLY), ("us", UK_ONLY)])
def test_no_document_of_a_course_holds_a_word_of_the_other_side(
    few_of_the_demo: Callable[..., Path], order_of: Callable[[Course], Order], terms: str, other: tuple[str, ...],
    monkeypatch: pytest.MonkeyPatch,
) -> None:  # fmt: skip
    """Packets, class sheets, measuring sheets, cut lists and feedback, drawings and their descriptions included."""
    for writer in ("shared.render.press", "lessons.layouts", "rubrics.class_report"):
        monkeypatch.setattr(f"{writer}.write_pdf", lambda document: b"")  # made of the same tree as the HTML
    monkeypatch.setattr("shared.render.press.FEW", 1000)  # no process of its own, which would set them all the same
    few = few_of_the_demo("s03", "s04", "s05", "s07", "s10")  # inches, large print, no sign-off, absent, hand route
    course = demo(few, terms)
    leaks = {name: words for name, text in documents(course, order_of(course)) if (words := found(other, text))}
    assert leaks == {}


def test_a_uk_document_says_the_uk_words_and_its_language(course_folder: Callable[..., Path]) -> None:
    """The feature is there at all: rebate and housing stand in the packet, which is marked as British English."""
    course = read_course(course_folder(course=UK))
    written = prepare_course(course, "s1").written
    page = next(path for path in written if path.suffix == ".html").read_text("utf-8")
    assert {"rebate", "housing", "calliper", "cutting list"} <= set(found(UK_ONLY, shown(page)))
    assert 'lang="en-GB"' in page


@pytest.mark.parametrize(
    ("us", "uk"),
    [
        ("Cut the Dadoes, then a dado.", "Cut the Housings, then a housing."),
        ("RABBET", "REBATE"),
        ("A sign-off. An auxiliary fence.", "An authorisation. A false fence."),
        ("The jointer and the planer", "The surface planer and the thicknesser"),
        ("a zero-clearance insert", "a close-fitting table insert"),
        ("dado\u00a0set, table\u2011saw", "trenching head, circular saw bench"),
        ("Glue up the case", "Glue up the case"),
    ],
)
def test_plurals_capitals_and_articles_follow(us: str, uk: str) -> None:
    """Words of the trade in the UK (common practice)."""
    assert wording("uk").text(us) == uk


@pytest.mark.parametrize(
    "text", ["divider.dado.1_left.width", "case.rabbet", "10_dadoes.md", "rabbet.pdf", "dadoist", "rabbet_depth"]
)
def test_names_of_quantities_and_files_and_longer_words_stay(text: str) -> None:
    """A dotted name, a file name, a word with more letters."""
    assert wording("uk").text(text) == text


def test_names_of_people_and_of_the_course_stay(course_folder: Callable[..., Path]) -> None:
    """A student called Dado Clamp keeps the name in packet, list and sheet; the work beside it is put into UK words."""
    roster = "id,name,bench,units\ns1,Dado Clamp,Rabbet row,mm\n"
    course = read_course(course_folder(course=UK.replace("Test course", "Rabbet course"), roster=roster))
    written = prepare_course(course, "s1").written
    page = next(path for path in written if path.suffix == ".html")
    text = shown(page.read_text("utf-8"))
    for kept in ("Dado Clamp", "Rabbet row", "Rabbet course"):
        assert kept in text
        text = text.replace(kept, "")
    assert found(US_ONLY, text) == [] and page.name == "s1-Dado-Clamp.html"
    sheet = measurement_workbook(course, course.students[0])
    path = course.folder / "sheet.xlsx"
    path.write_bytes(sheet)
    assert "Dado Clamp" in cells(path) and "divider.dado.1_left.width" in cells(path)


def test_a_source_is_quoted_as_it_is_called(course_folder: Callable[..., Path]) -> None:
    """In the instructor's copy in UK words, the caution is in UK words and the name of its source is not."""
    course = read_course(course_folder(course=UK))
    text = words(course.wording.document(instructor_copy(course, read_lessons(course))).tree).replace("\u00a0", " ")
    assert CAUTIONS["DAD-07"].source.startswith("table-saw maker's manual") and CAUTIONS["DAD-07"].source in text
    assert "Use only the housing size the saw's manual allows" in text


def test_a_course_without_the_setting_is_printed_as_it_is_written() -> None:
    """US words are the default, and nothing is touched."""
    assert wording("us").text("a dado and a rabbet") == "a dado and a rabbet"


def test_another_word_for_the_terms_is_refused(course_folder: Callable[..., Path]) -> None:
    """With file, line and what there is."""
    with pytest.raises(InputRefused) as refused:
        read_course(course_folder(course=UK.replace("terms: uk", "terms: ukk")))
    assert str(refused.value) == "course.yaml:4:8: P013: terms is 'ukk'\n    Did you mean 'uk'?"


@given(st.lists(st.sampled_from([*pairs(), *pairs().values(), "a", "an", "the", "Bo", ","]), max_size=8).map(" ".join))
def test_words_are_exchanged_once(text: str) -> None:
    """A text in UK words is not changed again, whatever it was made of."""
    once = wording("uk").text(text)
    assert wording("uk").text(once) == once


def test_every_us_word_of_the_table_is_gone_after_it() -> None:
    """No row leaves a US word behind, neither its own nor another's."""
    uk = sorted(set(pairs().values()), key=len, reverse=True)
    for us in pairs():
        text = wording("uk").text(f"the {us} there").lower()
        for word in uk:
            text = text.replace(word, "")
        assert found(tuple(set(pairs()) - set(uk)), text) == [], us


def test_a_uk_course_may_call_machines_and_operations_as_its_papers_do(course_of):
    """UK names of machines stand for those of the program, in the shop, among the sign-offs and the stations."""
    course = course_of(
        course="title: T\nterms: uk\ndate: 2026-10-05\nshop: {machines: [circular saw bench, surface planer, mitre saw], "
        "forbidden: [mitre saw], hand_only: [cut the housings], stations: {circular saw bench: 2}}\n",
        signoffs="student,machine,lesson,test,score,demonstration,permission,by,withdrawn\n"
        "s1,surface planer,2026-09-01,2026-09-02,100,2026-09-03,2026-09-04,RS,\n",
    )
    student = course.student("s1")
    assert course.machines == ("table saw", "jointer", "miter saw")
    assert course.permission(student, "jointer").allowed
    assert course.permission(student, "miter saw").missing == "the shop does not allow the miter saw"
    lessons = read_lessons(course)
    assert not lessons.problems and not list(flow_problems(course, lessons))
    (dadoes,) = [sheet[0].operation for sheet in lessons.sheets if sheet[0].operation.title == "Cut the dadoes"]
    assert dadoes.called == {"cut dadoes", "cut the dadoes", "cut the housings"}
    assert barred(course, dadoes)


def test_a_us_course_keeps_its_words(course_of):
    """Without `terms: uk` a UK name is a machine that no operation knows."""
    course = course_of(course="title: T\ndate: 2026-10-05\nshop: {machines: [mitre saw]}\n")
    assert course.machines == ("mitre saw",)
