"""Documents: one tree, two writers, and every fault told with its line."""

from __future__ import annotations

import ctypes
import io
import re
import subprocess
import sys
from pathlib import Path

import jinja2
import pikepdf
import pypdfium2
import pytest
from hypothesis import given
from hypothesis import strategies as st

from shared.problems import InputRefused
from shared.render.columns import Columns, advances, columns
from shared.render.document import Document
from shared.render.files import safe_name, write_file
from shared.render.html import write_html
from shared.render.marks import shown
from shared.render.pdf import LARGER, overflow, write_pdf
from shared.render.press import Press
from shared.render.templates import render_tree
from shared.render.tree import count_boxes, markdown_tree, words

PAGE = """# {{ title }}

Made by **{{ name }}**.

| name | size |
|:--|--:|
{% for row in rows %}
| {{ row.0 }} | {{ row.1 }} |
{% endfor %}

::: danger Blade
Never rip freehand.
:::

::: check Groove
{{ tick() }} width {{ blank(20) }}

- one
- two
:::

1. First
2. Second

{{ drawing(svg, 'A box 12 wide') }}
"""
SVG = (
    '<svg xmlns="http://www.w3.org/2000/svg" width="60mm" height="20mm" viewBox="0 0 60 20">'
    '<defs><clipPath id="a"><rect width="60" height="20"/></clipPath></defs>'
    '<g clip-path="url(#a)"><rect x="1" y="1" width="58" height="18" fill="none" stroke="black"/></g></svg>'
)
ROWS = {"title": "Groove", "name": "Ada", "rows": [("fence", "5.05\u00a0mm")] * 3, "svg": SVG, "size": {"length": "3"}}


def tree_of(text: str = PAGE, **rows):
    return render_tree("page.md", {**ROWS, **rows}, jinja2.DictLoader({"page.md": text}))


def document(tree, **more) -> Document:
    return Document(**{"title": "Sample", "left": "Ada", "right": "autumn r1", "tree": tree, **more})


def pdf_text(pdf: bytes) -> str:
    pages = pypdfium2.PdfDocument(pdf)
    return "\n".join(page.get_textpage().get_text_range() for page in pages)


def squeezed(text: str) -> str:
    return re.sub(r"[\s\u00ad\u200b\ufffe]+", "", text)


@pytest.mark.parametrize("paper", ["a4", "letter"])
@pytest.mark.parametrize("large", [False, True])
def test_no_word_is_lost(paper: str, large: bool):
    """Every word of the tree is in the PDF and in the HTML, on both papers, in both sizes of type."""
    tree = tree_of()
    made = document(tree, paper=paper, large_print=large)
    printed, page = squeezed(pdf_text(write_pdf(made))), squeezed(re.sub(r"<[^>]*>", " ", write_html(made)))
    for word in words(tree).split():
        assert squeezed(word) in printed
        assert squeezed(word) in page


def test_boxes_are_the_same_in_tree_pdf_and_html():
    """A box of the text is one box of the page: as many in the HTML, each with its word in the PDF."""
    tree = tree_of()
    assert count_boxes(tree) == 2
    assert write_html(document(tree)).count('<section class="box') == 2
    printed = pdf_text(write_pdf(document(tree)))
    assert printed.count("DANGER") == 1 and printed.count("Fit check") == 1


def test_the_same_document_gives_the_same_bytes():
    """Twice the same input, twice the same file."""
    assert write_pdf(document(tree_of())) == write_pdf(document(tree_of()))
    assert write_html(document(tree_of())) == write_html(document(tree_of()))


def test_the_pdf_is_tagged_and_names_its_reader_on_every_page():
    """The PDF says it is tagged; the running head and `Page x of y` stand on each page."""
    pdf = write_pdf(document(tree_of(PAGE + "\n{{ pagebreak() }}\n# More\n\ntext\n")))
    with pikepdf.open(io.BytesIO(pdf)) as opened:
        assert bool(opened.Root.MarkInfo.Marked)
        assert len(opened.pages) == 2
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(pdf)]
    assert all("Ada" in text and f"Page {n} of 2" in text for n, text in enumerate(pages, 1))


@pytest.mark.parametrize(
    "name",
    ["=1+1", "<b>bold</b>", "{{ 7 * 7 }}", "a | b", "*star* _under_", "# head", "1. one", "&amp; `x`", "::: note"],
)
def test_data_is_shown_as_it_is(name: str):
    """A name that looks like markup prints letter for letter, in both writers, and breaks no table."""
    made = document(tree_of(name=name, rows=[(name, "1")]))
    assert squeezed(name) in squeezed(pdf_text(write_pdf(made)))
    assert f"<strong>{name.replace('&', '&amp;').replace('<', '&lt;').replace('>', '&gt;')}</strong>" in write_html(
        made
    )


