"""The order of the work, on the demo plan and on plans with other kinds and joints."""

from dataclasses import replace
from importlib.resources import files
from itertools import groupby
from pathlib import Path

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from course.build import build, list_keys
from course.kinds import read_library
from course.plan import read_plan
from lessons.operation_files import read_operation, read_operations
from lessons.sequence import sequence, why_before, work_of
from lessons.setups import proof
from rubrics.check_files import STAGES

LIBRARY = read_library()
OPERATIONS, _ = read_operations()
DEMO = (files("course") / "demo" / "plan.yaml").read_text(encoding="utf-8")
HEAD = """unit: mm
stock:
  case: {material: birch plywood, form: sheet, thickness: 18}
  frame: {material: cherry, form: solid, thickness: 18}
  panel: {material: cherry, form: solid, thickness: 12}
assemblies:
  case: {kind: carcass, width: 700, height: 600, depth: 200}
"""
UPRIGHTS = (
    HEAD
    + """  wall: {kind: uprights, in: case.inside, openings: {left: 300, right: rest}}
  board: {kind: dividers, in: wall.left, openings: {low: 200, high: rest}}
  shelf: {kind: loose shelf, in: board.high}
"""
)
PAIR = HEAD + "  door: {kind: frame and panel, in: case.inside, use: door, leaves: [left, right]}\n"
DOWELS = """unit: mm
stock:
  case: {material: birch plywood, form: sheet, thickness: 18}
  frame: {material: cherry, form: solid, thickness: 18}
  panel: {material: cherry, form: solid, thickness: 12}
assemblies:
  case: {kind: carcass, joints: {corner: dowels}}
  divider: {kind: dividers, in: case.inside, openings: {lower: 120, upper: rest}, joints: {housing: dowels}}
  door: {kind: frame and panel, in: divider.upper, use: door, joints: {joint: dowels}}
"""
HAUNCHED = HEAD + "  back: {kind: frame and panel, in: case.back, joints: {joint: haunched tenon}}\n"
DRAWERS = (Path(__file__).parents[1] / "drawers_plan.yaml").read_text("utf-8")
PLANS = {"drawers": DRAWERS, "demo": DEMO, "uprights": UPRIGHTS, "pair": PAIR, "dowels": DOWELS, "haunched": HAUNCHED}


def cabinet(text):
    return build(read_plan(text, "plan.yaml", list_keys(LIBRARY)), LIBRARY)


def ordered(text, operations=OPERATIONS):
    works, problems = work_of(cabinet(text), operations)
    assert [str(problem) for problem in problems] == []
    return sequence(works)


def names(works):
    return [work.name for work in works]


def at(works, operation, assembly=""):
    """Where an operation stands in the order."""
    return next(
        i
        for i, w in enumerate(works)
        if w.operation.name == operation and (not assembly or assembly in [a.name for a in w.assemblies])
    )


def with_operation(text):
    operation, problems = read_operation(text, "90_own.md")
    assert [str(problem) for problem in problems] == []
    return {**OPERATIONS, operation.name: operation}


OWN = """---
operation: own
number: 90
title: Own work
makes: [finished]
stage: finish
after: [measured]
routes:
  hand: {station: bench, tool: hands, cautions: [], minutes: 10}
---
## Before you start
- One.
## Steps by hand
1. One.
2. Two.
3. Three.
## Typical mistakes
- One.
## It is right when
- One.
"""


