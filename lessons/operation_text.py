"""The text of an operation below its head: sections of lists and steps, with boxes for sizes and cautions."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from lessons.cautions import CAUTIONS
from lessons.operation import BOX, ROUTES, Step
from shared.places import Place
from shared.problems import InputRefused, Problem, meant
from shared.render.tree import markdown_tree

SECTIONS = {
    "Before you start": "before", "Typical mistakes": "mistakes", "It is right when": "right",
    "For the instructor": "instructor", **{f"Steps by {route}": route for route in ROUTES},
    **{f"Before you start by {route}": f"before {route}" for route in ROUTES},
    **{f"Typical mistakes by {route}": f"mistakes {route}" for route in ROUTES},
}  # fmt: skip
"""The headings of the second level, and what their sections are called here."""
_STEP = re.compile(r"(\d+)\.\s+(.+)")
_ITEM = re.compile(r"[-*]\s+(.+)")

Line = tuple[int, str]
"""The number of a line in its file, and the line."""


class Sections:
    """The sections of one file; what is wrong with them is added to its problems."""

    def __init__(self, file: str, lines: Sequence[str], start: int, problems: list[Problem]) -> None:
        self.file, self.end, self.problems = file, len(lines), problems
        body = list(enumerate(lines[start:], start + 1))
        self.found = self._split(body)
        self._boxes(body)
        self._laid_out()

    def wrong(self, code: str, line: int, says: str, do: str, column: int = 1) -> None:
        """Keep a problem of one line."""
        self.problems.append(Problem(code, Place(self.file, line, column), says, do))

    def first_line(self, name: str) -> int:
        """The line of a section's heading."""
        return self.found[name][0][0] - 1 if self.found[name] else 1

    def markdown(self, name: str) -> str:
        """A section as it is written; empty when it is missing."""
        return "\n".join(line for _, line in self.found.get(name, ())).strip()

    def items(self, name: str) -> tuple[str, ...]:
        """The lines of a list, which must be there."""
        title = next(title for title, key in SECTIONS.items() if key == name)
        if name not in self.found:
            self.wrong("L006", self.end, f"the section '{title}' is missing", f"Add `## {title}`.")
            return ()
        found = self._numbered(self.found[name], _ITEM, title)
        if not found:
            self.wrong("L006", self.end, f"the section '{title}' is empty", "Write lines that begin with `- `.")
        return tuple(text for text, _ in found)

    def more(self, name: str, route: str) -> tuple[str, ...]:
        """The lines of a list that is for one route alone and need not be there, as `Typical mistakes by hand`."""
        return self.items(f"{name} {route}") if f"{name} {route}" in self.found else ()

    def of_route(self, route: str) -> str:
        """A section that is for one route; empty when there is none."""
        return next((name for name in (route, f"before {route}", f"mistakes {route}") if name in self.found), "")

    def steps(self, route: str, place: Place) -> tuple[Step, ...]:
        """The steps of a route.

        Args:
            route: One of `ROUTES`.
            place: Of the route in the head.
        """
        title = f"Steps by {route}"
        if route not in self.found:
            self.problems.append(Problem("L006", place, f"the route '{route}' has no steps", f"Add `## {title}`."))
            return ()
        found = self._numbered(self.found[route], _STEP, title)
        if not 3 <= len(found) <= 7:
            do = "Write 3 to 7 steps, numbered `1.`, `2.`, `3.`"
            count = "1 step" if len(found) == 1 else f"{len(found)} steps"
            self.problems.append(Problem("L006", place, f"'{title}' has {count}", do))
        return tuple(Step(text, cautions) for text, cautions in found)

    def _split(self, body: Sequence[Line]) -> dict[str, list[Line]]:
        """Lines of each section with their numbers."""
        found: dict[str, list[Line]] = {}
        lines: list[Line] | None = None
        for number, line in body:
            if line.startswith("## "):
                title = line[3:].strip()
                if title not in SECTIONS:
                    self.wrong("L006", number, f"there is no section '{title}'", meant(title, SECTIONS))
                    lines = []
                    continue
                if SECTIONS[title] in found:
                    self.wrong("L006", number, f"the section '{title}' stands twice", "Keep one of the two.")
                lines = found[SECTIONS[title]] = []
            elif lines is not None:
                lines.append((number, line))
            elif line.strip():
                do = "Put it under a heading such as `## Before you start`."
                self.wrong("L006", number, "there is text before the first section", do)
        return found

    def _numbered(
        self, lines: Sequence[Line], form: re.Pattern[str], title: str
    ) -> list[tuple[str, tuple[str, ...]]]:
        """Items of a list, indented lines joined to them, with the cautions on the lines right before each."""
        found: list[tuple[str, tuple[str, ...]]] = []
        waiting: list[str] = []
        for number, line in lines:
            item, box = form.fullmatch(line.rstrip()), BOX.fullmatch(line.strip())
            if item:
                found.append((item[item.lastindex or 1], tuple(waiting)))
                waiting = []
            elif box and box[1] == "caution":
                waiting.append(box[2])
            elif line.startswith(" ") and line.strip() and found and not waiting:
                found[-1] = (f"{found[-1][0]} {line.strip()}", found[-1][1])
            elif line.strip():
                begins = "a number, as in `1. `" if form is _STEP else "`- `"
                do = f"Begin it with {begins}, or indent it below the line it belongs to."
                self.wrong("L006", number, f"a line in '{title}' is not part of its list", do)
        if waiting:
            says = f"the caution {waiting[0]} stands after the last line of '{title}'"
            self.wrong("L007", lines[-1][0], says, "Put it right before the step it belongs to.")
        return found

    def _boxes(self, body: Sequence[Line]) -> None:
        """Every `{{` opens a box that is known and closed on its line."""
        for number, line in body:
            for column, code, says, do in _bad_boxes(line):
                self.wrong(code, number, says, do, column)

    def _laid_out(self) -> None:
        """What cannot be printed is told here, where it is written, and not where the page is made."""
        told = {problem.place.line for problem in self.problems}
        for lines in self.found.values():
            text = "\n".join(BOX.sub(lambda box: "0 mm" if box[1] == "size" else "", line) for _, line in lines)
            try:
                markdown_tree(text, self.file)
            except InputRefused as refused:
                for problem in refused.problems:
                    line = lines[max(problem.place.line, 1) - 1][0]
                    if line not in told:
                        self.wrong(problem.code, line, problem.says, problem.do)


def _bad_boxes(line: str) -> Iterator[tuple[int, str, str, str]]:
    """Column and code of each box of a line that cannot be used, what is wrong, and what to do."""
    known = {match.start(): match for match in BOX.finditer(line)}
    for opened in re.finditer(r"\{\{", line):
        column, match = opened.start() + 1, known.get(opened.start())
        if match is None and "}}" not in line[opened.start() :]:
            yield column, "L007", "a box is opened and not closed on the same line", "Close it with `}}`."
        elif match is None:
            do = 'Write {{ size("groove.depth") }} or {{ caution("RTG-03") }}.'
            yield column, "L007", "this box cannot be read", do
        elif match[1] == "caution" and match[2] not in CAUTIONS:
            yield column, "L004", f"there is no caution '{match[2]}'", meant(match[2], CAUTIONS)