def test_a_sign_the_font_lacks_is_spelled():
    """An emoji that the font lacks prints as its code, never as an empty box; the HTML keeps it."""
    made = document(tree_of(name="Zo\u00eb \U0001f9f0"))
    assert "Zo\u00eb[U+1F9F0]" in squeezed(pdf_text(write_pdf(made)))
    assert "\U0001f9f0" in write_html(made)


FAULTS = {
    "unknown name": ("# {{ titel }}\n", "page.md:1: W003: 'titel' is undefined\n    Did you mean 'title'?"),
    "bad braces": (
        "# {{ title }\n",
        "page.md:1: W002: the template cannot be read: unexpected '}'\n    Check its braces.",
    ),
    "unknown box": (
        "\n::: cuation Mind\ntext\n:::\n",
        "page.md:2: W004: there is no box 'cuation'\n    Did you mean 'caution'?",
    ),
    "open box": (
        "::: note\ntext\n",
        "page.md:1: W004: the box 'note' is never closed\n    Close it with ::: on a line of its own.",
    ),
    "row with too many cells": (
        "{{ title }}\n\n| a | b |\n|--|--|\n| 1 | 2 | 3 |\n",
        "page.md:5: W004: a table row has 3 cells, its heading has 2: '| 1 | 2 | 3 |'\n"
        "    Give every row the same number of cells.",
    ),
    "row outside a table": (
        "{{ title }}\n\n| a | b |\n",
        "page.md:3: W004: a table row stands outside a table: '| a | b |'\n"
        "    Put a heading and a line of dashes above it.",
    ),
    "picture": ("![x](y.png)\n", "page.md:1: W004: 'image' cannot be printed: '![x](y.png)'\n    Write it plainly."),
    "quote": ("> said\n", "page.md:1: W004: 'blockquote' cannot be printed: '> said'\n    Write it plainly."),
    "row too short": (
        "{{ title }}\n\n| a | b |\n|--|--|\n| {{ name }} |\n",
        "page.md:5: W004: a table row has 1 cells, its heading has 2: '| Ada |'\n"
        "    Give every row the same number of cells.",
    ),
    "row below text": (
        "{{ title }}\n| a | b |\n",
        "page.md:2: W004: a table row stands outside a table: '| a | b |'\n"
        "    Put a heading and a line of dashes above it.",
    ),
    "line of dashes too short": (
        "{{ title }}\n\n| a | b |\n|--|\n| 1 | 2 |\n",
        "page.md:3: W004: the line below a table's heading has another number of cells: '| a | b |'\n"
        "    Give every row the same number of cells.",
    ),
    "box closed twice": (
        "::: note\ntext\n:::\ntext\n:::\n",
        "page.md:5: W004: a box is not opened or closed as it should be: ':::'\n"
        "    Open it with ::: and a kind, close it with ::: on a line of its own.",
    ),
    "box with two colons": (
        "text\n:: note\n",
        "page.md:2: W004: a box is not opened or closed as it should be: ':: note'\n"
        "    Open it with ::: and a kind, close it with ::: on a line of its own.",
    ),
    "box set in": (
        "text\n\n    ::: note\n    text\n    :::\n",
        "page.md:3: W004: a line is set in by four spaces or more: '::: note'\n    Begin it further left.",
    ),
    "fault behind a loop": (
        "{% for row in rows %}\n\n{{ row.0 }}\n{% endfor %}\n\n::: nte {{ title }}\nx\n:::\n",
        "page.md:6: W004: there is no box 'nte'\n    Did you mean 'note'?",
    ),
    "level of heading skipped": (
        "# {{ title }}\n\n### Deep\n",
        "page.md:3: W004: a heading skips a level: '### Deep'\n    Begin it with ##.",
    ),
    "page without its first heading": (
        "## {{ title }}\n",
        "page.md:1: W004: a heading skips a level: '## Groove'\n    Begin it with #.",
    ),
    "drawing without words": (
        "\n{{ drawing(svg, '') }}\n",
        "page.md:2: W002: the template cannot be filled: a drawing has no words that say what it shows\n"
        "    Check what stands in the braces.",
    ),
    "drawing that is none": (
        "{{ drawing(title, 'A box') }}\n",
        "page.md:1: W002: the template cannot be filled: "
        "the drawing 'A box' is not SVG (syntax error: line 1, column 0)\n    Check what stands in the braces.",
    ),
    "blank wider than the page": (
        "{{ blank(400) }}\n",
        "page.md:1: W002: the template cannot be filled: a blank of 400 mm; it must be 3 to 160 mm long\n"
        "    Check what stands in the braces.",
    ),
    "tick box joined to text": (
        "{{ tick() ~ title }}\n",
        "page.md:1: W002: the template cannot be filled: a blank, tick box or drawing is joined to text\n"
        "    Check what stands in the braces.",
    ),
    "blank in code": (
        "`{{ blank(5) }}`\n",
        "page.md:1: W004: a blank, tick box or drawing stands in code\n    Take it out of the backquotes.",
    ),
    "unknown name in a row": (
        "{{ size.lenght }}\n",
        "page.md:1: W003: 'lenght' is undefined\n    Did you mean 'length'?",
    ),
    "sum that cannot be": (
        "\n{{ title + 1 }}\n",
        'page.md:2: W002: the template cannot be filled: can only concatenate str (not "int") to str\n'
        "    Check what stands in the braces.",
    ),
    "endless loop": (
        "{% for i in range(10 ** 9) %}x{% endfor %}\n",
        "page.md:1: W002: the template cannot be filled: Range too big. The sandbox blocks ranges larger than "
        "MAX_RANGE (100000).\n    Check what stands in the braces.",
    ),
    "link": (
        "see\n[x](y) there\n",
        "page.md:2: W004: 'link' cannot be printed: '[x](y) there'\n    Write it plainly.",
    ),
    "way out of the sandbox": (
        "{{ title.__class__.__mro__ }}\n",
        "page.md:1: W002: access to attribute '__class__' of 'str' object is unsafe.\n    Check the template.",
    ),
}


