"""The sheet of the gradebook on which an instructor changes limits, shares and weights, and all marks follow."""

from __future__ import annotations

from rubrics.book import HEAD, Book, Column, Live
from rubrics.book_places import LIMITS, Places, middle_of
from rubrics.checks import limit_of

UPPER_ONLY, BOTH = "upper only", "lower and upper"


def write_limits(book: Book, places: Places) -> None:
    """Levels, what judged marks count, words for the whole, weights of what is judged, and limits of every check."""
    rules, judging = places.grades.rules, places.judging
    sheet = book.sheet(
        "Limits", "Limits, points and levels",
        "Change the shaded cells and all marks follow. In mm. To keep a change, write it into course.yaml or "
        "grading.yaml too.",
    )  # fmt: skip
    blocks = (
        (places.level_block, ("level", "within limits", "share of points"),
         [(level.word, level.within, level.share) for level in rules.levels],
         ("level_words", "level_within", "level_shares")),
        (places.part_block, ("total", "from 0 to 1"),
         [("part of the judged marks", rules.judged), *places.redo], ()),
        (places.word_block, ("word for the whole", "from percent"), list(rules.grades), ("whole_words", "whole_from")),
        (places.judged_block, ("judged level", "share of weight"), list(judging.levels.items()),
         ("judged_words", "judged_shares")),
        (places.item_block, ("judged item", "weight"), [(item.id, item.weight) for item in judging.items],
         ("item_ids", "item_weights")),
    )  # fmt: skip
    for block, headings, rows, names in blocks:
        forms = ["input fine" if heading.startswith("share") else "input" for heading in headings]
        columns = [Column(heading, form if number else "text")
                   for number, (heading, form) in enumerate(zip(headings, forms, strict=True))]  # fmt: skip
        book.table(sheet, columns, rows, block.head, sortable=False, frozen=False)
        for letter, name in zip("ABC", names, strict=False):
            book.name(name, block.cells(letter))
    book.name("judged_part", places.part_block.cell("B", 0))
    checks = []
    for check in places.grades.checks:
        lower, upper = (places.limit(check, heading).removeprefix("Limits!") for heading in ("lower", "upper"))
        checks.append((
            check.id, places.labels[check.id], check.stage, UPPER_ONLY if check.one_sided else BOTH,
            None if check.one_sided else check.lower, check.upper, check.points,
            Live(f"={upper}" if check.one_sided else f"=({upper}-{lower})/2", limit_of(check)),
            0 if check.one_sided else Live(f"=({upper}+{lower})/2", middle_of(check)), check.fit, check.source,
        ))  # fmt: skip
    end = book.table(sheet, LIMITS, checks, places.check_block.head, sortable=False, frozen=False)
    sheet.print_area(0, 0, end - 1, len(LIMITS) - 1)
    sheet.freeze_panes(HEAD, 0)
    for heading in ("check id", "check", "lower", "upper", "points", "limit", "middle"):
        name = "check_" + {"check id": "ids", "check": "titles"}.get(heading, heading)
        book.name(name, places.check_block.cells(LIMITS.letters[heading]))
