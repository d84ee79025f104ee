"""Operation pages: this student's numbers, the route he or she may use, cautions where they belong."""

import re
from collections.abc import Callable
from fractions import Fraction
from importlib.resources import files
from pathlib import Path

import pytest
import yaml

from course.course import Course
from course.course_folder import read_course
from course.readings import Reading
from lessons.cautions import CAUTIONS, SEVERITIES, missing_controls
from lessons.class_sheets import lacking
from lessons.handout import CONDENSED, OperationPage, operation_page
from lessons.operation_files import read_operations
from lessons.packet import Lessons, packet, read_lessons, sheet
from lessons.route import choose, unknown_names
from rubrics.fit_rows import fit_rows
from shared.problems import InputRefused
from shared.render.tree import words

OPERATIONS, _ = read_operations()
MACHINES = sorted({r.sign_off for o in OPERATIONS.values() for r in o.routes.values() if r.sign_off})
COURSE = f"""title: Test course
id: test
date: 2026-10-05
invented: yes
instructor: R. Sample
shop: {{machines: [{", ".join(MACHINES)}]}}
"""
DONE = "2026-09-14,2026-09-15,100,2026-09-16,2026-09-17"
HEAD = "student,machine,lesson,test,score,demonstration,permission\n"


def signoffs(*machines: str) -> str:
    """Complete sign-offs of the first student for these machines."""
    return HEAD + "".join(f"s1,{machine},{DONE}\n" for machine in machines)


@pytest.fixture
def with_machines(course_of: Callable[..., Course]) -> Course:
    return course_of(course=COURSE, signoffs=signoffs(*MACHINES))


@pytest.fixture
def by_hand(course_of: Callable[..., Course]) -> Course:
    return course_of(course=COURSE)


def page_of(course: Course, name: str, student: str = "s1") -> OperationPage:
    lessons = read_lessons(course)
    works = next(s for s in lessons.sheets if s[0].operation.name == name)
    return operation_page(course, course.student(student), works, 1, fit_rows(course, course.student(student)))


def text_of(course: Course, lessons: Lessons, name: str, student: str = "s1") -> str:
    works = next(s for s in lessons.sheets if s[0].operation.name == name)
    return words(
        sheet(course, course.student(student), lessons, works, 1, fit_rows(course, course.student(student)))
    ).replace("\u00a0", " ")


@pytest.mark.parametrize("allowed", [MACHINES, ["hand router"]], ids=["every machine", "hand router alone"])
def test_every_powered_page_mentions_every_required_control(
    course_of: Callable[..., Course], allowed: list[str]
) -> None:
    """The controls that published rules ask for (lessons/tables/required_controls.json) are in the laid-out text."""
    course = course_of(course=COURSE, signoffs=signoffs(*allowed))
    lessons, student = read_lessons(course), course.student("s1")
    powered = 0
    for works in lessons.sheets:
        route = choose(course, student, works[0].operation).route
        if route and route.powered:
            powered += 1
            text = words(sheet(course, student, lessons, works, 1, fit_rows(course, student))).replace("\u00a0", " ")
            names = {n for work in works for n in work.cautions(route.name)}
            assert missing_controls(text, names) == (), works[0].operation.name
    assert powered >= (10 if allowed == MACHINES else 2)


def test_a_sheet_whose_template_leaves_cautions_out_is_not_printed(course_folder: Callable[..., Path]) -> None:
    """A course's own template without the box of the gravest warnings: no sheet of a machine, and all others are made."""
    folder = course_folder(course=COURSE, signoffs=signoffs(*MACHINES))
    (folder / "lessons").mkdir()
    text = (files("lessons") / "templates" / "operation.md.j2").read_text("utf-8")
    loop = "{% for word in severities if page.severity(word) %}"
    assert loop in text
    (folder / "lessons" / "operation.md.j2").write_text(text.replace(loop, "{% for word in [] %}"), "utf-8")
    course = read_course(folder)
    made = packet(course, course.student("s1"), read_lessons(course))
    told = [str(problem) for problem in made.problems if problem.code == "L052"]
    for title in ("Groove the inner edges", "Cut the dadoes", "Cut the tenons on the rails"):
        assert any(
            line.startswith(f"operation.md.j2: L052: the sheet '{title}' does not say what must be said")
            for line in told
        )
        assert f"{title}\n" not in words(made.document.tree)
    assert "Put the cautions back into operation.md.j2; without them the sheet is not printed." in told[0]
    assert "Put everything together once more without glue" in words(made.document.tree)


