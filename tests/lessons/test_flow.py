"""The flow of a class through a shop: worked numbers of the class cabinet, and laws of any plan."""

from __future__ import annotations

from fractions import Fraction
from itertools import groupby

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lessons.flow import Booking, Plan, Shop, Slot, Task, load, plan

SIXTEEN = [f"s{number:02}" for number in range(1, 17)]


@pytest.mark.parametrize(
    ("station", "places", "minutes", "sessions"),
    [
        # The worked example of the class cabinet (estimates): 16 students, 130 usable minutes a session.
        ("table saw", 2, 77 + 20, "6.0"),  # nine operations at the saw, and the door's share of its 95 minutes
        ("router table", 1, 10 + 14 + 16, "4.9"),  # grooves, panels, and the door's share
        ("clamps", 6, 40 + 30 + 30, "2.1"),  # case, back, door
        ("drill press", 1, 8, "1.0"),
        ("hand router", 2, 12, "0.7"),
        ("instructor", 1, 57, "7.0"),
    ],
)
def test_the_load_of_a_station_is_its_minutes_over_places_and_usable_time(
    station: str, places: int, minutes: int, sessions: str
) -> None:
    """The example load: the sessions for which all places of a station are busy."""
    (one,) = load({s: [Task("work", station, minutes)] for s in SIXTEEN}, Shop({station: places}, 130))
    assert f"{float(one.sessions):.1f}" == sessions and one.minutes == 16 * minutes


def test_the_tightest_station_comes_first() -> None:
    """In the example it is the instructor, then the saws."""
    shop = Shop({"table saw": 2, "clamps": 6}, 130)
    work = [Task("saw", "table saw", 97), Task("rout", "router table", 40), Task("checks", "instructor", 57)]
    assert [one.station for one in load({s: work for s in SIXTEEN}, shop)] == ["instructor", "table saw", "router table"]


def grooving(bench: int = 60) -> Plan:
    """16 students with ten minutes each at one router table, and work at the bench meanwhile; later ids have more."""
    tasks = {
        student: [
            Task("groove", "router table", 10),
            Task("sand", "bench", bench),
            Task("rest", "bench", number * 10, frozenset({"groove"})),
        ]
        for number, student in enumerate(SIXTEEN)
    }
    return plan(tasks, Shop({"bench": 16}, 130, interruptible=frozenset({"bench"})), 8)


def test_thirteen_groove_today_and_three_tomorrow() -> None:
    """16 times 10 minutes, one router table, 130 usable minutes: 13 fit into the first session."""
    made = grooving()
    assert [len(made.of(session, "router table")) for session in (1, 2, 3)] == [13, 3, 0]


def test_who_has_most_work_left_goes_first() -> None:
    """The last on the roster have most to do and go first; the first three wait until tomorrow."""
    made = grooving()
    today = [b.student for b in made.of(1, "router table")]
    assert today[0] == "s16" and set(SIXTEEN) - set(today) == {"s01", "s02", "s03"}


def test_who_waits_for_the_machine_has_work_at_the_bench() -> None:
    """Each of the three who groove tomorrow has half an hour or more of bench work today."""
    made = grooving()
    for student in ("s01", "s02", "s03"):
        assert sum(b.end - b.start for b in made.of(1, "bench") if b.student == student) >= 30


def test_the_machine_is_never_idle_while_somebody_waits_at_the_bench() -> None:
    """Bench work is left for the machine: its bookings follow each other without a gap."""
    today = grooving().of(1, "router table")
    assert [b.start for b in today] == list(range(0, 130, 10))


def test_what_has_to_dry_waits_for_the_next_session() -> None:
    """And glue is not started in the last 45 minutes."""
    tasks = [
        Task("cut", "table saw", 90),
        Task("glue", "clamps", 20, frozenset({"cut"}), glue=True, cures=True),
        Task("plane", "bench", 10, frozenset({"glue"})),
    ]
    made = plan({"s1": tasks}, Shop({}, 130), 8)
    assert [(b.task, b.session, b.start) for b in made.bookings] == [("cut", 1, 0), ("glue", 2, 0), ("plane", 3, 0)]


def test_an_operation_is_not_done_before_the_session_in_which_it_is_shown() -> None:
    """A demonstration planned for the second session holds it back."""
    made = plan({"s1": [Task("groove", "router table", 10, earliest=2)]}, Shop({}, 130), 8)
    assert [(b.session, b.start) for b in made.bookings] == [(2, 0)]