class TestDemo:
    def test_the_job_in_its_order(self):
        """The class cabinet: stock, case, the real case measured, back frame, door, fitting, drawer, finish."""
        assert [(w.operation.number, w.assemblies[0].name) for w in ordered(DEMO)] == [
            *[(n, "case") for n in (1, 2)],
            *[(n, "back") for n in (3, 4, 5)],
            *[(6, "case"), (7, "case"), (8, "case"), (9, "divider"), (11, "case"), (10, "divider")],
            *[(12, "case"), (13, "shelf")],
            *[(n, "case") for n in (14, 15, 16, 17, 18, 19)],
            *[(n, "back") for n in (20, 21, 22, 23, 24, 25, 26)],
            *[(n, "door") for n in (25, 26)],
            *[(n, "back") for n in (27, 28, 29, 30, 31)],
            *[(n, "door") for n in (29, 30, 31)],
            *[(36, "shelf"), (37, "back"), (33, "door"), (34, "door")],
            *[(n, "drawer") for n in (35, 41, 42, 43, 44, 45)],
            (38, "case"),
        ]

    def test_one_set_up_serves_all(self):
        """Top, bottom and divider are cut at one stop; the shelf waits for the real opening."""
        work = next(w for w in ordered(DEMO) if w.operation.name == "crosscut to length")
        assert [assembly.name for assembly in work.assemblies] == ["case", "divider"]
        assert {part.name for part in work.parts} >= {"case.top", "case.bottom", "divider.divider.1"}
        assert "shelf.board" not in {part.name for part in work.parts}

    def test_back_and_door_go_through_each_machine_at_one_set_up(self):
        """Grooves, tenons and panels of both frames are cut in one go; fitting and gluing go frame by frame."""
        works = ordered(DEMO)
        both = {w.operation.number for w in works if [a.name for a in w.assemblies] == ["back", "door"]}
        assert both >= {20, 21, 22, 23, 27, 28} and not both & {25, 26, 29, 30, 31}

    @pytest.mark.parametrize("text", PLANS.values(), ids=PLANS)
    def test_the_dado_set_is_put_on_once_a_stage(self, text):
        """Rabbets and dadoes of a case follow each other, and so do test tenon, rails and muntins of all frames."""
        runs = [key for key, _ in groupby((w.operation.stage, w.operation.set_up) for w in ordered(text))]
        mounted = [stage for stage, set_up in runs if set_up == "dado set"]
        assert sorted(mounted) == sorted(set(mounted))

    def test_what_waits_for_a_set_up_says_so(self):
        """The end rabbets could be cut before the story rod; they wait for the dadoes at the same set-up."""
        works = ordered(DEMO)
        a, b = works[at(works, "make a story rod")], works[at(works, "cut end rabbets")]
        assert why_before(a, b) == (
            "Neither needs the other. 'cut end rabbets (case)' waits for other work with the dado set, so that one "
            "set-up serves all of it."
        )

    def test_muntins_are_tenoned_by_their_own_operation(self):
        """Rails and muntins share the feature, not the operation, and no part is done twice."""
        works = [w for w in ordered(DEMO) if "tenon" in w.operation.makes and w.assemblies[0].name == "back"]
        assert [[part.name for part in w.parts] for w in works] == [
            ["back.rail.top", "back.rail.bottom", "door.rail.top", "door.rail.bottom"],
            ["back.muntin.1"],
        ]

    def test_sheet_and_solid_take_their_own_ways(self):
        """Only sheet goods are broken down as sheets, only boards are jointed and planed."""
        works = ordered(DEMO)
        assert {p.stock for p in works[at(works, "break down sheets")].parts} == {"case", "bottom"}
        solid = {"frame", "panel", "drawer", "drawer_side"}
        assert {p.stock for p in works[at(works, "plane to thickness")].parts} == solid

    def test_sheets_bring_their_caution(self):
        """Cutting sheet goods adds the cautions about resin; frames of solid wood do not."""
        works = ordered(DEMO)
        assert "engineered_wood" in works[at(works, "crosscut to length")].cautions("machine")
        assert "engineered_wood" not in works[at(works, "groove edges")].cautions("machine")
        assert "engineered_wood" not in works[at(works, "mark out the case")].cautions("hand")