DRAWER_WORK = (
    "cut drawer parts to the real opening", "groove for the drawer bottom", "cut the drawer rabbets",
    "fit the drawer dry and cut its bottom", "fit the applied front of the drawer",
)  # fmt: skip
"""What may be done on a machine for a drawer."""


def test_every_page_of_a_drawer_mentions_every_required_control(
    course_of: Callable[..., Course], drawers_plan: str
) -> None:
    """With every machine allowed, each page of a drawer on a machine carries the controls of that machine."""
    course = course_of(course=COURSE, plan=drawers_plan, signoffs=signoffs(*MACHINES))
    lessons, student = read_lessons(course), course.student("s1")
    for name in DRAWER_WORK:
        works = next(s for s in lessons.sheets if s[0].operation.name == name)
        route = choose(course, student, works[0].operation).route
        assert route.powered, name
        names = {n for work in works for n in work.cautions(route.name)}
        assert missing_controls(text_of(course, lessons, name), names) == (), name


def test_a_drawer_is_made_by_hand_where_no_machine_may_be_used(
    course_of: Callable[..., Course], drawers_plan: str
) -> None:
    """Without a sign-off each page has its hand route, the same numbers, and no machine among its steps."""
    course = course_of(course=COURSE, plan=drawers_plan)
    lessons = read_lessons(course)
    for name in DRAWER_WORK:
        page = page_of(course, name)
        steps = " ".join(step.text for step in page.steps)
        assert not re.search("router table|sled|dado set|fence, then", f"{page.way} {steps}"), name
        assert page.setups
    grooves = text_of(course, lessons, "groove for the drawer bottom")
    assert "plough plane" in grooves and "10.0 mm" in grooves and "6.2 mm" in grooves
    assert "shoulder plane" in text_of(course, lessons, "cut the drawer rabbets")


def test_a_drawer_on_slides_says_the_room_that_they_take(course_of: Callable[..., Course], drawers_plan: str) -> None:
    """The page of the slides has 12.7 on each side and 25.4 in all, and sends the student to the maker's sheet."""
    course = course_of(course=COURSE, plan=drawers_plan)
    text = text_of(course, read_lessons(course), "hang the drawer on its slides")
    assert "12.7 mm" in text and "25.4 mm" in text
    assert "the maker's sheet comes first" in text


def test_the_fit_of_a_drawer_is_read_on_both_sides(course_of: Callable[..., Course], drawers_plan: str) -> None:
    """Left and right are told apart, 0.3 to 0.7 by feeler at three places; no shim where the case does not lean."""
    course = course_of(course=COURSE, plan=drawers_plan)
    page = page_of(course, "fit the drawer")
    found = [(row.title, row.allowed, row.places) for row in page.checks]
    assert found == [("tray left", "0.3 to 0.7", 3), ("tray right", "0.3 to 0.7", 3)]
    assert "shim under a runner or guide" not in {row.name for row in page.setups}


def test_every_caution_of_the_family_stands_in_full_on_its_page(with_machines: Course) -> None:
    """Only what is the same at every machine is shortened; the router table's own cautions are all there."""
    text = text_of(with_machines, read_lessons(with_machines), "groove edges")
    family = [c for c in CAUTIONS.values() if c.family in ("router_table_groove", "climb_cut")]
    assert len(family) >= 8
    for caution in family:
        assert caution.text in text, caution.id


def test_what_is_the_same_at_every_machine_is_said_in_few_words(with_machines: Course) -> None:
    """The general cautions do not fill half of each page; none of their words gets lost on the safety page."""
    page = page_of(with_machines, "groove edges")
    full = sum(len(c.text) for c in CAUTIONS.values() if c.family == "general_workshop")
    assert page.general[0] == CONDENSED["general_workshop"]
    assert len(page.general[0]) < full / 2


