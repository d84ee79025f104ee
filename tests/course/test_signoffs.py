"""Who may use which machine: lesson, test, demonstration, permission, in this order (published safety passport)."""

from __future__ import annotations

import pytest

from shared.problems import InputRefused

HEAD = "student,machine,lesson,test,score,demonstration,permission,by,withdrawn\n"
FULL = "s1,table saw,2026-09-01,2026-09-02,100,2026-09-03,2026-09-04,RS,\n"


def permission(course_of, row: str, machine: str = "table saw"):
    course = course_of(signoffs=HEAD + row)
    return course.permission(course.student("s1"), machine)


def test_all_four_steps_give_permission(course_of):
    """Lesson, test, demonstration and permission before the day of issue: allowed."""
    assert permission(course_of, FULL).allowed


@pytest.mark.parametrize(
    ("row", "missing"),
    [
        ("s1,router table,2026-09-01,,,,,RS,\n", "no lesson on record"),
        ("s1,table saw,2026-09-01,,,,,RS,\n", "no test on record"),
        ("s1,table saw,2026-09-01,2026-09-02,90,2026-09-03,2026-09-04,RS,\n", "test score 90, 100 needed"),
        ("s1,table saw,2026-09-01,2026-09-02,100,,,RS,\n", "no demonstration on record"),
        ("s1,table saw,2026-09-01,2026-09-02,100,2026-09-03,,RS,\n", "no permission on record"),
        ("s1,table saw,2026-09-01,2026-09-02,100,2026-09-03,2026-10-06,RS,\n", "no permission on record"),
        (FULL.replace("RS,", "RS,2026-10-01"), "withdrawn on 2026-10-01"),
        (FULL.replace("2026-", "2024-"), "permission of 2024-09-04 is older than 365 days: refresher needed"),
    ],
)
def test_a_missing_step_is_named(course_of, row: str, missing: str):
    """Anything less is refused, and the missing step is named."""
    found = permission(course_of, row)
    assert (found.allowed, found.missing) == (False, missing)


def test_a_machine_the_shop_lacks_is_never_allowed(course_of):
    """A machine that is not listed in the shop gets no permission, whatever is recorded elsewhere."""
    found = permission(course_of, FULL, "planer")
    assert (found.allowed, found.missing) == (False, "the shop has no planer")


@pytest.mark.parametrize(
    ("row", "says"),
    [
        (
            "s9,table saw,,,,,,,\n",
            "signoffs.csv:2:1: A002: no student 's9' is on the roster\n    Known are: s1, s2.",
        ),
        (
            "s1,tabel saw,,,,,,,\n",
            "signoffs.csv:2:2: A003: the shop has no machine 'tabel saw'\n    Did you mean 'table saw'?",
        ),
        ("s1,table saw,1 Sept,,,,,,\n", "signoffs.csv:2:3: A004: '1 Sept' is not a date\n    Write it as 2026-09-14."),
        (
            "s1,table saw,2026-09-01,,,2026-09-03,,,\n",
            "signoffs.csv:2:7: A005: the demonstration is dated but the test is missing\n"
            "    Record the test, or take the demonstration out.",
        ),
        (
            "s1,table saw,2026-09-05,2026-09-02,100,,,,\n",
            "signoffs.csv:2:7: A006: the test of 2026-09-02 comes before the lesson of 2026-09-05\n"
            "    The order is lesson, test, demonstration, permission.",
        ),
    ],
)
def test_a_wrong_record_is_refused_in_words(course_of, row: str, says: str):
    """A record that cannot be is refused with its cell."""
    with pytest.raises(InputRefused) as refused:
        course_of(signoffs=HEAD + row)
    assert str(refused.value) == says


def test_a_step_after_the_course_is_refused(course_of):
    """A date after the end of the course is a slip of the year."""
    with pytest.raises(InputRefused, match="A007: the permission of 2027-09-04 is after the course ends on 2026-12-11"):
        course_of(
            course="title: x\ndate: 2026-10-05\nends: 2026-12-11\nshop: {machines: [table saw]}\n",
            signoffs=HEAD + FULL.replace("2026-09-04", "2027-09-04"),
        )


def test_a_missing_column_is_refused(course_of):
    """Who and which machine must be there; the other steps may be added later."""
    with pytest.raises(InputRefused) as refused:
        course_of(signoffs="student,lesson\ns1,2026-09-01\n")
    assert str(refused.value) == (
        "signoffs.csv:1:1: A001: the column 'machine' is missing\n"
        "    The columns are student, machine, lesson, test, score, demonstration, permission, by, withdrawn."
    )