class TestOtherPlans:
    @pytest.mark.parametrize("text", PLANS.values(), ids=PLANS)
    def test_every_feature_is_made_on_every_part_once(self, text):
        """Whatever kinds and joints a plan uses, all of its features are work, each part once."""
        built = cabinet(text)
        made = [
            (feature.assembly, feature.name, part)
            for work in ordered(text)
            if work.operation.makes
            for feature in work.features
            for part in (set(feature.parts) & {p.name for p in work.parts} or {""})
        ]
        wanted = {(f.assembly, f.name, part) for f in built.features for part in (f.parts or ("",))}
        assert set(made) == wanted
        assert len(made) == len(wanted)

    @pytest.mark.parametrize("text", PLANS.values(), ids=PLANS)
    def test_nothing_comes_before_what_it_needs(self, text):
        """In the order, each work stands behind all it follows."""
        works = ordered(text)
        place = {work: i for i, work in enumerate(works)}
        assert sum(len(work.follows) for work in works) > len(works) / 2
        for work in works:
            assert all(place[earlier] < place[work] for earlier, _ in work.follows)

    @pytest.mark.parametrize("text", PLANS.values(), ids=PLANS)
    def test_all_set_ups_can_be_worked_out(self, text):
        """No formula and no box of a needed operation names a size the cabinet does not have."""
        built = cabinet(text)
        works, _ = work_of(built, OPERATIONS)
        assert [str(problem) for problem in proof(works, built)] == []

    def test_a_drawer_is_made_to_the_real_opening_and_before_the_finish(self):
        """Parts after the case is measured, grooves, corners, bottom, glue, fit; the finish waits for all of it."""
        works = ordered(DRAWERS)
        assert [w.operation.number for w in works if w.assemblies[0].name == "tray"] == [3, 4, 5, 35, 41, 42, 43, 44, 45]
        assert at(works, "measure the real case") < at(works, "cut drawer parts to the real opening", "tray")
        assert works[-1].operation.name == "sand, finish and inspect"
        before = {one.operation.number for one in works[-1].before()}
        assert before >= {45, 46, 47}

    def test_a_drawer_takes_the_joint_and_the_runners_of_the_plan(self):
        """Dowels in place of rabbets, slides in place of wood, a front applied after the drawer runs."""
        works = ordered(DRAWERS)
        assert [w.operation.number for w in works if w.assemblies[0].name == "box"] == [35, 39, 41, 43, 44, 46, 47]

    def test_drawer_parts_are_not_ripped_before_the_opening_is_read(self):
        """Their height follows the real opening, so the first ripping leaves them alone."""
        works = ordered(DRAWERS)
        assert not any(p.assembly in ("tray", "box") for p in works[at(works, "rip to width")].parts)
        assert {p.stock for p in works[at(works, "plane to thickness")].parts} == {"drawer", "frame"}
        assert {p.stock for p in works[at(works, "break down sheets")].parts} == {"case", "bottom"}

    def test_uprights_and_what_stands_on_them_are_glued_with_the_case(self):
        """Dadoes of boards inside boards come before the dry fit of the case, holes for pins before glue."""
        works = ordered(UPRIGHTS)
        dadoes = works[at(works, "cut dadoes")]
        assert [assembly.name for assembly in dadoes.assemblies] == ["wall", "board"]
        assert at(works, "cut dadoes") < at(works, "dry fit the case")
        assert at(works, "drill pin holes") < at(works, "glue up the case")

    def test_two_leaves_are_made_together(self):
        """A pair of doors goes through each set-up once."""
        works = ordered(PAIR)
        groove = works[at(works, "groove edges")]
        assert [assembly.name for assembly in groove.assemblies] == ["door.left", "door.right"]
        assert sum(w.operation.name == "groove edges" for w in works) == 1

    def test_dowels_take_the_place_of_dadoes_and_tenons(self):
        """With dowels no tenon is tested, and the door's dowels do not hold up the dry fit of the case."""
        works = ordered(DOWELS)
        done = {work.operation.name for work in works}
        assert not done & {"make a test tenon", "ease the joints to fit", "cut dadoes", "make a story rod"}
        assert at(works, "drill dowel holes", "divider") < at(works, "dry fit the case")
        assert at(works, "drill dowel holes", "door") > at(works, "measure the real case")

    def test_mortises_come_before_tenons(self):
        """A haunched tenon is cut to a mortise that exists."""
        works = ordered(HAUNCHED)
        assert at(works, "groove edges") < at(works, "cut mortises") < at(works, "cut the tenons")

    def test_the_plan_decides_between_equals(self):
        """Back before door because the plan says so; with the door written first, the door goes first."""
        back = DEMO[DEMO.index("  back:") : DEMO.index("  door:")]
        swapped = DEMO.replace(back, "").rstrip() + "\n" + back
        name = "ease the joints to fit"
        assert at(ordered(DEMO), name, "back") < at(ordered(DEMO), name, "door")
        assert at(ordered(swapped), name, "door") < at(ordered(swapped), name, "back")

    @settings(max_examples=25, deadline=None)
    @given(st.permutations(range(len(OPERATIONS))))
    def test_the_order_does_not_depend_on_the_order_of_files(self, order):
        """However operations are listed, the work comes in the same order."""
        listed = list(OPERATIONS.values())
        shuffled = {listed[i].name: listed[i] for i in order}
        assert names(ordered(DEMO, shuffled)) == names(ordered(DEMO))