def test_cautions_come_by_severity_and_before_the_step_they_belong_to(with_machines: Course) -> None:
    """Danger, then warning, then caution; and a placed caution stands right before its step."""
    lessons = read_lessons(with_machines)
    works = next(s for s in lessons.sheets if s[0].operation.name == "groove edges")
    course, student = with_machines, with_machines.student("s1")
    rows = fit_rows(course, student)
    page = operation_page(course, student, works, 1, rows)
    ranks = [SEVERITIES.index(row.severity) for row in page.cautions]
    assert ranks == sorted(ranks) and len(set(ranks)) > 1
    placed = CAUTIONS["RTG-02"].text
    step = next(s for s in page.steps if placed in [c.text for c in s.cautions])
    text = words(sheet(course, student, lessons, works, 1, rows))
    assert text.index(placed) < text.index(step.text)
    before = page.steps[step.number - 2].text
    assert text.index(before) < text.index(placed)
    assert text.count(placed) == 1


def test_without_a_sign_off_the_hand_route_is_printed(by_hand: Course) -> None:
    """No permission on the day of issue: plough plane instead of router table, and none of its steps."""
    page = page_of(by_hand, "groove edges")
    assert "plough plane" in page.way and not page.powered
    assert not any("cutter" in step.text for step in page.steps)
    assert page.closing == ()


def test_a_permission_after_the_day_of_issue_does_not_count_yet(course_of: Callable[..., Course]) -> None:
    """Issued on 5 October, permitted on 6 October: still by hand."""
    late = "2026-09-14,2026-09-15,100,2026-09-16,2026-10-06"
    course = course_of(course=COURSE, signoffs=f"{HEAD}s1,router table,{late}\n")
    assert page_of(course, "groove edges").way.startswith("bench")


def test_a_slip_in_a_chosen_hand_route_is_told(course_of: Callable[..., Course]) -> None:
    """A name that no operation has would leave the student at the machine."""
    course = course_of(course=COURSE, roster="id,name,hand_route\ns1,Ada Test,groove egdes\n")
    (problem,) = unknown_names(course, OPERATIONS)
    assert str(problem) == (
        "roster.csv:2: L036: s1 is to do 'groove egdes' by hand, and no operation is called so\n"
        "    Did you mean 'groove edges'?"
    )


def test_a_hand_route_may_be_chosen_by_the_title_of_the_sheet(course_of: Callable[..., Course]) -> None:
    """The title stands on the paper that the student holds."""
    roster = "id,name,hand_route\ns1,Ada Test,Groove the inner edges\n"
    course = course_of(course=COURSE, signoffs=signoffs(*MACHINES), roster=roster)
    assert not list(unknown_names(course, OPERATIONS))
    assert not page_of(course, "groove edges").powered


def test_a_student_may_choose_the_hand_route(course_of: Callable[..., Course]) -> None:
    """The roster can ask for it, for one operation, though the sign-off is there."""
    roster = "id,name,bench,units,hand_route\ns1,Ada Test,1,mm,groove edges\n"
    course = course_of(course=COURSE, signoffs=signoffs(*MACHINES), roster=roster)
    assert page_of(course, "groove edges").way.startswith("bench")
    assert page_of(course, "cut the tenons").way.startswith("table saw")


ONLY_BY_MACHINE = """---
operation: groove edges
number: 21
title: Groove the inner edges
makes: [groove]
stage: frame
after: [frame_blank]
hold: [groove]
routes:
  machine: {station: router table, tool: slot cutter, sign_off: router table, cautions: [router_table_groove],
    minutes: 10}
---
## Before you start

- Face sides are marked.

## Steps by machine

1. Set the secret fence.
2. Groove a test piece.
3. Groove every edge.

## Typical mistakes

- The wrong edge.

## It is right when

- The groove is full.
"""


def test_with_no_hand_route_the_page_says_with_the_instructor(course_folder: Callable[..., object]) -> None:
    """The machine's steps are not printed; what is missing is."""
    from course.course_folder import read_course

    folder = course_folder(course=COURSE)
    (folder / "lessons").mkdir()
    (folder / "lessons" / "21_groove_edges.md").write_text(ONLY_BY_MACHINE, "utf-8")
    course = read_course(folder)
    text = text_of(course, read_lessons(course), "groove edges")
    assert "No complete sign-off on record for the router table: no lesson on record." in text
    assert "secret fence" not in text


