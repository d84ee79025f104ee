"""What has a usual cause by its size is asked as it comes in: the error signatures of common practice, through `collect`."""

from __future__ import annotations

import re
from collections.abc import Callable
from pathlib import Path

import pytest

from course.course import Course
from course.course_folder import read_course
from rubrics.intake import collect

ROSTER = "id,name,units,piece.case\ns1,Ada Test,mm,thin\ns2,Bo Test,in,\n"
STOCK = "id,role,thickness 1\nthin,case,17.6\n"
"""Measured 17.6 where 18 is nominal, as in the story of the measured sheet."""
BLAME = re.compile(r"\b(you|your|wrongly|careless|fault|failed|forgot|cheat\w*|guilty)\b", re.IGNORECASE)


@pytest.fixture
def taken(course_folder: Callable[..., Path]) -> Callable[..., list[str]]:
    """Readings collected from one file, `size=reading` or `size/place/attempt=reading`; the questions they raise."""
    folder = course_folder(roster=ROSTER, stock=STOCK)

    def take(*rows: str, student: str = "s1") -> list[str]:
        lines = ["student,quantity,place,attempt,reading,note"]
        for row in rows:
            name, _, reading = row.partition("=")
            name, place, attempt = (*name.split("/"), "1", "1")[:3]
            lines.append(f"{student},{name},{place},{attempt},{reading},{'cut again' if attempt != '1' else ''}")
        file = folder / "readings.csv"
        file.write_text("\n".join(lines) + "\n", "utf-8")
        found = collect(read_course(folder), [file])
        assert not found.problems and found.taken.added == len(rows)
        return [f"{problem.code}: {problem.says}: {problem.do}".replace("\u00a0", " ") for problem in found.questions]

    return take


LINE = (
    "Was it cut on the wrong side of the line, or the fence set to the wrong side of the teeth? (the kerf is 3.2 mm)"
)
SHEET = "Was the sheet's nominal thickness used instead of the measured one?"
FLIPPED = (
    "Was one part turned over, so that its groove ran from the other face? "
    "(the groove is 1.0 mm off the middle, twice that is 2.0 mm)"
)

SIGNATURES = [
    # rail of the class cabinet made of sheet A: 400 - 2 x 17.6 - 3 = 361.8 wide, less two stiles of 50: 261.8
    ("both tenons", "door.rail.top.shoulder=241.8",
     "C107: s1, door.rail.top.shoulder: 241.8 where 261.8 mm is expected: "
     "Were both tenons left out of the length? (two tenons of 10.0 mm are 20.0 mm)"),
    ("one tenon, or a centimetre", "door.rail.top.shoulder=251.8",
     "C100: s1, door.rail.top.shoulder, place 1: 251.8 where about 261.8 mm is expected: "
     "One centimetre off: burned centimetre? Or: Was one tenon left out of the length? (one tenon is 10.0 mm)"),
    ("kerf", "door.rail.top.shoulder=258.6",
     f"C107: s1, door.rail.top.shoulder: 258.6 where 261.8 mm is expected: {LINE}"),
    ("turned over", "door.groove.front_lip=7.0",
     f"C107: s1, door.groove.front_lip: 7.0 where 5.0 mm is expected: {FLIPPED}"),
    ("nominal sheet, width of the dado", "divider.dado.1_left.width=17.9",
     f"C107: s1, divider.dado.1_left.width: 17.9 where 17.5 mm is expected: {SHEET} (nominal 18.0 mm, measured 17.6 mm)"),
    ("an inch", "divider.upper.width=390.2",
     "C100: s1, divider.upper.width, place 1: 390.2 where about 364.8 mm is expected: One inch off: burned inch?"),
    ("a hundred", "divider.upper.width=264.8",
     "C100: s1, divider.upper.width, place 1: 264.8 where about 364.8 mm is expected: Exactly 100.0 off: retype?"),
    ("two digits", "divider.upper.width=346.8",
     "C100: s1, divider.upper.width, place 1: 346.8 where about 364.8 mm is expected: Two digits exchanged: 364.8 meant?"),
    ("inches for mm", "divider.upper.width=14.3",
     "C105: s1, divider.upper.width, place 1: 14.3 is less than a quarter of what is expected, about 364.8 mm: 14.3 looks "
     "like inches: 363.2 mm meant? It is kept and left out. Confirm it with `fairfit confirm`, or read it again."),
]  # fmt: skip


@pytest.mark.parametrize(("row", "says"), [case[1:] for case in SIGNATURES], ids=[case[0] for case in SIGNATURES])
def test_each_signature_is_asked_about_as_it_comes_in(taken, row: str, says: str):
    """The question names the reading, what was expected, and what usually leaves such a difference, with its figures."""
    assert taken(row) == [says]


LENGTHS = [
    ("nominal sheet", "divider.divider.1.length", "376.0", f"{SHEET} (nominal 18.0 mm, measured 17.6 mm, twice the difference is 0.8 mm)"),
    ("housings left out", "divider.divider.1.length", "364.8", "Were the dadoes left out of the length? (the dadoes add 12.0 mm)"),
    ("dado depth counted twice", "divider.divider.1.length", "388.8", "Were the dadoes counted twice? (the dadoes add 12.0 mm)"),
]  # fmt: skip


