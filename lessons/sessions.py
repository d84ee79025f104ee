"""The sessions of a course: which sheets are worked on in which, and who is not there.

What is done in a session stands under `plan` in `course.yaml`; without it the sheets are spread evenly over the
sessions.
"""

from __future__ import annotations

from collections.abc import Iterator

from course.course import Course
from course.roster import Student
from lessons.packet import Lessons
from shared.places import Place
from shared.problems import Problem, meant


def session_number(course: Course, text: str) -> int | None:
    """The number of a session given by number or date; None when there is no such session."""
    known = {str(number): number for number in range(1, len(course.sessions) + 1)}
    return (known | {date: number for number, date in enumerate(course.sessions, 1)}).get(text)


def sheets_of(course: Course, lessons: Lessons, session: int) -> tuple[int, ...]:
    """Numbers of the sheets that are worked on in a session."""
    if course.planned:
        named = lessons.named()
        wanted = (named.get(item.text.strip().lower()) for item in course.planned.get(str(session), ()))
        return tuple(dict.fromkeys(number for number in wanted if number))
    count, sessions = len(lessons.sheets), len(course.sessions)
    return tuple(range((session - 1) * count // sessions + 1, session * count // sessions + 1))


def session_problems(course: Course, lessons: Lessons) -> Iterator[Problem]:
    """Operations planned for a session that the cabinet does not need, and absences from sessions there are not."""
    names = [sheet[0].operation.name for sheet in lessons.sheets]
    for items in course.planned.values():
        for item in items:
            if item.text.strip().lower() not in lessons.named():
                says = f"plan names '{item.text}', and this cabinet has no such operation"
                yield Problem("L050", item.place, says, meant(item.text, names))
    for student in course.students:
        for text in student.absent:
            if session_number(course, text) is None:
                says = f"{student.id} is absent from session '{text}', and there are {len(course.sessions)} sessions"
                do = "Write the number or the date of a session, as listed in course.yaml."
                yield Problem("L051", Place("roster.csv", student.place.line), says, do)


def missed_by(course: Course, student: Student) -> frozenset[int]:
    """The numbers of the sessions from which a student is absent."""
    return frozenset(number for text in student.absent if (number := session_number(course, text)))