def test_the_numbers_are_this_students_in_this_students_units(course_of: Callable[..., Course]) -> None:
    """A groove 10.5 deep reads 10.5 mm for one and 13/32 in for the other."""
    course = course_of(course=COURSE, signoffs=signoffs(*MACHINES))
    mine = {r.name: [v.text for v in r.values] for r in page_of(course, "groove edges", "s1").setups}
    theirs = {r.name: [v.text for v in r.values] for r in page_of(course, "groove edges", "s2").setups}
    assert mine["fence"] == ["10.5\u00a0mm"]
    assert theirs["depth stop"] == ["13/32\u00a0in"]


def test_a_number_that_rests_on_an_unmeasured_size_is_marked(with_machines: Course) -> None:
    """Rails wait for the real opening; when it is read, the number follows it and the mark is gone."""
    course = with_machines
    page = page_of(course, "cut the tenons")
    row = next(r for r in page.setups if r.name == "shoulder to shoulder")
    assert row.provisional and "recess for the back" in page.waits
    student = course.student("s1")
    sizes = {"case.back.width": Fraction("383.0"), "divider.upper.width": Fraction("365.2")}
    course.log.add(Reading("s1", name, p, 1, str(v), v, "rods") for name, v in sizes.items() for p in (1, 2, 3))
    course.fresh()
    lessons = read_lessons(course)
    works = next(s for s in lessons.sheets if s[0].operation.name == "cut the tenons")
    row = next(
        r
        for r in operation_page(course, student, works, 1, fit_rows(course, student)).setups
        if r.name == "shoulder to shoulder"
    )
    shown = {v.of: v.text for v in row.values}
    # 383.0 less two reveals of 0.5 less two stiles of 45; 365.2 less 3.0 less 100.
    assert shown == {"back": "292.0\u00a0mm", "door": "262.2\u00a0mm"}
    waits = operation_page(course, student, works, 1, fit_rows(course, student)).waits
    assert "recess for the back" not in waits and "opening 'upper'" not in waits


def test_a_size_in_a_text_is_the_students_own(with_machines: Course) -> None:
    """A part turned over shows a step of twice the distance off centre: 2 x 1.0."""
    page = page_of(with_machines, "groove edges")
    assert any("2.0\u00a0mm" in text for text in page.mistakes)


def test_a_powered_page_ends_with_who_decides_and_who_checked(with_machines: Course) -> None:
    """Order of authority, the sign-off on record, and a line for the check of the set-up."""
    text = text_of(with_machines, read_lessons(with_machines), "groove edges")
    end = text[-500:]
    assert "follow the strictest" in end
    assert "Your sign-off for the router table is on record. It is not today's permission." in end
    assert "Set-up checked today by" in end


def test_a_page_names_the_check_that_must_be_passed_before(with_machines: Course) -> None:
    """Tenons wait for the groove's check."""
    page = page_of(with_machines, "cut the tenons")
    assert ("Groove the inner edges", "groove") in [(r.title, r.checks) for r in page.releases]


def test_work_on_back_and_door_shares_one_sheet(with_machines: Course) -> None:
    """One sheet for each operation, with the numbers of both frames on it."""
    page = page_of(with_machines, "cut the tenons")
    assert page.of == "back, door"


def test_the_drawing_follows_the_route(with_machines: Course) -> None:
    """By machine the tenon page shows the set-up with its shim; by hand the section of the joint."""
    assert any("shim" in d.title for d in page_of(with_machines, "cut the tenons").drawings)


def test_drawings_that_differ_say_whose_they_are(with_machines: Course) -> None:
    """Back and door are of other sizes, so their diagonals have each a title; their grooves are equal, and one drawing
    serves both without a name. Parts are told by their labels."""
    titles = lambda name: [d.title.split(", scale")[0] for d in page_of(with_machines, name).drawings]  # noqa: E731
    assert titles("put the frame together dry") == ["Back: diagonals", "Door: diagonals"]
    assert titles("groove edges") == ["Router table from above"]
    assert titles("mark out the case")[0] == "C-B, bottom"


