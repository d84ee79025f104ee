"""A kind or joint of a course's own whose names lead nowhere is refused in words, before anything is built."""

from __future__ import annotations

from importlib.resources import files

import pytest

from course.course_folder import read_course
from course.kind_faults import faults
from course.kinds import read_library
from shared.places import Unreadable
from shared.problems import InputRefused


def changed(course_folder, name: str, old: str, new: str, folder: str = "kinds") -> str:
    """What a course is refused with whose copy of a built-in file says something else."""
    course, text = course_folder(), files("course").joinpath(folder, f"{name}.yaml").read_text("utf-8")
    assert old in text
    (course / folder).mkdir(exist_ok=True)
    (course / folder / f"{name}.yaml").write_text(text.replace(old, new, 1), "utf-8")
    with pytest.raises(InputRefused) as caught:
        read_course(course)
    return str(caught.value)


@pytest.mark.parametrize(
    ("name", "old", "new", "says"),
    [
        ("loose_shelf", "kind: loose shelf\n", "",
         "kinds/loose_shelf.yaml:1:1: K004: a kind has no name\n    Write `kind:` and its name."),
        ("loose_shelf", "kind: loose shelf", "kind loose shelf",
         "kinds/loose_shelf.yaml:2:5: K001: the file is not valid YAML: there is a colon too many, or the line "
         "begins further in than the one above\n    Check indentation, colons and quotes, here and in the line above."),
        ("loose_shelf", "mark: H, stock: case", "mark: H, stock: cse",
         "K004: the kind 'loose shelf': the part 'board' is of the stock 'cse', which is not "
         "under `stock:`\n    Did you mean 'case'?"),
        ("loose_shelf", "on: [board], says: cut", "on: [bord], says: cut",
         "K004: the kind 'loose shelf': the feature 'blank' is on 'bord', and there is no such "
         "part\n    Did you mean 'board'?"),
        ("dividers", "between: space", "between: spaces",
         "K004: the kind 'dividers': the list 'divider' goes by 'spaces', and there is no such "
         "list above it\n    Did you mean 'space'?"),
        ("dividers", "male: [divider]", "male: [dividers]",
         "K004: the kind 'dividers': the joint 'housing' is on 'dividers', and there is no such "
         "part\n    Did you mean 'divider'?"),
        ("dividers", "allowed: [dado, dowels]", "allowed: [dowels, dado, biscuits]",
         "K004: the kind 'dividers': the joint 'housing' may be 'biscuits', and there is no joint "
         "of that name\n    Known are: "),
        ("dividers", "allowed: [dado, dowels]", "allowed: [dowels]",
         "K004: the kind 'dividers': the joint 'housing' is 'dado' by default, which is not "
         "allowed\n    Known are: dowels."),
        ("dividers", "male: [divider]", "male: []",
         "K004: the kind 'dividers': the joint 'housing' does not say which parts it joins\n    "
         "Write `male: [top, bottom]` and `female: {left: side.left, right: side.right}` with its own parts."),
        ("dividers", "divider.*: {title", "dividr.*: {title",
         "K004: the kind 'dividers': 'dividr.*' is one of each 'dividr', and there is no such "
         "list\n    Did you mean 'divider'?"),
        ("dividers", "  divider: {between: space}", "  divider: {says: x}",
         "K004: the kind 'dividers': the list 'divider' has no members\n"
         "    Write `divider: [left, right]`, or `plan:`, `between:` or `per:`."),
        ("dividers", ", bottom: divider, top: divider", ", bottom: divider",
         "K004: the kind 'dividers': the opening 'space.*' has no wall top\n"
         "    Write `walls: {left: ..., right: ..., bottom: ..., top: ...}` with the parts around it."),
        ("dividers", ", bottom: divider, top: divider", ", bottom: divider, top: ceiling",
         "K004: the kind 'dividers': the opening 'space.*' has 'ceiling' top, and there is no "
         "such part\n    Known are: divider, opening.bottom, "),
        ("carcass", "  back:\n    says", "  ba ck:\n    says",
         "K004: the kind 'carcass': 'ba ck' cannot be a name\n"
         "    Use small letters, digits, _ and points, as in rail.*.shoulder."),
    ],
)  # fmt: skip
def test_a_name_of_a_kind_that_leads_nowhere(course_folder, name: str, old: str, new: str, says: str):
    """Each in its own words, with the nearest name that there is."""
    said = changed(course_folder, name, old, new)
    assert says in said


def test_a_joint_without_a_name(course_folder):
    """A joint file that lost its first line is told itself, and so is the joint that is missing now."""
    said = changed(course_folder, "dado", "joint: dado\n", "", folder="joints")
    assert "joints/dado.yaml:1:1: K004: a joint has no name\n    Write `joint:` and its name." in said
    assert "the joint 'housing' may be 'dado', and there is no joint of that name" in said


def test_a_feature_of_a_joint_is_on_one_of_its_sides(course_folder):
    """A joint knows the part that goes in and the one it goes into, and no others."""
    said = changed(course_folder, "dado", "{on: female", "{on: femal", folder="joints")
    assert said == (
        "joints/dado.yaml:1:1: K004: the joint 'dado': the feature 'dado' is on 'femal'\n"
        "    Did you mean 'female' or 'male'?"
    )


def test_every_built_in_kind_is_sound():
    """What comes with the program has no name that leads nowhere."""
    assert not list(faults(read_library()))


def test_a_kind_that_is_no_text_is_refused_with_its_line(tmp_path):
    """A file in another character set is named with the line of the first letter that is not UTF-8."""
    (tmp_path / "kinds").mkdir()
    (tmp_path / "kinds" / "box.yaml").write_bytes("kind: box\nsays: Kästchen\n".encode("cp1252"))
    with pytest.raises(Unreadable) as caught:
        read_library(tmp_path)
    assert str(caught.value.place) == "kinds/box.yaml:2"


def test_a_courses_own_kind_of_the_same_name_wins_whatever_its_file_is_called(course_folder):
    """A file that sorts before the built-in one replaces its kind all the same."""
    course, text = course_folder(), files("course").joinpath("kinds", "loose_shelf.yaml").read_text("utf-8")
    (course / "kinds").mkdir()
    (course / "kinds" / "a_shelf.yaml").write_text(text.replace("default: 1 mm", "default: 3 mm"), "utf-8")
    assert read_course(course).plan_values["shelf.end_gap"] == 3
