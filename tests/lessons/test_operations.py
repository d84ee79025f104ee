"""Operations as files: the built-in ones, a course's own, and broken ones."""

import re

import pytest

from course.kinds import read_library
from lessons.cautions import CAUTIONS
from lessons.operation import BOX
from lessons.operation_files import fit_checks, read_operation, read_operations
from rubrics.check_files import STAGES

OPERATIONS, PROBLEMS = read_operations()
ALL = list(OPERATIONS.values())
STEPS = [(o, r, s) for o in ALL for r in o.routes.values() for s in r.steps]

GOOD = """---
operation: sharpen
number: 90
title: Sharpen the chisel
makes: [sharp]
stage: stock
after: [blank or frame_blank, owner.measured]
hold: [groove]
routes:
  hand: {station: bench, tool: stone, cautions: [chisel], minutes: 10}
setup:
  - {name: angle, is: groove.depth, where: here, why: it cuts}
reads: [groove.depth]
tools: [stone]
---
## Before you start

- The stone is flat.

## Steps by hand

1. Wet the stone.
{{ caution("CHS-01") }}
2. Hold the chisel
   steady at {{ size("groove.depth") }}.
3. Wipe it dry.

## Typical mistakes

- The stone is hollow.

## It is right when

- It shaves end grain.
"""


def problems_of(text):
    operation, problems = read_operation(text, "90_sharpen.md")
    assert operation is None
    return [str(problem) for problem in problems]


class TestBuiltIn:
    def test_all_files_can_be_read(self):
        """The built-in operations have no problem."""
        assert [str(problem) for problem in PROBLEMS] == []
        assert len(OPERATIONS) == 47

    def test_a_tool_does_not_repeat_its_station(self):
        """A page says "By: clamps, glue and brush": station and tool in one line, no word of the line twice in a row."""
        for operation in ALL:
            for route in operation.routes.values():
                named = [word.strip() for word in f"{route.station}, {route.tool}".split(",")]
                assert len(set(named)) == len(named), (operation.name, named)

    def test_every_feature_of_every_kind_and_joint_is_made_once(self):
        """Each feature has one operation; a second one says for which parts it is."""
        library = read_library()
        known = {f.name for kind in (*library.kinds.values(), *library.joints.values()) for f in kind.features}
        made = [(name, operation.parts) for operation in ALL for name in operation.makes]
        assert {name for name, _ in made} == known
        assert len(made) == len(set(made))
        assert {name for operation in ALL for name in operation.prepares} <= known

    def test_needs_name_features_that_exist(self):
        """What an operation must follow or precede is a feature of some kind or joint."""
        library = read_library()
        known = {f.name for kind in (*library.kinds.values(), *library.joints.values()) for f in kind.features}
        for operation in ALL:
            for need in (*operation.after, *operation.before):
                assert set(need.features) <= known, (operation.name, need.text)

    def test_numbers_run_in_the_order_of_the_trade(self):
        """Operations come by number, and stages of the main line do not go back."""
        numbers = [operation.number for operation in ALL]
        assert numbers == sorted(set(numbers))
        main = [STAGES.index(operation.stage) for operation in ALL if operation.number <= 38]
        assert main == sorted(main)

    def test_every_fit_check_releases_something(self):
        """Each fit check holds at least one operation, and none is unknown."""
        assert {name for operation in ALL for name in operation.hold} == set(fit_checks())

    def test_each_route_can_be_followed(self):
        """Three to seven numbered steps, in order, none longer than 45 words, and an estimate of the time."""
        for operation in ALL:
            assert operation.routes and operation.tools
            for route in operation.routes.values():
                assert 3 <= len(route.steps) <= 7 and route.minutes > 0, operation.name
        assert [step.text for _, _, step in STEPS if len(step.text.split()) > 45] == []

    def test_every_machine_has_a_way_without_it(self):
        """Where a machine is used, another route makes the same features without one."""
        for operation in ALL:
            if any(route.powered for route in operation.routes.values()):
                assert not operation.routes["hand"].powered, operation.name

    def test_machines_need_a_sign_off(self):
        """A powered route names the sign-off, a hand route none."""
        for operation in ALL:
            for route in operation.routes.values():
                assert bool(route.sign_off) == route.powered, (operation.name, route.name)

    def test_a_guard_that_comes_off_is_replaced_and_put_back(self):
        """Wherever a dado set runs, the page says what replaces the guard and that it goes back on at once."""
        found = [o for o in ALL if any("dado_table_saw" in route.cautions for route in o.routes.values())]
        assert [operation.number for operation in found] == [10, 11, 22, 23, 24, 42]
        for operation in found:
            said = " ".join(operation.routes["machine"].before_start)
            assert re.search(r"[Ff]eatherboards?.* replaces? it|A jig replaces it", said), operation.name
            assert "goes back on at once" in said, operation.name

    def test_a_new_set_up_of_the_dado_set_is_checked_by_the_instructor(self):
        """Where the dado set is set up, the danger stands before that step and the instructor looks at it."""
        for name in ("cut dadoes", "cut end rabbets", "make a test tenon", "cut the drawer rabbets"):
            step = next(s for s in OPERATIONS[name].routes["machine"].steps if "DAD-03" in s.cautions)
            assert "instructor check" in step.text

    def test_dado_set_leaves_the_saw_as_it_was(self):
        """The last user of a set-up with the dado set puts guard, fingers and riving knife back."""
        for name in (
            "cut dadoes", "cut end rabbets", "cut the tenons", "cut the tenons on the muntins", "cut the drawer rabbets",
        ):  # fmt: skip
            last = OPERATIONS[name].routes["machine"].steps[-1]
            assert last.cautions == ("DAD-05",)
            assert all(word in last.text for word in ("riving knife", "anti-kickback fingers", "guard"))

    def test_cautions_stand_before_the_step_they_belong_to(self):
        """Every powered route has at least two cautions among its steps, each of a family of the route."""
        for operation in ALL:
            for route in operation.routes.values():
                inside = [c for step in route.steps for c in step.cautions]
                assert all(c in CAUTIONS for c in inside)
                if route.powered:
                    assert len(inside) >= 2, (operation.name, route.name)

    def test_texts_use_united_states_words(self):
        """British spellings and terms are made from the table of terms, not written into the texts."""
        british = re.compile(r"\b(rebate|mitre|cramp|housing|colour|centre|neighbour|fibres?|carcase|timber|vice)s?\b")
        for operation in ALL:
            for text in operation.texts():
                assert not british.search(text), (operation.name, text)