def test_drawings_show_what_is_to_be_made_and_not_what_was_read_after_it(with_machines: Course) -> None:
    """A front rabbet read 5.6 and a tongue read 5.85 change neither the numbers nor the drawings of their own sheet; a
    groove read 6.2, made before it, changes both."""
    drawn = lambda: [drawing.svg for drawing in page_of(with_machines, "rabbet the panels").drawings]  # noqa: E731
    numbers = lambda: page_of(with_machines, "rabbet the panels").setups  # noqa: E731

    def read(**sizes: str) -> None:
        with_machines.log.add(
            Reading("s1", f"{name}.{size}", place, 1, value, Fraction(value), "caliper")
            for size, value in {key.replace("_of_", "."): value for key, value in sizes.items()}.items()
            for name in ("back", "door")
            for place in (1, 2, 3, 4)
        )
        with_machines.fresh()

    planned, set_up = drawn(), numbers()
    read(panel_of_front_rabbet="5.6", panel_of_tongue="5.85")
    assert drawn() == planned and numbers() == set_up
    read(groove_of_width="6.2")
    assert drawn() != planned and numbers() != set_up


MACHINE_WORDS = re.compile(r"\b(fence of the saw|table saw|guard|shim|cutter is|router tips|climb cut|blade)\b", re.I)


def test_a_page_by_hand_speaks_of_no_machine(by_hand: Course, with_machines: Course) -> None:
    """Guards, shims and blades are for who works with them: what must be so before, and what goes wrong, follows the
    route; what holds for both stands on both pages."""
    found = {}
    for works in read_lessons(by_hand).sheets:
        page = page_of(by_hand, works[0].operation.name)
        lines = [*page.before, *page.mistakes, *(row.where for row in page.setups)]
        found[page.title] = [line for line in lines if MACHINE_WORDS.search(line)]
    assert {title: lines for title, lines in found.items() if lines} == {}
    by_machine = page_of(with_machines, "make a test tenon")
    assert any("guard goes back on at once" in line for line in by_machine.before)
    assert any("shim lies under half" in line for line in by_machine.mistakes)
    both = "The test piece is thinner than the rails."
    assert both in by_machine.mistakes and both in page_of(by_hand, "make a test tenon").mistakes
    assert page_of(by_hand, "crosscut to length").setups[0].name == "length"


def test_the_drawing_by_hand_shows_the_joint(by_hand: Course) -> None:
    """A gauge line needs the section, not a saw."""
    titles = [d.title for d in page_of(by_hand, "cut the tenons").drawings]
    assert titles and not any("shim" in t for t in titles)


def test_what_is_read_at_the_end_stands_on_the_sheet_with_target_and_band(with_machines: Course) -> None:
    """The rails' own shoulders and tenons; not the muntin's, nor the stiles', which belong to other sheets."""
    checks = page_of(with_machines, "cut the tenons").checks
    lines = {(row.title, row.what): (row.target, row.allowed, row.places) for row in checks}
    assert lines["door rail top", "shoulder to shoulder"] == ("261.0", "260.7 to 261.3", 1)
    assert lines["door", "thickness of the tenon"][1] == "5.8 to 5.95"
    assert not any("stile" in title or "muntin" in title for title, _ in lines)


def test_what_to_move_after_a_test_cut_stands_on_the_sheet(with_machines: Course) -> None:
    """Under the set-up numbers: three things of the groove side by side, the rows of the coach, and no computer needed."""
    page = page_of(with_machines, "groove edges")
    (grid,) = page.coach
    assert [table.name for table in grid.tables] == ["groove width", "front lip", "groove depth"]
    text = text_of(with_machines, read_lessons(with_machines), "groove edges")
    assert "5.7 raise cutter 0.3" in " ".join(text.split()) and "5.9 to 6.1 nothing" in " ".join(text.split())
    assert text.index("After a test cut") < text.index("Safety before you switch on")