@pytest.mark.parametrize("name", FAULTS)
def test_faults_are_told_with_their_line(name: str):
    """Each fault of a text ends in one message with file and line; none prints silently."""
    text, says = FAULTS[name]
    with pytest.raises(InputRefused) as refused:
        tree_of(text)
    assert str(refused.value) == says


def test_a_fault_in_an_included_file_is_told_there(tmp_path):
    """A fault in a template that another takes in is told with the inner file's own line, from a folder too."""
    (tmp_path / "page.md").write_text("# {{ title }}\n\n{% include 'rows.md' %}\n")
    (tmp_path / "rows.md").write_text("a\nb\n{{ titel }}\n")
    with pytest.raises(InputRefused, match=r"^rows\.md:3: W003: 'titel' is undefined\n    Did you mean 'title'\?$"):
        render_tree("page.md", ROWS, jinja2.FileSystemLoader(tmp_path))
    (tmp_path / "rows.md").write_text("a\n\n::: nte\nx\n:::\n")
    with pytest.raises(InputRefused, match=r"^rows\.md:3: W004: there is no box 'nte'"):
        render_tree("page.md", ROWS, jinja2.FileSystemLoader(tmp_path))


class CompiledOnce(jinja2.DictLoader):
    """Compiles each template once for all pages, as a loader may."""

    codes: dict = {}

    def load(self, environment, name, globals=None):
        if name not in self.codes:
            self.codes[name] = environment.compile(self.mapping[name], name, "/somewhere/" + name)
        return environment.template_class.from_code(environment, self.codes[name], dict(globals or {}))


def test_faults_keep_their_lines_when_a_loader_keeps_compiled_templates():
    """The second page made from one template tells its faults like the first one."""
    text = "{% for row in rows %}\n\n{{ row.0 }}\n{% endfor %}\n\n::: {{ kind }} Mind\n{{ more.x }}\n:::\n"
    loader = CompiledOnce({"page.md": text})
    for _ in range(2):
        with pytest.raises(InputRefused, match="^page.md:6: W004: there is no box 'nte'"):
            render_tree("page.md", {**ROWS, "kind": "nte", "more": {"x": 1}}, loader)
        with pytest.raises(InputRefused, match="^page.md:7: W003: 'x' is undefined"):
            render_tree("page.md", {**ROWS, "kind": "note", "more": {}}, loader)


def test_a_missing_template_is_named():
    """A template that is not there is named, and so is one that another page takes in, with its line."""
    with pytest.raises(InputRefused, match="^page.md: W001: there is no template 'page.md'"):
        render_tree("page.md", ROWS, jinja2.DictLoader({}))
    with pytest.raises(InputRefused, match="^page.md:2: W001: there is no template 'rows.md'"):
        tree_of("text\n{% include 'rows.md' %}\n")