def test_a_student_can_still_finish_in_session_8_with_25_minutes_to_spare() -> None:
    """885 minutes of work are six sessions of 130 and 105 minutes more; absent from the fourth, that is in the eighth."""
    work = [Task(f"w{number}", "bench", 145) for number in range(6)] + [Task("w7", "bench", 15)]
    shop = Shop({}, 130, interruptible=frozenset({"bench"}))
    made = plan({"s1": work}, shop, 8, {"s1": frozenset({4})})
    assert made.finish("s1") == (8, 105) and made.slack("s1") == 25
    assert not [b for b in made.bookings if b.session == 4]
    there = plan({"s1": work}, shop, 8)
    assert there.finish("s1") == (7, 105) and there.slack("s1") == 155


def test_who_is_late_has_less_than_nothing_to_spare() -> None:
    """Three hundred minutes in two sessions of 130 end 40 minutes into a third."""
    shop = Shop({}, 130, interruptible=frozenset({"bench"}))
    made = plan({"s1": [Task("w", "bench", 300)]}, shop, 2)
    assert made.finish("s1") == (3, 40) and made.slack("s1") == -40
    never = plan({"s1": [Task("w", "bench", 900)]}, shop, 2)
    assert never.unfinished == {"s1"} and never.finish("s1") is None and never.slack("s1") is None


def test_free_time_at_a_station_is_what_nobody_has_booked() -> None:
    """Of two places one is free while the other is in use; slots shorter than asked for are left out."""
    bookings = (Booking("a", "x", "saw", 1, 0, 60), Booking("b", "x", "saw", 1, 30, 50), Booking("c", "x", "saw", 1, 50, 115))
    made = Plan(Shop({"saw": 2}, 130), 1, bookings, frozenset())
    assert list(made.free("saw", 1, 20)) == [Slot("saw", 1, 0, 30), Slot("saw", 1, 60, 130)]
    one_place = Plan(Shop({}, 130), 1, bookings[2:], frozenset())
    assert list(one_place.free("saw", 1, 20)) == [Slot("saw", 1, 0, 50)]


TASKS = st.lists(
    st.tuples(st.sampled_from(["saw", "router", "bench"]), st.integers(1, 60), st.booleans(), st.integers(0, 3)),
    min_size=1,
    max_size=6,
)


@settings(max_examples=60, deadline=None)
@given(st.lists(TASKS, min_size=1, max_size=6))
def test_no_plan_books_a_place_or_a_student_twice(work: list[list[tuple[str, int, bool, int]]]) -> None:
    """Law: each does one thing at a time, stations are never overfull, all work is done once, in order, in one go."""
    tasks = {
        f"s{who}": [
            Task(f"t{i}", station, minutes, frozenset(f"t{n}" for n in range(max(0, i - back), i)), cures=cures)
            for i, (station, minutes, cures, back) in enumerate(mine)
        ]
        for who, mine in enumerate(work)
    }
    shop = Shop({"bench": 3}, 130, interruptible=frozenset({"bench"}))
    made = plan(tasks, shop, 30)
    assert not made.unfinished
    for student, mine in tasks.items():
        own = sorted((b for b in made.bookings if b.student == student), key=lambda b: (b.session, b.start))
        assert all((a.session, a.end) <= (b.session, b.start) for a, b in zip(own, own[1:], strict=False))
        for task in mine:
            parts = [b for b in own if b.task == task.name]
            assert sum(b.end - b.start for b in parts) == task.minutes
            assert len(parts) == 1 or task.station == "bench"
            for need in task.needs:
                before = [b for b in own if b.task == need][-1]
                assert (before.session, before.end) <= (parts[0].session, parts[0].start)
                cures = next(t.cures for t in mine if t.name == need)
                assert not cures or before.session < parts[0].session
    for (_, station), group in groupby(
        sorted(made.bookings, key=lambda b: (b.session, b.station)), key=lambda b: (b.session, b.station)
    ):
        found = list(group)
        assert all(b.end <= shop.usable for b in found)
        assert all(sum(b.start <= a.start < b.end for b in found) <= shop.at(station) for a in found)


def test_the_sum_of_all_loads_is_the_work_of_the_class() -> None:
    """Two at one station and one at another: 100 and 60 minutes."""
    found = load({"a": [Task("x", "saw", 60), Task("y", "bench", 60)], "b": [Task("x", "saw", 40)]}, Shop({"bench": 2}, 100))
    assert [(one.station, one.minutes, one.sessions) for one in found] == [
        ("saw", 100, Fraction(1)),
        ("bench", 60, Fraction(3, 10)),
    ]