def test_tables_stand_one_below_the_other_in_large_print(course_of: Callable[..., Course]) -> None:
    """Six columns of large type would not fit the paper."""
    roster = "id,name,bench,units,large_print\ns1,Ada Test,1,mm,yes\n"
    course = course_of(course=COURSE, signoffs=signoffs(*MACHINES), roster=roster)
    assert [len(grid.tables) for grid in page_of(course, "groove edges").coach] == [1, 1, 1]


@pytest.mark.parametrize(("hand", "words"), [("right", "left foot forward"), ("left", "right foot forward")])
def test_the_stance_is_for_the_students_own_hand(course_of: Callable[..., Course], hand: str, words: str) -> None:
    """A plane is held the other way round; the other hand's note is not on the sheet."""
    course = course_of(course=COURSE, roster=f"id,name,bench,units,hand\ns1,Ada Test,1,mm,{hand}\n")
    text = text_of(course, read_lessons(course), "fit the door")
    assert words in text
    assert ("left foot forward" in text) != ("right foot forward" in text)


def test_the_stance_follows_the_route(with_machines: Course, course_of: Callable[..., Course]) -> None:
    """At the router table the feed is said, at the bench the plough plane."""
    assert page_of(with_machines, "groove edges").stance.startswith("The feed goes from right to left.")
    assert "fence" in page_of(course_of(course=COURSE), "groove edges", "s2").stance


SHOP = f"machines: [{', '.join(MACHINES)}]"


def test_a_forbidden_machine_is_offered_to_nobody_and_the_page_says_why(course_of: Callable[..., Course]) -> None:
    """No dado set in this shop: the hand router makes the dadoes, though the sign-off for the dado set is there."""
    text = COURSE.replace(SHOP, f"{SHOP}, forbidden: [dado set]")
    course = course_of(course=text, signoffs=signoffs(*MACHINES))
    page = page_of(course, "cut dadoes")
    assert page.way == "hand router, straight bit and a clamped guide" and page.barred == ("dado set",)
    sheet_text = text_of(course, read_lessons(course), "cut dadoes")
    assert (
        "The shop allows nobody to use the dado set for this operation. It is done here by hand router, straight bit "
        "and a clamped guide: same sizes, same checks." in " ".join(sheet_text.split())
    )
    assert "Stack the dado set" not in sheet_text
    assert page_of(course, "cut the tenons").way.startswith("bench")
    assert page_of(course, "groove edges").barred == ()


@pytest.mark.parametrize("name", ["cut dadoes", "Cut the dadoes"])
def test_an_operation_may_be_allowed_by_hand_alone(course_of: Callable[..., Course], name: str) -> None:
    """By name or title: neither dado set nor router, and rabbets are not touched by it."""
    course = course_of(course=COURSE.replace(SHOP, f"{SHOP}, hand_only: [{name}]"), signoffs=signoffs(*MACHINES))
    page = page_of(course, "cut dadoes")
    assert page.way.startswith("bench") and len(page.barred) == 2 and not page.powered
    assert page_of(course, "cut end rabbets").barred == ()


def test_a_forbidden_machine_that_the_shop_does_not_list_is_refused(course_of: Callable[..., Course]) -> None:
    """A slip of the pen would allow it."""
    with pytest.raises(InputRefused) as caught:
        course_of(course=COURSE.replace(SHOP, f"{SHOP}, forbidden: [dado sett]"))
    (problem,) = caught.value.problems
    assert (problem.code, problem.says, problem.do) == (
        "P025", "shop.forbidden names 'dado sett', which is not among shop.machines", "Did you mean 'dado set'?",
    )  # fmt: skip


def test_a_shop_setting_that_is_no_list_is_refused(course_of: Callable[..., Course]) -> None:
    """A single word would be read as nothing at all."""
    with pytest.raises(InputRefused) as caught:
        course_of(course=COURSE.replace(SHOP, f"{SHOP}, hand_only: cut dadoes"))
    assert "P025: shop.hand_only is not a list\n    Write `hand_only: [one, two]`." in str(caught.value)