def test_every_fault_of_a_text_is_told_at_once():
    """Two faults of one lesson text come together, in the order of its lines."""
    with pytest.raises(InputRefused) as refused:
        markdown_tree("::: nte\nx\n:::\n\ntext\n\n| a |\n", "lesson.md")
    assert [(p.place.line, p.says) for p in refused.value.problems] == [
        (1, "there is no box 'nte'"), (7, "a table row stands outside a table: '| a |'"),
    ]  # fmt: skip


@given(st.text())
def test_any_data_comes_through_as_text(name: str):
    """Whatever a name is made of, it is text in every place of a page and opens no markup.

    What cannot be seen is left out: control signs, private signs and signs that turn the direction.
    """
    seen = shown(name)
    tree = tree_of("# {{ name }}\n\n{{ name }}\n\n**{{ name }}**\n\n- {{ name }}\n\n| a |\n|--|\n| {{ name }} |\n"
                   "\n::: note {{ name }}\n`{{ name }}`\n:::\n", name=name)  # fmt: skip
    assert [node["t"] for node in tree] == ["h", "p", "p", "ul", "table", "box"]
    heading, plain, bold, bullets, table, box = tree
    runs = [heading["c"], plain["c"], bold["c"][0]["c"], bullets["items"][0][0]["c"], table["rows"][0][0]]
    for run in [*runs, box["title"], box["c"][0]["c"]]:
        assert len(run) == 1 and run[0]["t"] in ("text", "code")
        assert run[0]["s"].replace("\u00a0", " ").strip() == seen.replace("\u00a0", " ").strip()


@pytest.mark.parametrize(
    ("typed", "size"),
    [('14 3/8"', '14\u00a03/8"'), ("30.2 mm", "30.2\u00a0mm"), ("1 1/2 in", "1\u00a01/2\u00a0in")],
)
def test_a_typed_size_is_not_split(typed: str, size: str):
    """A size in a lesson text is one piece, so that no line ends inside it."""
    assert words(markdown_tree(f"set {typed} here", "x.md")) == f"set {size} here"


def test_words_that_only_look_like_sizes_stay_words():
    """A number before another word may stand at the end of a line."""
    assert words(markdown_tree("cut 3 inner parts, 2 minutes", "x.md")) == "cut 3 inner parts, 2 minutes"


HINDI = "\u0939\u093f\u0928\u094d\u0926\u0940"
"""Letters that are not whole without the marks at them."""
WIDE = "| " + " | ".join(f"unbreakableHeading{i:02}" for i in range(14)) + " |\n"


@pytest.mark.parametrize("large", [False, True])
def test_a_table_too_wide_for_any_type_has_its_rows_set_below_each_other(large: bool):
    """Fourteen columns of long words fit on no page; every heading and cell is printed all the same."""
    text = WIDE + "|" + "--|" * 14 + "\n" + "| " + " | ".join(f"cell{i:02}" for i in range(14)) + " |\n"
    printed = squeezed(pdf_text(write_pdf(document(markdown_tree(text, "wide.md"), large_print=large))))
    assert all(f"unbreakableHeading{i:02}:cell{i:02}" in printed for i in range(14))


@pytest.mark.parametrize(
    ("widths", "fault"), [((200.0, 200.0), "runs off the page"), ((12.0, 12.0), "is printed over other words")]
)
def test_the_page_check_finds_a_table_set_wrongly(monkeypatch, widths, fault):
    """Columns planted too wide or too narrow: the words that stick out are named, with their page."""
    monkeypatch.setattr("shared.render.pdf.columns", lambda *_: Columns(widths, 9, 2.2))
    tree = markdown_tree("# Top\n\n| first | second |\n|--|--|\n| unbreakableWord | unbreakableWord |\n", "t.md")
    with pytest.raises(InputRefused) as refused:
        write_pdf(document(tree))
    assert any(
        str(problem.place) == "Sample" and re.fullmatch(f"page 1: '.*unbreakableWord.*' {fault}", problem.says)
        for problem in refused.value.problems
    )


def test_a_table_row_taller_than_the_page_is_refused():
    """A row is never split; one that no page can hold is refused with its words."""
    text = "# Top\n\n| a | b |\n|--|--|\n| " + "word " * 3000 + "| b |\n"
    with pytest.raises(InputRefused, match="W012: page 2: 'word .*' runs off the page"):
        write_pdf(document(markdown_tree(text, "tall.md")))


