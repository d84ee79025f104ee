"""All documents of a class, written into the course's folder `out`."""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from course.absurd import absurd
from course.changes import edited
from course.course import Course
from course.roster import Student
from lessons.catch_up import catch_up
from lessons.class_flow import class_flow, flow_problems, session_plan
from lessons.class_sheets import class_sheets
from lessons.fresh import OUT, Made, folder, inputs
from lessons.instructor import instructor_copy
from lessons.packet import Lessons, Only, file_name, packet, read_lessons, sheet_named
from lessons.print_file import in_bench_order, joined
from lessons.seasons import seasons_sheet
from lessons.sessions import session_problems
from rubrics.class_sheet import write_class_sheets
from rubrics.sheet import write_sheet
from shared.places import Place
from shared.problems import InputRefused, Problem, meant, refuse
from shared.render.document import Document
from shared.render.files import safe_name, write_file
from shared.render.html import write_html
from shared.render.press import Press


@dataclass(frozen=True, slots=True)
class Prepared:
    """What was written, and what needs attention."""

    written: tuple[Path, ...]
    problems: tuple[Problem, ...]
    kept: tuple[Path, ...] = ()
    """Files of packets that would be made again just as they are."""


def prepare_course(
    course: Course, student: str = "", operation: str = "", told: Callable[[str], None] = lambda name: None,
    print_file: bool = False, read_from: str = "", stage: str = "",
) -> Prepared:  # fmt: skip
    """Write a packet, a measuring workbook and a catch-up page for each student, and the sheets of the class.

    What cannot be made is reported; everything else is made.

    Args:
        course: As read.
        student: Only this student, by id or name, and no class sheets; empty for all.
        operation: Only the sheet of this operation, by name or title, and nothing else; empty for whole packets.
        told: Called with the name of each student when his or her papers are written.
        print_file: Also write all packets as one PDF in the order of the benches.
        read_from: The sum over the course folder (`fresh.folder`) from before it was read; then packets from which
            nothing differs are left as they are. Empty to make all.
        stage: Only the sheets and fit checks of this stage of the job, and nothing else; empty for whole packets.

    Raises:
        InputRefused: No such student, operation or stage, or the folder cannot be written to.
    """
    lessons = read_lessons(course)
    only = _only(lessons, operation, stage)
    flow = class_flow(course, lessons)
    problems: list[Problem] = [
        *course.notes, *lessons.problems, *session_problems(course, lessons), *flow_problems(course, lessons),
        *edited(course, in_full=False),
    ]  # fmt: skip
    written: list[Path] = []
    kept: list[Path] = []
    made = Made.of(course)
    students = (course.student(student),) if student else course.students
    problems += (problem for person in students for problem in absurd(course, person))
    with Press(len(students)) as press:
        desk = _Desk(course, press, problems, written)
        for one in students:
            name = f"{file_name(one)}-{safe_name(only.name)}" if only else file_name(one)
            made_of = inputs(course, one, only.name if only else "", read_from) if read_from else ""
            if read_from and made.is_fresh(name, made_of):
                kept += made.files(name)
            else:
                _papers(desk, one, lessons, only, name)
                desk.then(_noted(made, name, made_of))
            missed = None if only else catch_up(course, one, lessons, flow)
            if missed:
                desk.put(Path("catch-up") / name, missed)
            desk.then(_said(told, one.name))
        if not student and not only:
            for sheet in (*class_sheets(course, lessons), seasons_sheet(course, lessons)):
                desk.put(Path("class") / sheet.file_name, sheet.document)
            desk.put(Path("class") / "instructor", instructor_copy(course, lessons))
            if course.sessions:
                desk.put(Path("class") / "sessions", session_plan(flow))
        desk.clear()
    if not student and not only:
        try:
            written += write_class_sheets(course, course.folder / OUT / "sheets")
        except InputRefused as refused:
            problems += refused.problems
    if print_file:
        written.append(_print_file(course, only, {*written, *kept}))
    if read_from and read_from == folder(course.folder):
        made.save()
    return Prepared(tuple(written), tuple(dict.fromkeys(problems)), tuple(kept))