def test_an_unknown_operation_under_hand_only_is_told(course_of: Callable[..., Course]) -> None:
    """With the nearest name."""
    course = course_of(course=COURSE.replace(SHOP, f"{SHOP}, hand_only: [cut dados]"))
    (problem,) = unknown_names(course, OPERATIONS)
    assert str(problem) == (
        "course.yaml: L031: shop.hand_only names 'cut dados', and no operation is called so\n    "
        "Did you mean 'cut dadoes' or 'Cut the dadoes'?"
    )


TENONING = "shop: {machines: [table saw, router table, dado set], endorsements: [tenoning]}"


def endorsed(course_of: Callable[..., Course], more: str = "") -> Course:
    return course_of(
        course=COURSE.replace(f"shop: {{{SHOP}}}", TENONING),
        signoffs=signoffs("table saw", "router table", "dado set") + more,
    )


def test_tenoning_may_need_a_sign_off_of_its_own(course_of: Callable[..., Course]) -> None:
    """Beside that of the dado set, where the shop asks for it: dadoes by machine, tenons by hand until it is signed."""
    course = endorsed(course_of)
    assert "dado set" in page_of(course, "cut dadoes").way
    assert page_of(course, "make a test tenon").way.startswith("bench")
    rows = {row.machine: row for row in lacking(course, read_lessons(course))}
    assert "no lesson on record" in rows["tenoning"].students
    assert rows["tenoning"].waiting == "Make a test tenon; Cut the tenons on the rails; Cut the tenons on the muntins"


def test_a_tenoning_endorsement_is_signed_like_a_machine(course_of: Callable[..., Course]) -> None:
    """All four steps in sign-offs.csv; the page then names both."""
    course = endorsed(course_of, "s1,tenoning,2026-09-14,2026-09-15,100,2026-09-16,2026-09-17\n")
    tenon = page_of(course, "make a test tenon")
    assert "dado set" in tenon.way
    assert (
        "Your sign-off for the dado set and for tenoning is on record. It is not today's permission." in tenon.closing
    )


def test_an_endorsement_that_no_operation_asks_for_is_told(course_of: Callable[..., Course]) -> None:
    """A slip would leave tenons to whoever may use the dado set."""
    course = course_of(course=COURSE.replace(f"shop: {{{SHOP}}}", TENONING.replace("tenoning", "tenonning")))
    problems = [str(problem) for problem in read_lessons(course).problems]
    assert problems == [
        "course.yaml: L031: shop.endorsements names 'tenonning', and no operation asks for it\n    "
        "Did you mean 'tenoning'?"
    ]


BOTH = ("machine", "hand")


@pytest.mark.parametrize(
    ("name", "routes", "said"),
    [
        ("measure the real case", BOTH, "Measure the case and not the list"),
        ("groove edges", BOTH, "Gauge from the face: the groove's back wall and the panel's back decide"),
        ("rabbet the panels", BOTH, "Gauge from the face: the panel's back and the groove's back wall decide flush"),
        ("cut dadoes", BOTH, "Leave the fit snug: the last sanding, 180 and then 240 to 320 grit, loosens it"),
        ("ease the joints to fit", BOTH, "Leave it snug: the last sanding, 180 and then 240 to 320 grit, loosens it"),
        ("ease the joints to fit", BOTH, "The last hair is taken with the plane, not by moving a cutter"),
        ("dry fit the case", BOTH, "Never twist or knock"),
        (
            "rabbet the panels",
            BOTH,
            "slapped into the frame and pulled out again by one edge. The thin front edge breaks",
        ),
        ("rabbet the panels", ("machine",), "with a shoulder plane, not with another change of the cutter"),
        ("rabbet the panels", BOTH, "try by feel, all along each edge"),
        (
            "make a test tenon",
            ("machine",),
            "the backing board, kept square to the fence. It stops the part from tipping",
        ),
        ("cut the tenons", ("machine",), "backing board square to it"),
        ("groove edges", ("machine",), "set the fence in line with the bearing"),
        ("groove edges", ("machine",), "fence and bearing in one line let the part run past without a bump"),
        ("make a test tenon", ("machine",), "Measure the shim itself with the caliper"),
        ("make a test tenon", ("machine",), "Touch no setting"),
        ("cut frame parts to the real opening", ("machine",), "Measure the width of both stiles as they are now"),
        ("cut frame parts to the real opening", ("hand",), "before you mark the rails"),
        ("finish the panels before gluing", BOTH, "mask the faces"),
        ("glue up the frame", BOTH, "The panels are finished, dry and masked"),
        ("glue up the frame", BOTH, "Ends that are off now make the shadow gap run uneven"),
        ("square the corners of the rabbet", BOTH, "Begin with the end grain"),
        ("square the corners of the rabbet", BOTH, "Clear the waste behind the chisel after every step"),
        ("square the corners of the rabbet", BOTH, "Take the long grain last"),
        ("square the corners of the rabbet", BOTH, "A chisel is a wedge. Long grain splits ahead of the edge"),
        ("square the corners of the rabbet", BOTH, "Lean the walls back by a hair"),
        ("square the corners of the rabbet", BOTH, "Drop the test block in"),
        ("fit the back", BOTH, "The fitted back brings the case square"),
        (
            "cut the rabbet for the back",
            ("machine",),
            "It can run away: experienced hands only, very light, or not at all",
        ),
    ],
)
def test_what_a_teacher_stresses_is_on_the_students_page(
    course_of: Callable[..., Course], name: str, routes: tuple[str, ...], said: str
) -> None:
    """Teaching points of the trade (common practice), on the laid-out page of the work they belong to, in each route."""
    for route in routes:
        course = course_of(course=COURSE, signoffs=signoffs(*MACHINES) if route == "machine" else HEAD)
        assert said in text_of(course, read_lessons(course), name), route


