"""What an instructor is told when a course folder cannot be used: where, what, and what to do."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from course.course_folder import read_course
from shared.problems import InputRefused

CASES = yaml.safe_load((Path(__file__).parents[1] / "cases" / "course.yaml").read_text("utf-8"))


@pytest.mark.parametrize("name", CASES)
def test_refused_in_these_words(course_folder, name: str):
    """Each fault is refused in exactly the words of its case."""
    case = CASES[name]
    folder = course_folder()
    path = next(folder.glob(f"{case['file']}.*"))
    text = path.read_text("utf-8")
    assert case["old"] in text
    path.write_text(text.replace(case["old"], case["new"], 1), "utf-8")
    with pytest.raises(InputRefused) as refused:
        read_course(folder)
    said = str(refused.value).replace("\u00a0", " ")
    expected = case["says"].rstrip("\n")
    assert said.startswith(expected) if case.get("first") else said == expected, said


def test_all_faults_are_told_at_once(course_folder):
    """Faults of plan, roster and course file come together, in the order of the files."""
    folder = course_folder(
        course="titel: x\n", plan="title: x\nunit: mm\nassemblies: {case: {kind: box}}\n", roster="id,nme\n"
    )
    with pytest.raises(InputRefused) as refused:
        read_course(folder)
    assert [(p.place.file, p.code) for p in refused.value.problems] == [
        ("course.yaml", "P002"),
        ("plan.yaml", "P008"),
        ("roster.csv", "R001"),
    ]


def test_a_plan_without_assemblies_is_refused(course_of):
    """Stock alone makes no cabinet."""
    with pytest.raises(InputRefused) as refused:
        course_of(plan="title: Nothing yet\nunit: mm\nstock: {case: {form: sheet, thickness: 18}}\n")
    assert str(refused.value) == "plan.yaml:1:1: P004: the plan has no assemblies\n    Add `assemblies:` with a carcass."


def test_dividers_without_openings_are_refused(course_of, class_plan):
    """They do not say what they divide; what is missing is shown."""
    with pytest.raises(InputRefused) as refused:
        course_of(plan=class_plan.replace("    openings: {lower: 120, upper: rest}\n", ""))
    assert (
        "plan.yaml:16:3: P016: 'divider' does not say its openings\n    Write `openings: {lower: 120 mm, upper: rest}`."
    ) in str(refused.value)


KIND = """kind: peg board
says: A board with pegs.
in: opening
stock: {board: case}
parameters:
  peg: {default: 10 mm, says: length of a peg}
parts:
  plate: {title: plate, mark: B, stock: board, length: opening.width, width: opening.height}
rules:
  - must: peg <= 100 mm
    says: the pegs are too long
    do: Shorten them.
"""


@pytest.mark.parametrize(
    ("old", "new", "says"),
    [
        ("parts:", "quantities: {peg: 12 mm}\nparts:",
         "kinds/peg_board.yaml:7:14: K002: two things are called 'pegs.peg'\n    Give one of them another name."),
        ("peg <= 100 mm", "pig <= 100 mm",
         "kinds/peg_board.yaml:10:5: K003: the rule 'pig <= 100 mm': there is no quantity 'pig' here\n"
         "    Check the names in it."),
        ("mark: B", "mrk: B", "kinds/peg_board.yaml:8:25: K001: the part 'plate' has no 'mrk'\n    Did you mean 'mark'?"),
    ],
)  # fmt: skip
def test_a_kind_of_a_course_is_refused_in_these_words(course_folder, class_plan, old: str, new: str, says: str):
    """A name used twice, a rule about what is not there, a word that no part has."""
    folder = course_folder(plan=class_plan + "  pegs: {kind: peg board, in: divider.lower, stock: {board: case}}\n")
    (folder / "kinds").mkdir()
    (folder / "kinds" / "peg_board.yaml").write_text(KIND, "utf-8")
    assert "pegs.plate" in {part.name for part in read_course(folder).cabinet.parts}
    assert old in KIND
    (folder / "kinds" / "peg_board.yaml").write_text(KIND.replace(old, new), "utf-8")
    with pytest.raises(InputRefused) as refused:
        read_course(folder)
    assert says in str(refused.value)


def test_a_missing_folder_is_named(tmp_path):
    """A folder that is not there is refused with its path."""
    with pytest.raises(InputRefused) as refused:
        read_course(tmp_path / "nowhere")
    assert "P000: there is no such folder" in str(refused.value)


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("student,what\ns1,D-RT\n", "made.csv:1:1: R020: the column 'by' is missing\n    The columns are student, what, by."),
        ("student,what,by\ns3,D-RT,me\n",
         "made.csv:2:1: R021: no student 's3' is on the roster\n    Known are: all, s1, s2."),
        ("student,what,by\nall,door.grove,me\n",
         "made.csv:2:2: R022: the cabinet has no part or size 'door.grove'\n    Did you mean 'door.groove' or 'door.reveal'?"),
        ("student,what,by\ns1,D-RT,\n",
         "made.csv:2:3: R023: who made door.rail.top is not said\n    "
         "Write who made it, as in instructor or partner s02."),
    ],
)  # fmt: skip
def test_what_cannot_be_said_of_other_peoples_work(course_of, text: str, says: str):
    """Each fault of made.csv in its words."""
    with pytest.raises(InputRefused) as refused:
        course_of(made=text)
    assert str(refused.value) == says


@pytest.mark.parametrize("name", ["=1+1", "<script>alert(1)</script>", "{{ 7 * 7 }}", "Zo\u00eb \U0001f600"])
def test_a_strange_name_is_kept_as_text(course_of, name: str):
    """A name that looks like a formula, a tag, a template or holds an emoji is a name."""
    course = course_of(roster=f'id,name\ns1,"{name}"\n')
    assert course.students[0].name == name
