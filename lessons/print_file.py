"""One PDF of all packets in the order of the benches, for one print job.

Finished PDFs are put one after the other, since each has its own running head. Their tags are lost by that: this
file is for the printer, and whoever listens to a packet uses the PDF or HTML page of its own.
"""

from __future__ import annotations

import io
from collections.abc import Iterable
from pathlib import Path

import pikepdf

from course.course import Course
from course.roster import Student
from lessons.class_sheets import benches, marked


def in_bench_order(course: Course) -> tuple[Student, ...]:
    """The students as they stand in the room, by bench and then by id."""
    place = {row.student: number for number, row in enumerate(benches(course))}
    return tuple(sorted(course.students, key=lambda student: place[marked(student)]))


def joined(files: Iterable[Path], title: str) -> bytes:
    """PDF files as one, the same bytes every time.

    Each begins on a right-hand page: one with an odd number of pages gets an empty page, so that a print on both
    sides never has two students on one sheet of paper.

    Args:
        files: In the order wanted.
        title: Of the whole.
    """
    out = io.BytesIO()
    with pikepdf.new() as whole:
        for path in files:
            with pikepdf.open(path) as one:
                whole.pages.extend(one.pages)
                if len(one.pages) % 2:
                    _, _, width, height = (float(edge) for edge in one.pages[-1].mediabox)
                    whole.add_blank_page(page_size=(width, height))
        _untagged(whole.pages)
        whole.docinfo["/Title"] = title
        whole.save(out, object_stream_mode=pikepdf.ObjectStreamMode.generate, deterministic_id=True)
    return out.getvalue()


def _untagged(pages: Iterable[pikepdf.Page]) -> None:
    """Take out what points to tags that are no longer there."""
    for page in pages:
        for key in ("/StructParents", "/Tabs"):
            if key in page.obj:
                del page.obj[key]