def test_one_cause_is_not_told_on_every_page():
    """A document full of words that do not fit is refused in a few lines."""
    cell = " ".join(f"word{i}" for i in range(4000))
    text = "# Top\n\n" + f"| a | b |\n|--|--|\n| {cell} | b |\n\ntext\n\n" * 2
    with pytest.raises(InputRefused) as refused:
        write_pdf(document(markdown_tree(text, "tall.md")))
    assert len(refused.value.problems) <= 5


@pytest.mark.parametrize(("mark", "face"), [("", ""), ("**", "b"), ("*", "i"), ("***", "bi")])
def test_characters_are_as_wide_as_the_pdf_sets_them(mark: str, face: str):
    """Widths read from the font files are those another program finds in the printed page, in all four faces."""
    letters = "WiljMm018\u00e9\u2610"
    text = "".join(letter * 2 for letter in letters)
    pdf = pypdfium2.PdfDocument(write_pdf(document(markdown_tree(f"# T\n\n{mark}{text}{mark}\n", "x.md"))))
    page = pdf[0].get_textpage()
    at = page.get_text_range().index(text)
    for number, letter in enumerate(letters):
        first, second = (page.get_charbox(at + 2 * number + part)[0] for part in (0, 1))
        assert second - first == pytest.approx(advances(face)[ord(letter)] * LARGER[0], abs=0.02)


def test_columns_hold_their_widest_words():
    """No word of a table is wider than its column; the columns fill the room."""
    head = [[{"t": "text", "s": "Part"}], [{"t": "text", "s": "Where to measure it"}]]
    rows = [[[{"t": "text", "s": "muntin"}], [{"t": "text", "s": "from the face side " * 6}]]]
    made = columns(head, rows, 100, (9,))
    assert sum(made.widths) == pytest.approx(100, abs=0.1)
    assert made.widths[0] >= sum(advances("")[ord(c)] for c in "muntin") * 9 * 25.4 / 72 + 2 * made.padding


def test_a_long_name_is_cut_in_the_running_head_but_not_on_the_page():
    """A name of 300 letters leaves its packet printable; the head shows its start and three dots."""
    name = "Ada of the Long Name " * 15
    pdf = write_pdf(document(tree_of(name=name), left=name))
    assert "Ada of the Long" in pdf_text(pdf) and "\u2026" in pdf_text(pdf)
    assert squeezed(name) in squeezed(pdf_text(pdf))


@pytest.mark.parametrize("large", [False, True])
def test_a_usual_long_name_and_title_stand_whole_in_the_running_head(large: bool):
    """Two lines of each half are enough for 45 letters, in large print too, so that the id at the end is seen."""
    left, right = "Ada Fenwick-Bartholomew of Long Meadow (s01)", "An autumn cabinet for the first-year class, rev 3"
    printed = squeezed(pdf_text(write_pdf(document(tree_of(), left=left, right=right, large_print=large))))
    assert squeezed(left) in printed and squeezed(right) in printed


def test_a_word_longer_than_a_line_is_broken():
    """Two hundred letters without a space keep to their page, in text and in a table cell."""
    name = "Wolfeschlegel" * 16
    printed = squeezed(pdf_text(write_pdf(document(tree_of(name=name, rows=[(name, "1")])))))
    assert printed.count(name) == 2


@pytest.mark.parametrize(
    "name",
    [
        "\u0627\u0644\u062e\u0648",
        "\u65e5\u672c",
        "\ue0fe\uf6c5",
        "x\u0eb4",
        "\u0488",
        "\ufb3b",
        "a\u202eb",
        "\ud800",
        "\u0130",
    ],
)
def test_a_packet_is_made_for_every_name(name: str):
    """Any script, private signs, halves of signs, signs that turn the direction: there is always a PDF and a page."""
    tree = tree_of("# {{ title }}\n\n*{{ name }}* **{{ name }}** ***{{ name }}*** `{{ name }}`\n", name=name)
    made = document(tree, left=name, title=f"Packet {name}")
    assert write_pdf(made) and write_html(made).encode()
    assert "\u202e" not in pdf_text(write_pdf(made)) + write_html(made)


def test_a_drawing_taller_than_the_page_is_made_smaller():
    """A drawing of 400 mm keeps its lowest word on the page."""
    svg = (
        '<svg xmlns="http://www.w3.org/2000/svg" width="50mm" height="400mm" viewBox="0 0 50 400">'
        '<text x="5" y="395" font-size="8">lowest</text></svg>'
    )
    assert "lowest" in pdf_text(write_pdf(document(tree_of("# Top\n\n{{ drawing(svg, 'tall') }}\n", svg=svg))))