@pytest.mark.parametrize(("quantity", "reading", "asks"), [case[1:] for case in LENGTHS], ids=[case[0] for case in LENGTHS])
def test_a_length_that_a_course_has_read_is_asked_about_too(course_of, quantity: str, reading: str, asks: str):
    """Story 2: the horizontals of sheet A are 376.8; 376.0 is the nominal sheet, 12 more or less are its housings."""
    from fractions import Fraction

    from course.readings import Reading
    from rubrics.signatures import bands, signatures

    course = course_of(roster=ROSTER, stock=STOCK)
    course.log.add([Reading("s1", quantity, 1, 1, reading, Fraction(reading))])
    course.fresh()
    (found,) = signatures(course, course.student("s1"), course.log.readings("s1"), bands(course))
    assert (found.expected, found.asks[0].replace("\u00a0", " ")) == (Fraction("376.8"), asks)


def test_rails_that_were_sized_before_the_stiles_were_read(taken):
    """Stiles of 49.6 each make the rail 262.6: one cut to the plan's stiles is 0.8 short, twice the stiles' error."""
    assert taken("door.stile.left.width=49.6", "door.stile.right.width=49.6", "door.rail.top.shoulder=261.8")[-1] == (
        "C107: s1, door.rail.top.shoulder: 261.8 where 262.6 mm is expected: Were the rails sized before the stiles were "
        "read? (the stiles are 49.6 mm and 49.6 mm, planned 50.0 mm each)"
    )


def test_a_nudge_that_went_to_both_cheeks(taken):
    """Story 3: a tenon 0.25 thick, moved by all of it on both cheeks, comes out 0.25 thin."""
    first = taken("door.groove.width=6.10", "door.tenon.thickness/1/1=6.25")
    second = taken("door.tenon.thickness/1/2=5.75")
    assert first == []
    assert second == [
        "C107: s1, door.tenon.thickness: 5.75 where 6.0 mm is expected: Was the change of the set-up applied to both "
        "cheeks? (it was 0.25 mm off before, and twice that has changed)"
    ]


def test_a_size_that_grows_along_the_part(taken):
    """A groove of 5.9, 6.05 and 6.2 grows by more than its band of 0.2; one that only scatters does not."""
    assert taken("door.groove.width/1=5.9", "door.groove.width/2=6.05", "door.groove.width/3=6.2") == [
        "C107: s1, door.groove.width: 5.9 where 6.0 mm is expected: Was the fence not parallel, or the stock tapered? "
        "(it goes from 5.9 mm to 6.2 mm along the part)"
    ]
    assert taken("back.groove.width/1=6.05", "back.groove.width/2=5.9", "back.groove.width/3=6.1") == []


def test_a_line_of_the_rule_in_inches(taken):
    """A rail of 261.0 is about 10 9/32 in: 10 7/32 is a sixteenth less."""
    (said,) = taken("door.rail.top.shoulder=10 7/32", student="s2")
    assert said.endswith("Was a line of the rule miscounted? (a sixteenth is 0.062 in, an eighth 0.125 in)")


def test_a_sheet_that_repeats_its_targets_is_asked_about_with_its_chance(taken, course_folder):
    """Every reading on its target: the chance of it is on the page, and nobody is called anything."""
    folder = course_folder(roster=ROSTER, stock=STOCK)
    course = read_course(folder)
    values = course.values(course.student("s1"))
    names = [
        f"{frame}.{part}" for frame in ("door", "back")
        for part in ("groove.width", "groove.front_lip", "panel.tongue", "panel.front_rabbet", "rail.top.shoulder",
                     "rail.bottom.shoulder", "stile.left.width", "stile.right.width")
    ]  # fmt: skip
    (said,) = taken(*(f"{name}={float(values.number(name))}" for name in names))
    assert said.startswith("C106: s1: 16 of 16 readings are exactly what the sheet asked for: Were they measured")
    assert re.search(r"once in [\d,]+ sheets", said)


def test_nothing_is_asked_within_the_band(taken):
    """A rail 0.3 short, a groove 0.1 wide: ordinary work."""
    assert taken("door.rail.top.shoulder=261.5", "door.groove.width=6.1") == []


def test_what_has_a_cause_counts_all_the_same(taken, course_folder):
    """A rail without its tenons may well be so: it is kept, and what follows uses it."""
    taken("door.rail.top.shoulder=241.8")
    course: Course = read_course(course_folder(roster=ROSTER, stock=STOCK))
    assert course.values(course.student("s1")).number("door.rail.top.shoulder") == pytest.approx(241.8)


def test_never_more_than_three_and_never_an_accusation(taken):
    """Whatever is asked: at most three questions with their figures, and none speaks of a person."""
    sizes = {"door.rail.top.shoulder": 261.8, "back.groove.front_lip": 5, "divider.upper.width": 364.8}
    asked = [
        line
        for attempt, off in enumerate((-25.4, -20, -12, -10, -3.2, -0.8, 2, 10, 12, 100), 1)
        for name, size in sizes.items()
        if size + off > 0
        for line in taken(f"{name}/1/{attempt}={size + off:.1f}")
        if "C105" not in line
    ]
    assert len(asked) > 10
    for line in asked:
        assert 1 <= line.count("?") <= 3
        assert not BLAME.search(line)
