"""Fit classes: every limit of a check has a name and a source, and a course may take others."""

from __future__ import annotations

import csv
from pathlib import Path

import pytest

from course.course_folder import read_course
from rubrics.check_files import read_checks
from rubrics.checks import checks_of
from rubrics.fit_classes import FILE, STATUSES, read_fit_classes
from shared.problems import InputRefused
from shared.units import INCH, length


def test_every_limit_of_a_built_in_check_is_that_of_a_named_class(course_of):
    """No check file of the program writes limits of its own, and each class says where its limits come from."""
    classes = read_fit_classes(None, [])
    asked = [item.band for spec in read_checks().definitions for item in spec.items if item.kind != "measure"]
    assert asked and all((classes[b.fit].lower, classes[b.fit].upper) == (b.lower, b.upper) for b in asked)
    assert all(each.source and each.status in STATUSES for each in classes.values())
    assert all(check.source == classes[check.fit].source for check in checks_of(course_of()))


def test_every_class_said_to_be_published_has_the_limits_that_its_source_prints():
    """`published/fit_classes.csv` has each of them, and no other, with its source: nothing from memory is called so."""
    with (Path(__file__).parents[1] / "published" / "fit_classes.csv").open(encoding="utf-8", newline="") as file:
        printed = {row["fit class"]: row for row in csv.DictReader(file)}
    classes = {name: each for name, each in read_fit_classes(None, []).items() if each.status == "published"}
    assert classes.keys() == printed.keys()
    for name, each in classes.items():
        row = printed[name]
        assert (each.lower, each.upper) == (length(row["lower"]) if row["lower"] else None, length(row["upper"]))
        assert each.source.partition(":")[0] == row["source"].partition(":")[0]


def with_classes(course_folder, text: str):
    folder = course_folder()
    (folder / FILE).write_text(text, "utf-8")
    return checks_of(read_course(folder))


def test_a_course_replaces_a_class_and_every_check_that_names_it_follows(course_folder, course_of):
    """`shoulder` at 1/64 in moves shoulders and stile widths with their source; nothing else is touched."""
    own = "shoulder: {lower: -1/64 in, upper: 1/64 in, source: our shop, status: our choice}\n"
    before, after = checks_of(course_of()), with_classes(course_folder, own)
    moved = {check.what for check in after if check.source == "our shop"}
    assert moved == {"shoulder to shoulder", "stile width"}
    for old, new in zip(before, after, strict=True):
        limits = (-INCH / 64, INCH / 64, "our shop") if old.fit == "shoulder" else (old.lower, old.upper, old.source)
        assert (new.id, new.fit, (new.lower, new.upper, new.source)) == (old.id, old.fit, limits)


def test_a_course_names_another_class_or_writes_limits(course_of):
    """The source follows: that of the class that is named, or course.yaml."""
    course = course_of(course="title: T\nid: t\nbands:\n  shoulder: {fit: school award parts}\n"
                       "  '*.tenon.clearance': {lower: 0 mm, upper: 0.2 mm}\n")  # fmt: skip
    found = {check.id: (check.fit, check.source) for check in checks_of(course)}
    assert found["door.rail.top.shoulder"] == ("school award parts", read_fit_classes(None, [])["school award parts"].source)
    assert found["door.tenon.clearance"] == ("", "course.yaml")


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("ours: 3", "fit_classes.yaml:1:7: B065: 'ours' has no limits\n"
         "    Write `upper:` below it, `lower:` where there is one, and `source:`."),
        ("ours: {source: us}", "fit_classes.yaml:1:7: B065: 'ours' has no upper limit\n    Write `upper:` with its unit."),
        ("ours: {upper: 1 mm}", "fit_classes.yaml:1:7: B065: 'ours' does not say where its limits come from\n"
         "    Write `source:`."),
        ("ours: {upper: 1, source: us}", "fit_classes.yaml:1:15: B065: '1' has no unit; write '1 mm' or '1 in'\n"
         "    Write the limit with its unit, as in 0.3 mm."),
        ("ours: {upper: 1 mm, lower: 2 mm, source: us}", "fit_classes.yaml:1:7: B065: the lower limit of 'ours', 2.0 mm, "
         "is not below its upper limit, 1.0 mm\n    Exchange the two, or mend one."),
        ("ours: {uper: 1 mm, source: us}", "fit_classes.yaml:1:8: B065: a fit class has no 'uper'\n"
         "    Did you mean 'upper'?"),
        ("ours: {upper: 1 mm, source: us, status: printed}", "fit_classes.yaml:1:7: B065: status of 'ours' is 'printed'\n"
         "    Known are: common practice, our choice, published."),
    ],
)  # fmt: skip
def test_a_class_that_cannot_be_used_is_told(course_folder, text: str, says: str):
    """Each fault with its line, once, in these words."""
    with pytest.raises(InputRefused) as caught:
        with_classes(course_folder, text + "\n")
    assert [str(problem).replace("\u00a0", " ") for problem in caught.value.problems].count(says) == 1