@pytest.mark.parametrize(
    ("kept", "absent"),
    [
        (("case", "divider", "shelf", "back"), ("door",)),
        (("case", "back", "door"), ("divider", "shelf", "drawer")),
        (("case", "divider", "shelf", "back", "door"), ("drawer",)),
    ],
)
def test_no_page_speaks_of_what_the_cabinet_does_not_have(
    course_of: Callable[..., Course], class_plan: str, kept: tuple[str, ...], absent: tuple[str, ...]
) -> None:
    """Without a door nobody is told to take out the door, without a divider none is dadoed; by machine and by hand."""
    plan = yaml.safe_load(class_plan)
    plan["assemblies"] = {name: made for name, made in plan["assemblies"].items() if name in kept}
    for made in plan["assemblies"].values():
        if made.get("in") == "divider.upper" and "divider" not in kept:
            made["in"] = "case.inside"
    for signed in (signoffs(*MACHINES), HEAD):
        course = course_of(course=COURSE, plan=yaml.safe_dump(plan, sort_keys=False), signoffs=signed)
        lessons, student = read_lessons(course), course.student("s1")
        for number, works in enumerate(lessons.sheets, 1):
            text = words(sheet(course, student, lessons, works, number, fit_rows(course, student)))
            assert not re.findall(rf"\b(?:{'|'.join(absent)})s?\b", text, re.IGNORECASE), works[0].operation.name


def test_a_pair_of_doors_is_told_the_gap_between_its_leaves(course_of: Callable[..., Course], class_plan: str) -> None:
    """2.0 where the leaves meet, on a sheet of its own; one door alone has its own sheet, without such a line."""
    plan = yaml.safe_load(class_plan)
    single = course_of(course=COURSE, plan=yaml.safe_dump(plan, sort_keys=False))
    plan["assemblies"]["door"]["leaves"] = ["left", "right"]
    pair = course_of(course=COURSE, plan=yaml.safe_dump(plan, sort_keys=False))
    sheets = ((single, "fit the door"), (pair, "fit a pair of doors"))
    said = [{row.name: row.values for row in page_of(c, name).setups} for c, name in sheets]
    assert [one.text.replace("\u00a0", " ") for one in said[1]["gap between the leaves"]] == ["2.0 mm"]
    assert "gap between the leaves" not in said[0]
    names = [{work.operation.name for works in read_lessons(c).sheets for work in works} for c in (single, pair)]
    assert [{"fit the door", "fit a pair of doors", "hang the door"} - each for each in names] == [
        {"fit a pair of doors"}, {"fit the door"},
    ]  # fmt: skip