def test_the_language_of_a_document_is_said_in_both_files():
    """A screen reader is told the language, in the HTML and in the PDF."""
    made = document(tree_of(), language="en-GB")
    assert '<html lang="en-GB">' in write_html(made)
    with pikepdf.open(io.BytesIO(write_pdf(made))) as opened:
        assert str(opened.Root.Lang) == "en-GB"


def test_a_box_taller_than_a_page_is_continued():
    """A box of 90 lines goes on over the page; nothing of it is lost."""
    text = "::: note Long\n" + "\n".join(f"- line{i:03}" for i in range(90)) + "\n:::\n"
    pdf = write_pdf(document(markdown_tree(text, "long.md")))
    assert all(f"line{i:03}" in pdf_text(pdf) for i in range(90))
    assert not list(overflow(pdf, "long"))


@pytest.mark.parametrize("kind", ["danger", "warning", "caution"])
@pytest.mark.parametrize("lines", range(46, 51))
def test_a_warning_stands_on_the_page_of_its_step(kind: str, lines: int):
    """Wherever the page ends, a box that warns is never left behind by the step it warns of."""
    text = "# Top\n\n" + "text\n\n" * lines + f"::: {kind}\nfingers\n:::\n\n7. cutting\n\n" + "text\n\n" * 30
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(
        write_pdf(document(markdown_tree(text, "x.md"), paper="letter")))]  # fmt: skip
    assert ["fingers" in page for page in pages] == ["cutting" in page for page in pages]


@pytest.mark.parametrize(
    "below", ["| a | b |\n|---|---|\n| first | 1 |", "::: warning\nfirst\n:::\n\n1. step", "1. first"]
)
@pytest.mark.parametrize("lines", range(44, 51))
def test_a_line_below_a_heading_stays_with_what_follows(below: str, lines: int):
    """Wherever the page ends, a heading and the line below it are never left behind by the table, box or step they are
    about."""
    text = "# Top\n\n" + "text\n\n" * lines + f"## Door\n\nof cherry\n\n{below}\n\n" + "text\n\n" * 30
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(
        write_pdf(document(markdown_tree(text, "x.md"), paper="letter")))]  # fmt: skip
    of = [[word in page for page in pages] for word in ("Door", "cherry", "first")]
    assert of[0] == of[1] == of[2]


@pytest.mark.parametrize("lines", range(46, 53))
def test_a_bold_line_stays_with_the_list_below_it(lines: int):
    """Wherever the page ends, `Wrong examples to show` is not left behind by the first of them."""
    text = "# Top\n\n" + "text\n\n" * lines + "**Wrong examples**\n\n- first\n- second\n\n" + "text\n\n" * 30
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(
        write_pdf(document(markdown_tree(text, "x.md"), paper="letter")))]  # fmt: skip
    assert ["Wrong" in page for page in pages] == ["first" in page for page in pages]


def test_warnings_of_a_whole_heading_do_not_hold_on_to_it():
    """Boxes that stand before the next heading may end a page; else half a page would stay empty before them."""
    boxes = "".join(f"::: warning\nbox{i}\n:::\n\n" for i in range(6))
    text = "# Top\n\n" + "text\n\n" * 42 + f"## Safety\n\n{boxes}## Steps\n\n" + "text\n\n" * 40
    first = pypdfium2.PdfDocument(write_pdf(document(markdown_tree(text, "x.md"), paper="letter")))[0]
    assert "box0" in first.get_textpage().get_text_range()


@pytest.mark.parametrize(("lines", "pages"), [(50, 1), (58, 1), (72, 2)])
def test_a_part_that_spills_a_little_is_set_closer_and_one_that_spills_more_is_not(lines: int, pages: int):
    """52 lines fill a page of letter paper: 58 are moved closer onto it, 72 take two pages in their usual room."""
    made = pypdfium2.PdfDocument(
        write_pdf(document(markdown_tree("# Top\n\n" + "line\n\n" * lines, "x.md"), paper="letter"))
    )
    text = made[0].get_textpage()
    tops = [text.get_rect(number)[3] for number in range(text.count_rects())][-12:-2]
    steps = [a - b for a, b in zip(tops, tops[1:], strict=False) if a - b > 1]
    assert len(made) == pages and "".join(p.get_textpage().get_text_range() for p in made).count("line") == lines
    assert (min(steps) < 13) is (lines == 58)