Word = Callable[[list[Path], bool], None]
"""What is done with the files of some papers, and whether nothing was wrong with them."""


@dataclass(slots=True)
class _Desk:
    """Papers in the order in which they were begun; what cannot be printed is reported and its HTML still written."""

    course: Course
    press: Press
    problems: list[Problem]
    written: list[Path]
    waiting: deque[Callable[[], object]] = field(default_factory=deque)
    """What is to be done in turn, once the PDF before it is there."""
    setting: int = 0
    """How many PDFs are waited for."""
    since: int = 0
    """Files written before the papers that the next word is about."""
    whole: bool = True
    """Whether nothing was wrong with those."""

    def put(self, name: Path, document: Document) -> None:
        """Begin a document.

        Args:
            name: Within the folder `out`, without ending.
            document: In the program's words; it is set in the course's.
        """
        path, worded = self.course.folder / OUT / name, self.course.wording.document(document)
        html = write_file(path.with_name(f"{path.name}.html"), write_html(worded))
        pdf = self.press.set(worded)
        self.setting += 1
        self.waiting.append(lambda: self._fetch(html, pdf))
        while self.setting > self.press.room:
            self.waiting.popleft()()

    def file(self, path: Path) -> None:
        """Count a file that is written already."""
        self.waiting.append(lambda: self.written.append(path))

    def told(self, problems: Sequence[Problem]) -> None:
        """Report problems of the papers that were begun last."""
        self.waiting.append(lambda: self._wrong(problems))

    def then(self, word: Word) -> None:
        """Say what came of the papers since the last word: their files, and whether nothing is wrong with them."""
        self.waiting.append(lambda: self._worded(word))

    def clear(self) -> None:
        """Finish what waits."""
        while self.waiting:
            self.waiting.popleft()()

    def _fetch(self, html: Path, pdf: Callable[[], bytes]) -> None:
        self.setting -= 1
        self.written.append(html)
        try:
            self.written.append(write_file(html.with_suffix(".pdf"), pdf()))
        except InputRefused as refused:
            self._wrong(refused.problems)

    def _wrong(self, problems: Sequence[Problem]) -> None:
        self.whole = self.whole and not problems
        self.problems += problems

    def _worded(self, word: Word) -> None:
        word(self.written[self.since :], self.whole)
        self.since, self.whole = len(self.written), True


def _noted(made: Made, name: str, made_of: str) -> Word:
    """Remembers what a student's papers were made from."""
    return lambda files, whole: made.remember(name, made_of if whole else "", files)


def _said(told: Callable[[str], None], name: str) -> Word:
    return lambda files, whole: told(name)


def _papers(desk: _Desk, student: Student, lessons: Lessons, only: Only | None, name: str) -> None:
    """A student's packet, and the measuring workbook with a whole one."""
    made = packet(desk.course, student, lessons, only)
    desk.told(made.problems)
    desk.put(Path("packets") / name, made.document)
    if not only:
        try:
            desk.file(write_sheet(desk.course, student, desk.course.folder / OUT / "sheets" / f"{name}.xlsx"))
        except InputRefused as refused:
            desk.told(refused.problems)


def _print_file(course: Course, only: Only | None, files: set[Path]) -> Path:
    """The packets that were made as one PDF."""
    ending = f"-{safe_name(only.name)}.pdf" if only else ".pdf"
    names = [course.folder / OUT / "packets" / f"{file_name(s)}{ending}" for s in in_bench_order(course)]
    whole = joined([path for path in names if path in files], f"{course.title}: all packets")
    return write_file(course.folder / OUT / "class" / f"all-packets{ending}", whole)


def _only(lessons: Lessons, operation: str, stage: str) -> Only | None:
    """What is printed when it is not everything."""
    if operation:
        return Only(operation=lessons.sheets[sheet_named(lessons, operation) - 1][0].operation.name)
    if not stage:
        return None
    found = list(dict.fromkeys(sheet[0].operation.stage for sheet in lessons.sheets))
    if stage.strip().lower() not in found:
        raise refuse("L033", f"this cabinet has no stage '{stage}'", meant(stage, found), Place("lessons"))
    return Only(stage=stage.strip().lower())