class TestWhy:
    def test_a_direct_need_is_said(self):
        """The reason names what is needed and of which assembly."""
        works = ordered(DEMO)
        a, b = works[at(works, "groove edges", "door")], works[at(works, "cut the tenons", "door")]
        assert why_before(a, b) == (
            "'cut the tenons (back, door)' follows 'groove edges (back, door)': it needs 'groove in the inner edges' "
            "of the back."
        )

    def test_a_long_way_is_told_step_by_step(self):
        """The case is measured before the door is grooved, since its parts are cut to the real opening."""
        works = ordered(DEMO)
        a, b = works[at(works, "measure the real case")], works[at(works, "groove edges", "door")]
        assert why_before(a, b) == (
            "'cut frame parts to the real opening (back, door)' follows 'measure the real case (case)': it needs "
            "'the real case measured' of the case. 'groove edges (back, door)' follows 'cut frame parts to the real "
            "opening (back, door)': it needs 'frame parts cut to size' of the back."
        )

    def test_preparation_is_said(self):
        """A test tenon comes first because it prepares the tenons."""
        works = ordered(DEMO)
        a, b = works[at(works, "make a test tenon", "back")], works[at(works, "cut the tenons", "back")]
        assert why_before(a, b).endswith("it prepares 'tenons on the ends' of the back.")

    def test_plan_order_is_said(self):
        """Two frames need nothing of each other; the plan decides."""
        works = ordered(DEMO)
        a, b = (works[at(works, "ease the joints to fit", frame)] for frame in ("back", "door"))
        assert why_before(a, b) == "Neither needs the other. The plan names back before door."

    def test_stages_are_said(self):
        """Frames before fitting is an order of stages."""
        works = ordered(DEMO)
        a, b = works[at(works, "groove edges", "door")], works[at(works, "cut and fit the shelf")]
        assert why_before(a, b) == (
            "Neither needs the other. Work of the frame stage comes before that of the fitting stage."
        )

    def test_the_wrong_way_round_is_said(self):
        """Asked why the later comes first, it says that it does not."""
        works = ordered(DEMO)
        a, b = works[at(works, "cut the tenons", "door")], works[at(works, "groove edges", "door")]
        assert why_before(a, b).startswith("It does not: 'groove edges (back, door)' comes first. 'cut the tenons")

    def test_every_neighbor_has_a_reason(self):
        """For each two works that follow one another there is an answer."""
        works = ordered(DEMO)
        for a, b in zip(works, works[1:], strict=False):
            assert "It does not" not in why_before(a, b)