class TestOwnFolder:
    def test_a_file_of_the_same_name_wins(self, tmp_path):
        """A course's own file replaces the built-in one; the others stay."""
        (tmp_path / "21_groove_edges.md").write_text(
            GOOD.replace("operation: sharpen", "operation: groove edges")
            .replace("number: 90", "number: 21")
            .replace("makes: [sharp]", "makes: [groove]")
        )
        operations, problems = read_operations(tmp_path)
        assert problems == ()
        assert operations["groove edges"].title == "Sharpen the chisel"
        assert len(operations) == len(OPERATIONS)

    def test_a_new_file_is_added(self, tmp_path):
        """A course may have operations of its own."""
        (tmp_path / "90_sharpen.md").write_text(GOOD)
        operations, problems = read_operations(tmp_path)
        assert problems == ()
        assert list(operations)[-1] == "sharpen"

    def test_a_broken_file_does_not_hide_the_others(self, tmp_path):
        """Both files are read; the problem names the broken one, and the built-in stands in for it."""
        (tmp_path / "21_groove_edges.md").write_text("no head")
        (tmp_path / "90_sharpen.md").write_text(GOOD)
        operations, problems = read_operations(tmp_path)
        assert [problem.place.file for problem in problems] == ["21_groove_edges.md"]
        assert "sharpen" in operations
        assert operations["groove edges"].title == "Groove the inner edges"

    def test_a_file_that_is_not_text_is_named(self, tmp_path):
        """A file in another encoding is a problem with its name."""
        (tmp_path / "90_sharpen.md").write_bytes(b"\xff\xfe\x00")
        _, problems = read_operations(tmp_path)
        assert [str(p) for p in problems] == [
            "90_sharpen.md:1: L001: the file is not UTF-8 text\n    Save it again as UTF-8; a spreadsheet calls it CSV UTF-8."
        ]

    def test_a_missing_folder_is_no_problem(self, tmp_path):
        """A course without own lessons uses the built-in ones."""
        operations, problems = read_operations(tmp_path / "lessons")
        assert problems == () and operations == OPERATIONS

    def test_two_makers_of_a_feature_are_told_apart(self, tmp_path):
        """A second operation for the same feature must say for which parts it is."""
        (tmp_path / "91_groove_again.md").write_text(GOOD.replace("makes: [sharp]", "makes: [groove]"))
        _, problems = read_operations(tmp_path)
        assert [str(p) for p in problems] == [
            "91_groove_again.md:2:1: L008: the feature 'groove' is already made by 'groove edges' in "
            "21_groove_edges.md\n    Take it out of one of them, or write `parts:` to say which parts each is for."
        ]

    def test_numbers_and_names_are_taken_once(self, tmp_path):
        """A number that is taken is a problem."""
        (tmp_path / "91_other.md").write_text(GOOD.replace("number: 90", "number: 21"))
        _, problems = read_operations(tmp_path)
        assert [p.says for p in problems] == ["the number '21' is taken by 21_groove_edges.md"]


