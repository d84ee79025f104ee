"""Papers for everybody: contrast, order of headings, tags, nothing from outside.

Contrast and relative luminance are worked out as the Web Content Accessibility Guidelines 2.1 define them; their
success criterion 1.4.6 asks for 7:1. The structure types are those of ISO 32000-1, 14.8.4.
"""

from __future__ import annotations

import io
import re
from collections.abc import Iterator
from html.parser import HTMLParser
from importlib.resources import files
from pathlib import Path

import pikepdf
import pytest

from course.course_folder import read_course
from lessons.packet import packet, read_lessons
from shared.render.document import Document
from shared.render.html import write_html
from shared.render.pdf import write_pdf
from shared.render.sketch import STYLES

CSS = files("shared.render").joinpath("page.css").read_text("utf-8")


@pytest.fixture(scope="module")
def document(tmp_path_factory: pytest.TempPathFactory) -> Document:
    """The packet of the demo's first student."""
    course = read_course(Path(str(files("course").joinpath("demo"))))
    return packet(course, course.student("s01"), read_lessons(course)).document


@pytest.fixture(scope="module")
def page(document: Document) -> str:
    return write_html(document)


def luminance(color: str) -> float:
    """Relative luminance of `#rgb` or `#rrggbb` (WCAG 2.1)."""
    digits = color[1:] if len(color) == 7 else "".join(2 * digit for digit in color[1:])
    parts = [int(digits[i : i + 2], 16) / 255 for i in (0, 2, 4)]
    red, green, blue = (part / 12.92 if part <= 0.03928 else ((part + 0.055) / 1.055) ** 2.4 for part in parts)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    """Contrast ratio of two colors (WCAG 2.1): 21 for black on white."""
    light, dark = sorted((luminance(one), luminance(other)), reverse=True)
    return (light + 0.05) / (dark + 0.05)


def rules() -> Iterator[tuple[str, dict[str, str]]]:
    """Every rule of the style: selector and what it sets."""
    for selector, body in re.findall(r"([^{}]+)\{([^{}]*)\}", CSS):
        yield selector.strip(), dict(re.findall(r"([\w-]+)\s*:\s*([^;]+)", body))


def test_the_formula_gives_the_published_figures() -> None:
    """Black on white is 21:1 and #767676 on white 4.54:1, as the guidelines' examples have it."""
    assert contrast("#000000", "#fff") == pytest.approx(21)
    assert contrast("#767676", "#ffffff") == pytest.approx(4.54, abs=0.005)


def test_every_text_has_a_contrast_of_seven_to_one() -> None:
    """Each ground of the style against the letters that stand on it: its own color, else the black of the page."""
    body = next(sets for selector, sets in rules() if selector == "body" and "color" in sets)
    grounds = [(s, sets["background"], sets.get("color", body["color"])) for s, sets in rules() if "background" in sets]
    assert len(grounds) >= 4
    for selector, ground, letters in grounds:
        assert contrast(ground, letters) >= 7, selector
    for selector, sets in rules():
        if "color" in sets and "background" not in sets:
            assert contrast(sets["color"], body["background"]) >= 7, selector
    assert not [s for s, sets in rules() if "opacity" in sets or "filter" in sets]


def test_words_in_drawings_have_it_too() -> None:
    """They are black, on white or on one of the grays; on solid black nothing is written."""
    grays = {re.search(r'fill="(#\w+)"', style)[1] for style in STYLES.values() if 'fill="#' in style}
    assert len(grays) >= 3 and all(contrast("#000000", gray) >= 7 for gray in grays - {"#000000"})


class _Outline(HTMLParser):
    """Headings, landmarks and what a reader meets in order."""

    def __init__(self) -> None:
        super().__init__()
        self.levels: list[int] = []
        self.open: list[str] = []
        self.tags: list[tuple[str, dict[str, str | None]]] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append((tag, dict(attrs)))
        if re.fullmatch(r"h[1-6]", tag):
            self.levels.append(int(tag[1]))


def outline(page: str) -> _Outline:
    found = _Outline()
    found.feed(page)
    return found


def test_headings_of_a_whole_packet_go_down_one_level_at_a_time(page: str) -> None:
    """From 1 to at most 3, and none is skipped."""
    levels = outline(page).levels
    assert len(levels) > 150 and levels[0] == 1
    assert all(later <= earlier + 1 for earlier, later in zip(levels, levels[1:], strict=False))


def test_a_page_has_its_landmarks_and_reads_in_the_order_of_the_paper(page: str) -> None:
    """One banner, one main part that holds everything else; nothing is moved about by the style or by a tab order."""
    tags = [tag for tag, _ in outline(page).tags]
    assert tags.count("header") == tags.count("main") == 1 and tags.index("header") < tags.index("main")
    assert page.index("</main>") > page.rindex("</table>")
    assert not [attrs for _, attrs in outline(page).tags if "tabindex" in attrs]
    assert not re.search(r"\border\s*:|position\s*:\s*(fixed|sticky)|float\s*:|row-reverse|column-reverse", CSS)


def test_a_page_works_offline_and_runs_nothing(page: str) -> None:
    """No script, no frame, no form, no address of another place; the only URL names the drawing language."""
    tags = {tag for tag, _ in outline(page).tags}
    assert not tags & {"script", "iframe", "object", "embed", "form", "input", "link", "img", "a", "button"}
    assert {*re.findall(r"[a-z]+://[^\s\"'<]+", page)} == {"http://www.w3.org/2000/svg"}
    assert "@import" not in page and "url(" not in page


def test_every_drawing_and_blank_is_said_in_words(page: str) -> None:
    """Figures have their description, blanks and boxes to tick a word that is heard and not seen."""
    figures = [attrs for tag, attrs in outline(page).tags if tag == "figure"]
    assert len(figures) > 25 and all(len(attrs["aria-label"] or "") > 20 for attrs in figures)
    assert page.count('class="tick"') == page.count(">box to tick<") > 100
    assert page.count('class="blank"') == page.count(">to fill in<") > 50


def elements(node: object) -> Iterator[pikepdf.Dictionary]:
    """Every structure element of a PDF, in reading order."""
    if isinstance(node, pikepdf.Array):
        for one in node:
            yield from elements(one)
    elif isinstance(node, pikepdf.Dictionary) and "/S" in node:
        yield node
        yield from elements(node.get("/K"))


def test_the_pdf_of_a_packet_is_tagged_throughout(document: Document) -> None:
    """Language, title, PDF/UA-1 mark; headings as in the HTML; header cells with their scope; drawings with words."""
    with pikepdf.open(io.BytesIO(write_pdf(document))) as pdf:
        assert bool(pdf.Root.MarkInfo.Marked) and str(pdf.Root.Lang) == "en-US"
        assert str(pdf.docinfo["/Title"]) == document.title and bool(pdf.Root.ViewerPreferences.DisplayDocTitle)
        assert pdf.open_metadata()["pdfuaid:part"] == "1"
        found = list(elements(pdf.Root.StructTreeRoot.K))
        kinds = [str(one.S) for one in found]
        levels = [int(kind[2]) for kind in kinds if re.fullmatch(r"/H[1-6]", kind)]
        assert levels == outline(write_html(document)).levels
        heads = [one for one in found if str(one.S) == "/TH"]
        assert len(heads) > 100 and all(b"/Scope" in one.A.unparse() for one in heads)
        figures = [one for one in found if str(one.S) == "/Figure"]
        assert len(figures) > 25 and all(len(str(one.Alt)) > 20 for one in figures)