class TestProblems:
    def test_a_feature_that_nothing_makes_is_named(self):
        """Without the operation for grooves, the plan line of each frame is named with what to do."""
        fewer = {name: o for name, o in OPERATIONS.items() if name != "groove edges"}
        _, problems = work_of(cabinet(PAIR), fewer)
        assert [str(p) for p in problems] == [
            f"plan.yaml:8:3: L020: door {leaf}: no operation makes 'groove' (groove in the inner edges)\n"
            "    Write an operation with `makes: [groove]` into the folder lessons."
            for leaf in ("left", "right")
        ]

    def test_a_misspelled_feature_is_guessed(self):
        """An own operation that makes 'grove' is pointed at."""
        own = with_operation(OWN.replace("makes: [finished]", "makes: [grove]"))
        del own["groove edges"]
        _, problems = work_of(cabinet(PAIR), own)
        assert problems[0].do.endswith("into the folder lessons. Did you mean 'grove'?")

    def test_parts_that_are_left_over_are_named(self):
        """When the only operation for tenons is for muntins, the rails are named."""
        fewer = {name: o for name, o in OPERATIONS.items() if name != "cut the tenons"}
        _, problems = work_of(cabinet(DEMO), fewer)
        assert [p.says for p in problems] == [
            "back: no operation makes 'tenon' on rail top, rail bottom (tenons on the ends)",
            "door: no operation makes 'tenon' on rail top, rail bottom (tenons on the ends)",
        ]

    def test_an_input_that_nothing_produces_is_named(self):
        """A last sanding that waits for tenons of the case cannot begin."""
        own = with_operation(OWN.replace("after: [measured]", "after: [tenon or mortise]"))
        del own["sand, finish and inspect"]
        _, problems = work_of(cabinet(PAIR), own)
        assert [str(p) for p in problems] == [
            "plan.yaml:7:3: L021: case: 'own' needs 'tenon' or 'mortise' of the case, and nothing makes it\n"
            "    Choose a kind or a joint that has it, or change `after:` in 90_own.md."
        ]

    def test_what_the_owner_lacks_is_named(self):
        """A door that waits for something of its case that no case has."""
        own = with_operation(
            OWN.replace("makes: [finished]", "makes: [hung_door]").replace("[measured]", "[owner.groove]")
        )
        del own["hang the door"]
        _, problems = work_of(cabinet(DEMO), own)
        assert [p.says for p in problems] == [
            "door: 'own' needs 'groove' of the assembly it fills, and nothing makes it"
        ]

    def test_operations_that_wait_for_each_other_are_named(self):
        """A circle is told as a circle."""
        own = with_operation(OWN.replace("makes: [finished]", "makes: [blank]").replace("[measured]", "[glued_case]"))
        del own["crosscut to length"]
        works, problems = work_of(cabinet(HEAD), own)
        assert [p.code for p in problems] == ["L022"]
        assert problems[0].says == (
            "these operations wait for each other: 'own' (case) <- 'glue up the case' (case) <- 'dry fit the case' "
            "(case) <- 'mark out the case' (case) <- 'own' (case)"
        )
        assert problems[0].place.file == "90_own.md"
        assert all(work.operation.name != "own" for work in works)

    def test_a_formula_of_an_own_operation_is_proof_read(self):
        """A set-up that names a size that does not exist is told with its line."""
        own = with_operation(
            OWN.replace(
                "---\n## Before", "setup:\n  - {name: depth, is: groove.dpth, where: here, why: so}\n---\n## Before"
            )
        )
        del own["sand, finish and inspect"]
        built = cabinet(HEAD)
        works, _ = work_of(built, own)
        assert [str(p) for p in proof(works, built)] == [
            "90_own.md:11:23: L023: the set-up number 'depth' of 'own': there is no quantity 'groove.dpth' here "
            "(in the case)\n    Check the names in it."
        ]

    def test_a_box_of_an_own_operation_is_proof_read(self):
        """So is a size in its text."""
        own = with_operation(OWN.replace("1. One.", '1. Set {{ size("groove.depth") }}.'))
        del own["sand, finish and inspect"]
        built = cabinet(HEAD)
        works, _ = work_of(built, own)
        assert [p.says for p in proof(works, built)] == [
            "the box size(\"groove.depth\") of 'own': there is no quantity 'groove.depth' here (in the case)"
        ]


def test_stages_only_break_ties():
    """An operation of a late stage that early work needs is done early."""
    late = {**OPERATIONS, "groove edges": replace(OPERATIONS["groove edges"], stage="finish")}
    works = ordered(DEMO, late)
    assert at(works, "groove edges", "back") < at(works, "cut the tenons", "back")
    assert STAGES[-1] == "finish"