class TestReading:
    def test_a_good_file_is_read_whole(self):
        """Steps, the cautions before them, continued lines, needs and numbers come out as written."""
        operation, problems = read_operation(GOOD, "90_sharpen.md")
        assert problems == () and operation is not None
        steps = operation.routes["hand"].steps
        assert [step.cautions for step in steps] == [(), ("CHS-01",), ()]
        assert steps[1].text == 'Hold the chisel steady at {{ size("groove.depth") }}.'
        assert BOX.search(steps[1].text).groups() == ("size", "groove.depth")
        assert [(n.relative, n.features) for n in operation.after] == [
            ("", ("blank", "frame_blank")),
            ("owner", ("measured",)),
        ]
        assert operation.setups[0].formula.place.line == 12
        assert operation.right_when == ("It shaves end grain.",)

    @pytest.mark.parametrize(
        ("old", "new", "says"),
        [
            ("---\noperation", "operation", "90_sharpen.md:1:1: L001: the file has no head between two lines `---`\n"
             "    Start the file with a line `---`, then the head, then another line `---`."),
            ("number: 90", "number: ninety", "90_sharpen.md:3:9: L003: number is 'ninety'\n"
             "    Write a whole number, as in `number: 10`."),
            ("stage: stock", "stage: stok", "90_sharpen.md:6:8: L003: stage is 'stok'\n    Did you mean 'stock'?"),
            ("stage: stock", "stages: stock",
             "90_sharpen.md:6:1: L002: the head has no 'stages'\n    Did you mean 'stage' or 'stance'?"),
            ("tools: [stone]", "tools: [stone]\nstance: {machine: {right: a, left: b}}",
             "90_sharpen.md:15:10: L002: 'stance' has no 'machine'\n    Known are: hand."),
            ("tools: [stone]", "tools: [stone]\nstance: {hand: {right: Left foot forward.}}",
             "90_sharpen.md:15:16: L002: the stance 'hand' says nothing for the left hand\n"
             "    Write `left:` and how to stand and hold."),
            ("tools: [stone]", "tools: [stone]\nstance: {hand: sideways}",
             "L003: the stance 'hand' must be `name: value` lines"),
            ("stage: stock\n", "",
             "90_sharpen.md:2:1: L002: the head has no 'stage'\n    Write `stage:` and its value."),
            ("hold: [groove]", "hold: [grove]", "90_sharpen.md:8:7: L005: there is no fit check 'grove'\n"
             "    Did you mean 'groove'?"),
            ("cautions: [chisel]", "cautions: [chisels]", "90_sharpen.md:10:49: L004: there is no family of cautions, "
             "and no caution, 'chisels'\n    Did you mean 'chisel'?"),
            ("cautions: [chisel]", "cautions: [hand_saw]", "90_sharpen.md:10:9: L004: the caution CHS-01 stands in the "
             "steps by hand, but not among its cautions\n    Add 'chisel' or 'CHS-01' to the cautions of the route."),
            ("cautions: [chisel]", "cautions: [chisel, drill_press]", "90_sharpen.md:10:9: L002: the route 'hand' uses "
             "a machine and names no sign-off\n    Write `sign_off:` and the name of the machine."),
            ("owner.measured", "ownr.measured", "90_sharpen.md:7:31: L003: 'ownr' is no relative of an assembly\n"
             "    Did you mean 'owner'?"),
            ("makes: [sharp]", "prepares: []", "90_sharpen.md:2:1: L002: an operation either makes features or "
             "prepares them\n    Write `makes:` with the features it makes, or `prepares:` with those it is done "
             "before."),
            ("makes: [sharp]", "makes: sharp", "90_sharpen.md:5:8: L003: 'makes' is not a list\n"
             "    Write `makes: [one, two]`."),
            ("where: here, ", "", "90_sharpen.md:12:5: L002: a set-up number has no 'where'\n"
             "    Write `where:` and its value."),
            ("  hand: {", "  laser: {", "90_sharpen.md:10:3: L002: 'routes' has no 'laser'\n"
             "    Known are: hand, machine, router."),
            ("## Steps by hand", "## Steps by machine", "90_sharpen.md:10:9: L006: the route 'hand' has no steps\n"
             "    Add `## Steps by hand`."),
            ("## Steps by hand", "## Steps by and", "90_sharpen.md:20:1: L006: there is no section 'Steps by and'\n"
             "    Did you mean 'Steps by hand' or "),
            ("3. Wipe it dry.\n", "", "90_sharpen.md:10:9: L006: 'Steps by hand' has 2 steps\n"
             "    Write 3 to 7 steps, numbered `1.`, `2.`, `3.`"),
            ('2. Hold the chisel\n   steady at {{ size("groove.depth") }}.\n3. Wipe it dry.\n', "", "90_sharpen.md:10:9: L006: 'Steps by hand' has 1 step\n"
             "    Write 3 to 7 steps, numbered `1.`, `2.`, `3.`"),
            ("1. Wet the stone.", "Wet the stone.", "90_sharpen.md:22:1: L006: a line in 'Steps by hand' is not part "
             "of its list\n    Begin it with a number, as in `1. `, or indent it below the line it belongs to."),
            ("## Before", "Hello.\n\n## Before", "90_sharpen.md:16:1: L006: there is text before the first section\n"
             "    Put it under a heading such as `## Before you start`."),
            ("## Typical mistakes\n\n- The stone is hollow.\n", "", "L006: the section 'Typical mistakes' is missing\n"
             "    Add `## Typical mistakes`."),
            ("- The stone is hollow.", "", "L006: the section 'Typical mistakes' is empty\n"
             "    Write lines that begin with `- `."),
            ("## Typical mistakes", "## It is right when", "L006: the section 'It is right when' stands twice\n"
             "    Keep one of the two."),
            ('depth") }}.', 'depth")', "90_sharpen.md:25:14: L007: a box is opened and not closed on the same line\n"
             "    Close it with `}}`."),
            ('size("groove.depth")', "size(groove.depth)", "90_sharpen.md:25:14: L007: this box cannot be read\n"
             '    Write {{ size("groove.depth") }} or {{ caution("RTG-03") }}.'),
            ("CHS-01", "CHS-10", "90_sharpen.md:23:1: L004: there is no caution 'CHS-10'\n"
             "    Did you mean 'CHS-05' or 'CHS-04'?"),
            ("3. Wipe it dry.", '3. Wipe it dry.\n{{ caution("CHS-02") }}', "L007: the caution CHS-02 stands after the "
             "last line of 'Steps by hand'\n    Put it right before the step it belongs to."),
            ("1. Wet the stone.", "1. Wet the ![stone](stone.png).", "90_sharpen.md:22:1: W004: 'image' cannot be "
             "printed: '1. Wet the ![stone](stone.png).'\n    Write it plainly."),
            ("- The stone is hollow.", "- ::: warning", "W004: the box 'warning' is never closed\n"
             "    Close it with ::: on a line of its own."),
            ("  hand: {station: bench, tool: stone, cautions: [chisel], minutes: 10}", "  machine: {station: grinder, tool: wheel, "
             "sign_off: grinder, cautions: [chisel], minutes: 10}", "90_sharpen.md:10:12: L004: the route 'machine' names no "
             "cautions of a machine\n    Add the family of its machine to `cautions:`, as one of rip_table_saw, crosscut_table_saw,"),
            ("## Typical mistakes\n", "## Typical mistakes by machine\n\n- It burns.\n\n## Typical mistakes\n", "L006: there is "
             "a section by machine, but no such route in the head\n"
             "    Add the route 'machine' to `routes`, or take the section out."),
            ("## Typical mistakes\n", "## Before you start by hand\n\n## Typical mistakes\n", "L006: the section 'Before you "
             "start by hand' is empty\n    Write lines that begin with `- `."),
            ("tools: [stone]", "tools: [stone", "90_sharpen.md:15:1: L001: the file is not valid YAML"),
        ],
    )  # fmt: skip
    def test_what_is_wrong_is_said_with_its_place(self, old, new, says):
        """Each mistake names file, line and column, what is wrong and what to do."""
        assert GOOD.count(old) >= 1
        found = problems_of(GOOD.replace(old, new, 1))
        assert any(says in problem for problem in found), found

    def test_all_mistakes_are_told_at_once(self):
        """Three mistakes in one file give three problems."""
        broken = GOOD.replace("number: 90", "number: x").replace("hold: [groove]", "hold: [x]").replace("}}.", ".")
        assert [problem.split(": ")[1] for problem in problems_of(broken)] == ["L007", "L003", "L005"]

    @pytest.mark.parametrize(
        "text", ["", "---", "---\n---\n", "---\n- a\n---\n", "---\nroutes: 3\n---\n", "\x00", "---\n: :\n---"]
    )
    def test_odd_files_give_problems_and_no_traceback(self, text):
        """Nothing an editor can leave behind raises."""
        operation, problems = read_operation(text, "x.md")
        assert operation is None and problems
