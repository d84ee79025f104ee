"""Labels to stick on the pieces of an order, where the label paper has them."""

from __future__ import annotations

import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from html import escape
from importlib.resources import as_file, files

from course.needs import Need, Purpose
from course.order import Order
from course.order_settings import LabelPaper
from shared.render.sketch import POINT, WIDE, Area


@dataclass(frozen=True, slots=True)
class Label:
    """What is printed on one label."""

    lines: tuple[str, str, str]
    """Student and part, its title, rough size and where it comes from."""


def part_labels(order: Order) -> tuple[Label, ...]:
    """A label for each piece in the order of cutting: those from sheets, then those from boards."""
    cut = (*order.cut_sheets, *order.cut_boards)
    return tuple(_one_label(order, part.need, sheet.name) for sheet in cut for part in sheet.parts)


def _one_label(order: Order, need: Need, source: str) -> Label:
    size = f"{order.shown.bare(need.length)} \u00d7 {order.shown.size(need.width)}"
    word = order.course.wording.text
    head = need.name if need.purpose is Purpose.PART else word(need.name.split(",")[0])
    return Label((head, word(need.title), f"{size}, {source}"))


def label_pages(labels: Sequence[Label], paper: LabelPaper) -> tuple[str, ...]:
    """Pages of labels as SVG of the whole paper, every label where the label paper has it."""
    size = paper.columns * paper.rows
    return tuple(_label_page(labels[start : start + size], paper) for start in range(0, len(labels), size))


def _label_page(labels: Sequence[Label], paper: LabelPaper) -> str:
    wide, high = float(paper.width), float(paper.height)
    items: list[str] = []
    for number, label in enumerate(labels):
        x = float(paper.left + (number % paper.columns) * paper.across)
        y = float(paper.top + (number // paper.columns) * paper.down)
        items += _label_lines(label, Area(x, y, float(paper.label_width), float(paper.label_height)))
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}mm" height="{high:g}mm" '
        f'viewBox="0 0 {wide:g} {high:g}">{"".join(items)}</svg>'
    )


def _label_lines(label: Label, area: Area) -> Iterator[str]:
    """Three lines, each as large as the label allows."""
    edge = min(3.0, area.width / 12)
    at = area.y
    for text, share, most in zip(label.lines, (0.4, 0.28, 0.28), (16.0, 10.0, 8.0), strict=True):
        height = share * area.height
        size = min(most * POINT, height * 0.7, (area.width - 2 * edge) / (WIDE * 1.08 * max(1, len(text))))
        weight = ' font-weight="bold"' if share == 0.4 else ""
        yield (
            f'<text x="{area.x + edge:.3f}" y="{at + height / 2 + size * 0.35 + area.height * 0.02:.3f}" '
            f'font-family="DejaVu Sans, Verdana, sans-serif" font-size="{size:.3f}"{weight}>{escape(text)}</text>'
        )
        at += height


def labels_html(pages: Sequence[str], paper: LabelPaper, title: str) -> str:
    """The labels as a page without margins, to be printed at full size."""
    style = (
        f"@page {{ size: {float(paper.width):g}mm {float(paper.height):g}mm; margin: 0 }} body {{ margin: 0 }} "
        "svg { display: block; break-after: page }"
    )
    return (
        f'<!DOCTYPE html>\n<html lang="en-US">\n<head>\n<meta charset="utf-8">\n<title>{escape(title)}</title>\n'
        f"<style>{style}</style>\n</head>\n<body>\n" + "\n".join(pages) + "\n</body>\n</html>\n"
    )


_LABELS = """#let d = json(bytes(sys.inputs.d))
#set document(title: d.title)
#set page(width: d.width * 1mm, height: d.height * 1mm, margin: 0mm)
#for page in d.pages [#image(bytes(page), format: "svg", width: 100%, alt: d.title)]
"""


def labels_pdf(pages: Sequence[str], paper: LabelPaper, title: str) -> bytes:
    """The labels as a PDF in the size of their paper; print it without scaling."""
    import typst

    data = {"title": title, "width": float(paper.width), "height": float(paper.height), "pages": list(pages)}
    with as_file(files("shared")) as folder:
        made = typst.compile(
            _LABELS.encode(), font_paths=[str(folder / "fonts")], ignore_system_fonts=True,
            sys_inputs={"d": json.dumps(data)}, timestamp=946684800, format="pdf",
        )  # fmt: skip
    assert isinstance(made, bytes)
    return made