@pytest.mark.parametrize(
    ("lines", "large", "points", "pages"),
    [
        (30, False, 10.5, 1),
        (45, False, 10, 1),
        (50, False, 9, 1),
        (72, False, 10.5, 2),
        (98, False, 9, 2),
        (9, True, 18, 1),
    ],
)
def test_a_part_with_room_on_its_pages_is_set_in_larger_type(lines: int, large: bool, points: float, pages: int):
    """52 lines of 9 points fill a page of letter paper; larger type is taken where it costs no more pages."""
    tree = markdown_tree("# Top\n\n" + "mm mm\n\n" * lines, "x.md")
    made = pypdfium2.PdfDocument(write_pdf(document(tree, paper="letter", large_print=large)))
    text = made[0].get_textpage()
    at = text.get_text_range().index("mm mm")
    step = text.get_charbox(at + 1)[0] - text.get_charbox(at)[0]
    assert step == pytest.approx(advances("")[ord("m")] * points, abs=0.02) and len(made) == pages


def type_sizes(pdf: bytes) -> set[float]:
    """Sizes of the letters between the running head and the foot of a document. [pt]"""
    sizes = set()
    for page in pypdfium2.PdfDocument(pdf):
        for thing in page.get_objects(filter=(pypdfium2.raw.FPDF_PAGEOBJ_TEXT,)):
            size = ctypes.c_float()
            pypdfium2.raw.FPDFTextObj_GetFontSize(thing.raw, size)
            if 72 < thing.get_bounds()[1] < page.get_height() - 100:
                sizes.add(round(size.value * thing.get_matrix().a, 1))
    return sizes


@pytest.mark.parametrize(
    ("large", "lines", "size", "pages"), [(False, 31, 9, 1), (False, 33, 8.5, 1), (True, 10, 18, 2)]
)
def test_type_is_a_little_smaller_only_where_that_saves_a_page(large: bool, lines: int, size: float, pages: int):
    """33 long lines, that no closer setting brings onto one page, go there in 8.5 points; large print stays at 18."""
    tree = markdown_tree("# Top\n\n" + ("line " * 36 + "\n\n") * lines, "x.md")
    pdf = write_pdf(document(tree, paper="letter", large_print=large))
    assert len(pypdfium2.PdfDocument(pdf)) == pages
    assert min(type_sizes(pdf)) == size


TURNED = "# Top\n\n{before}{{{{ turn() }}}}\n\n## Safety\n\n{safety}{{{{ turn() }}}}\n\n## Steps\n\n{steps}"


@pytest.mark.parametrize(
    ("before", "safety", "steps", "first"),
    [(30, 10, 30, ["Top"]), (10, 30, 30, ["Top", "Safety"]), (10, 10, 10, ["Top", "Safety", "Steps"])],
)
def test_a_part_of_two_pages_is_turned_over_where_its_template_says(before, safety, steps, first: list[str]):
    """Before the safety of an operation, or before its steps where else the first page would stay rather empty; a
    part of one page is not torn."""
    lines = {name: "line\n\n" * count for name, count in (("before", before), ("safety", safety), ("steps", steps))}
    tree = tree_of(TURNED.format(**lines))
    pages = [page.get_textpage().get_text_range() for page in pypdfium2.PdfDocument(
        write_pdf(document(tree, paper="letter")))]  # fmt: skip
    heads = [[head for head in ("Top", "Safety", "Steps") if f"{head}\r\n" in page] for page in pages]
    assert heads[0] == first and sum(heads, [])[:3] == ["Top", "Safety", "Steps"]
    assert "".join(pages).count("line") == before + safety + steps
    assert "turn" not in write_html(document(tree)).split("<main>")[1]


def test_drawings_do_not_share_names():
    """Two drawings with the same ids inside keep their own in one page."""
    page = write_html(document(tree_of(PAGE + "\n{{ drawing(svg, 'again') }}\n")))
    assert 'id="d1-a"' in page and 'id="d2-a"' in page and "url(#d2-a)" in page


def test_the_page_stands_on_its_own():
    """The HTML loads nothing and runs nothing; it has its title, language, landmarks and one top heading."""
    page = write_html(document(tree_of()))
    assert not re.search(r"<script|<link|@import|src=|href=|\bon\w+=|url\((?!#)", page)
    assert "<title>Sample</title>" in page and '<html lang="en-US">' in page
    assert page.count("<main>") == page.count("<h1>") == page.count("<header") == 1
    assert '<th scope="col" class="right">size</th>' in page
    assert 'role="img" aria-label="A box 12 wide"' in page


def test_printed_html_names_its_reader_and_counts_its_pages():
    """The style for printing repeats the running head and the page count, whatever the name is made of."""
    page = write_html(document(tree_of(), left='"; } </style>', paper="letter"))
    assert page.count("</style>") == 1
    assert 'counter(page) " of " counter(pages)' in page and "size: letter" in page


def test_raw_html_of_a_lesson_text_is_text():
    """A tag typed into a lesson text shows as typed."""
    assert "&lt;script&gt;" in write_html(document(markdown_tree("a <script>b</script>", "x.md")))


def test_a_file_is_written_whole_or_refused(tmp_path):
    """A folder in the place of the file is refused in words, and nothing is left beside it."""
    (tmp_path / "cut.pdf").mkdir()
    with pytest.raises(InputRefused, match="F001: the file cannot be written"):
        write_file(tmp_path / "cut.pdf", b"x")
    assert [p.name for p in tmp_path.iterdir()] == ["cut.pdf"]
    assert write_file(tmp_path / "new" / "a.txt", "text").read_text() == "text"


def test_a_file_that_fails_on_its_way_leaves_the_old_one(tmp_path, monkeypatch):
    """When the last step fails, the old file is whole and nothing half-written lies beside it."""
    kept = write_file(tmp_path / "a.txt", "old")

    def fails(*_: object) -> None:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr("os.replace", fails)
    with pytest.raises(InputRefused) as refused:
        write_file(kept, "new")
    assert str(refused.value) == (
        f"{kept}: F001: the file cannot be written (permission denied)\n"
        "    Close programs that use it, check that the folder can be written to, or give another folder."
    )
    assert [(path.name, path.read_text()) for path in tmp_path.iterdir()] == [("a.txt", "old")]


def test_a_file_in_the_way_of_a_folder_is_refused(tmp_path):
    """A folder that cannot be made, and a name no system takes, are refused in words."""
    (tmp_path / "out").write_text("x")
    for path in (tmp_path / "out" / "a.pdf", tmp_path / "a\0b.pdf", tmp_path / ("a" * 400)):
        with pytest.raises(InputRefused, match="F001: the file cannot be written"):
            write_file(path, b"x")


@pytest.mark.parametrize(
    ("text", "name"),
    [("Ada Fenwick", "Ada-Fenwick"), ("../../etc", "etc"), ("=1+1", "1-1"), ("CON", "CON-"), ("", "unnamed"),
     ("Zo\u00eb \U0001f600", "Zo\u00eb"), ("a" * 90, "a" * 60), (HINDI, HINDI),
     ("con/\u202ea", "con-a"), ("...", "unnamed"), ("Com9", "Com9-"), ("lpt1", "lpt1-"), ("com10", "com10")],
)  # fmt: skip
def test_names_become_file_names(text: str, name: str):
    """A name makes a readable file name that no system refuses."""
    assert safe_name(text) == name


def test_many_documents_are_set_as_each_alone(monkeypatch):
    """Five documents on several cores: the same bytes in their order, and one that does not fit is refused as alone."""
    monkeypatch.setattr("os.cpu_count", lambda: 2)
    good = [document(markdown_tree(f"# Sheet {number}\n\nCut to {number}.\n", "t.md")) for number in range(5)]
    tall = document(markdown_tree("# Top\n\n| a | b |\n|--|--|\n| " + "word " * 3000 + "| b |\n", "tall.md"))
    with pytest.raises(InputRefused) as alone:
        write_pdf(tall)
    with Press(len(good) + 1) as press:
        assert press.room >= 2
        first, *rest = [press.set(one) for one in (tall, *good)]
        with pytest.raises(InputRefused) as refused:
            first()
        assert refused.value.problems == alone.value.problems
        assert [fetch() for fetch in rest] == [write_pdf(one) for one in good]


SET_ONE_AFTER_ANOTHER = """
from pathlib import Path
from shared.render.document import Document
from shared.render.pdf import write_pdf
from shared.render.tree import markdown_tree

def told():
    print(Path("/proc/self/statm").read_text().split()[1])

told()
for number in range(7):
    text = "\\n\\n".join(f"# Part {number}.{i}\\n\\n" + "Plane the face true and mark it. " * 12 for i in range(250))
    write_pdf(Document("T", "Ada", "r1", markdown_tree(text, "page.md")))
    told()
"""


@pytest.mark.skipif(sys.platform != "linux", reason="only Linux tells the memory of a process in a file")
def test_the_last_of_many_documents_takes_no_more_memory_than_the_first_did():
    """Seven large documents in one process: the sixth and seventh together add less than a quarter of the first."""
    ran = subprocess.run(
        [sys.executable, "-c", SET_ONE_AFTER_ANOTHER], capture_output=True, text=True, check=True,
        cwd=Path(__file__).parents[2],
    )  # fmt: skip
    before, first, *_, fifth, _, last = map(int, ran.stdout.split())
    assert last - fifth < (first - before) / 4
