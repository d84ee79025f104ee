import csv
from fractions import Fraction
from math import sqrt
from pathlib import Path
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rubrics.decide import (
    Verdict,
    acceptance_limits,
    can_decide,
    conformance,
    conformance_few_readings,
    conformance_known_bounds,
    conformance_never_negative,
    decide,
    guard_band,
    guard_band_few_readings,
    guard_band_known_bounds,
    misjudged,
    uncertainty_ratio,
)
from shared.problems import OutOfRange

PUBLISHED = Path(__file__).parent.parent / "published"


def rows(name):
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def given_numbers(text):
    return {name: float(number) for name, number in (pair.split("=") for pair in text.split())}


def limits(lower=None, upper=None, **_):
    return lower, upper


PHI = NormalDist().cdf

ASKED = {
    "conformance": lambda value, u, **g: conformance(value, *limits(**g), u),
    "risk": lambda value, u, **g: 1 - conformance(value, *limits(**g), u),
    "risk, few readings": lambda value, sd, readings, **g: (
        1 - conformance_few_readings(value, *limits(**g), sd * sqrt(readings), int(readings))
    ),
    "lowest accepted": lambda lower, upper, u, w: acceptance_limits(lower, upper, u, PHI(w))[0],
    "highest accepted": lambda lower, upper, u, w: acceptance_limits(lower, upper, u, PHI(w))[1],
    "ratio": lambda lower, upper, u: uncertainty_ratio(lower, upper, u),
    "guard": lambda u, sure: guard_band(u, sure),
    "guard, few readings": lambda sd, readings, sure: guard_band_few_readings(sd * sqrt(readings), int(readings), sure),
    "guard, known bounds": lambda u, sure: guard_band_known_bounds(sqrt(3) * u, sure),
}


@pytest.mark.parametrize("row", rows("decisions.csv"), ids=lambda r: f"{r['what']} {r['given']}")
def test_decisions_come_out_as_published(row):
    """Worked examples of JCGM 106, UKAS LAB 48, ILAC-G8 and a note on few readings."""
    numbers = given_numbers(row["given"])
    if row["what"] == "verdict":
        assert decide(**numbers).verdict is Verdict(row["expected"])
        return
    found = ASKED[row["what"]](**numbers)
    assert abs(found - float(row["expected"])) <= float(row["tolerance"]), found


@pytest.mark.parametrize("row", rows("misjudged.csv"), ids=lambda r: f"{r['what']} {r['given']}")
def test_whole_batches_are_misjudged_as_published(row):
    """Risk tables of the NCSLI RP-19 draft and of Deaver, both ways."""
    name, scale = row["what"].split()
    found = getattr(misjudged(**given_numbers(row["given"])), name) * (100 if scale == "percent" else 1)
    assert abs(found - float(row["expected"])) <= float(row["tolerance"]), found


@pytest.mark.parametrize(("mean", "u", "guard"), [(0, 0.2, 0), (0.7, 3, 0), (-2, 1.5, -0.4), (0, 1, 0.3)])
def test_what_is_accepted_adds_up(mean, u, guard):
    """Good parts not rejected and bad ones accepted are all readings inside, which spread as s^2 + u^2."""
    found = misjudged(mean, 1, u, -1, 1, guard)
    good = PHI(1 - mean) - PHI(-1 - mean)
    readings = NormalDist(mean, sqrt(1 + u * u))
    inside = readings.cdf(1 - guard) - readings.cdf(-1 + guard)
    assert good - found.good_rejected + found.bad_accepted == pytest.approx(inside, abs=1e-9)
    assert found.bad_among_accepted == pytest.approx(found.bad_accepted / inside, abs=1e-8)


class TestConformance:
    def test_inside_the_limit_is_not_proved_inside(self):
        """LAB 48 Example 6, second case: 495.2 is above the limit of 490 and yet only 73 % sure."""
        decision = decide(495.2, 490, None, 8.6)
        assert decision.verdict is Verdict.PROBABLY_INSIDE
        assert decision.probability == pytest.approx(0.727, abs=0.0005)

    def test_the_same_reading_further_in_is_inside(self):
        """LAB 48 Example 6, first case: 509.7 is accepted by the rule of at least 95 %."""
        assert decide(509.7, 490, None, 8.6).verdict is Verdict.INSIDE

    @given(st.floats(-3, 3), st.floats(0.01, 2))
    def test_two_limits_are_two_single_limits(self, value, u):
        """Outside below, inside and outside above share out the whole."""
        inside = conformance(value, -1, 1, u)
        below, above = conformance(value, None, -1, u), conformance(value, 1, None, u)
        assert below + inside + above == pytest.approx(1, abs=1e-12)

    def test_a_very_small_chance_is_not_lost(self):
        """Ten deviations outside: 7.6e-24 on either side, not zero on one of them."""
        assert conformance(0, 10, None, 1) == conformance(0, None, -10, 1) == pytest.approx(7.62e-24, rel=1e-3, abs=0)

    def test_a_reading_without_uncertainty_is_certain(self):
        """And a limit belongs to the tolerance."""
        assert conformance(Fraction("9.9"), Fraction("9.9"), Fraction("10.1"), 0) == 1
        assert conformance(Fraction("9.86"), Fraction("9.9"), Fraction("10.1"), 0) == 0

    def test_known_bounds_count_the_overlap(self):
        """A reading of 10 known to +-0.4, limits 9.9 and 10.5: half a millimetre of 0.8 is inside."""
        share = conformance_known_bounds(Fraction(10), Fraction("9.9"), Fraction("10.5"), Fraction("0.4"))
        assert share == pytest.approx(0.625, abs=1e-15)
        assert conformance_known_bounds(12.0, 9.9, 10.5, 0.4) == 0
        assert conformance_known_bounds(10.0, None, 10.5, 0.4) == 1
        assert conformance_known_bounds(10, 10, 11, 0) == 1

    def test_a_gap_cannot_be_negative(self):
        """A gap read as 0 with limits 0 and 2 u: cut at zero the chance doubles to 95.4 %."""
        plain = conformance(0, 0, 0.2, 0.1)
        assert plain == pytest.approx(0.47725, abs=5e-6)
        assert conformance_never_negative(0, 0, 0.2, 0.1) == pytest.approx(2 * plain, abs=1e-12)
        assert conformance_never_negative(0, -0.5, 0.2, 0.1) == conformance_never_negative(0, 0, 0.2, 0.1)
        assert conformance_never_negative(0.1, None, 0.2, 0) == 1

    def test_a_gap_far_from_zero_is_as_any_size(self):
        """Where zero is out of reach the cut changes nothing."""
        assert conformance_never_negative(5, 4.9, 5.1, 0.05) == pytest.approx(conformance(5, 4.9, 5.1, 0.05), abs=1e-12)

    def test_few_readings_are_less_sure(self):
        """Three readings 2 u inside one limit: 90.8 %, not 97.7 % (closed form of t with 2 degrees)."""
        few = conformance_few_readings(2, 0, None, sqrt(3), 3)
        assert few == pytest.approx(0.5 + 2 / (2 * sqrt(2 + 4)), abs=1e-12)
        assert few < conformance(2, 0, None, 1)
        assert conformance_few_readings(2, None, 0, sqrt(3), 3) == pytest.approx(1 - few, abs=1e-12)


class TestVerdict:
    @pytest.mark.parametrize(
        ("value", "verdict"),
        [
            ("10.0", Verdict.INSIDE),
            ("10.3", Verdict.INSIDE),
            ("10.4", Verdict.PROBABLY_INSIDE),
            ("10.5", Verdict.PROBABLY_INSIDE),
            ("10.51", Verdict.PROBABLY_OUTSIDE),
            ("10.6", Verdict.PROBABLY_OUTSIDE),
            ("10.7", Verdict.OUTSIDE),
            ("9.7", Verdict.INSIDE),
            ("9.5", Verdict.PROBABLY_INSIDE),
            ("9.4", Verdict.PROBABLY_OUTSIDE),
            ("9.3", Verdict.OUTSIDE),
        ],
    )
    def test_the_four_zones(self, value, verdict):
        """10 +-0.5 read to u = 0.1: sure within 0.335 of nominal, surely outside beyond 0.665."""
        decision = decide(Fraction(value), Fraction("9.5"), Fraction("10.5"), 0.1)
        assert decision.verdict is verdict
        assert decision.guard_band == pytest.approx(0.1645, abs=5e-5)

    def test_the_words_a_student_reads(self):
        """Five words, in the trade's language."""
        assert [verdict.value for verdict in Verdict] == [
            "inside",
            "probably inside",
            "probably outside",
            "outside",
            "this tool cannot tell",
        ]

    def test_a_hooked_tape_cannot_tell_half_a_millimetre(self):
        """u = 0.5: the guard band of 0.82 is wider than the tolerance of +-0.5."""
        decision = decide(Fraction(600), Fraction("599.5"), Fraction("600.5"), 0.5)
        assert decision.verdict is Verdict.CANNOT_TELL
        assert decision.guard_band > 0.5
        assert not can_decide(Fraction("599.5"), Fraction("600.5"), 0.5)

    def test_a_crude_tool_still_finds_a_gross_error(self):
        """10 mm too long is outside, whatever the tool."""
        assert decide(610, 599.5, 600.5, 0.5).verdict is Verdict.OUTSIDE

    def test_a_tool_is_just_fine_enough_when_the_guard_band_is_half_the_tolerance(self):
        """At +-1.645 u one single reading, the nominal one, is proved inside."""
        half = guard_band(0.1)
        assert can_decide(-half, half, 0.1)
        assert decide(0.0, -half, half, 0.1).verdict is Verdict.INSIDE
        assert not can_decide(-0.99 * half, 0.99 * half, 0.1)

    def test_the_limits_a_reading_must_keep(self):
        """Tolerance +-0.5, u 0.1: sure within +-0.336; one limit alone stays one."""
        assert acceptance_limits(-0.5, 0.5, 0.1) == pytest.approx((-0.3355, 0.3355), abs=5e-5)
        assert acceptance_limits(None, Fraction(1, 2), 0) == (None, 0.5)

    def test_one_limit_alone_can_always_be_decided(self):
        """There is always a reading far enough inside."""
        assert can_decide(None, 10, 5.0)
        assert can_decide(10, None, 5.0)

    def test_a_closed_gap_is_inside(self):
        """A gap of 0 in a band of 0 to 0.15 needs no guard against being below zero."""
        assert decide(0, 0, 0.15, 0.03, never_negative=True).verdict is Verdict.INSIDE
        assert decide(0, 0, 0.15, 0.03).verdict is Verdict.PROBABLY_INSIDE
        assert decide(0.14, 0, 0.15, 0.03, never_negative=True).verdict is Verdict.PROBABLY_INSIDE
        assert decide(0.25, 0, 0.15, 0.03, never_negative=True).verdict is Verdict.OUTSIDE

    def test_a_tool_for_gaps_may_be_as_coarse_as_the_gap(self):
        """0 to 0.15: a guard band of up to 0.15 leaves a closed gap to be proved."""
        assert can_decide(0, 0.15, 0.09, never_negative=True)
        assert not can_decide(0, 0.15, 0.09)
        assert not can_decide(None, 0.15, 0.1, never_negative=True)
        assert can_decide(0.05, 0.15, 0.03, never_negative=True)
        assert not can_decide(0.05, 0.15, 0.04, never_negative=True)

    def test_exact_readings_meet_exact_limits(self):
        """Without uncertainty a reading on the limit is inside, with no float in between."""
        for tenth in range(1, 100):
            limit = Fraction(tenth, 10)
            assert decide(limit, limit, limit + 1, 0).verdict is Verdict.INSIDE
            assert decide(limit - Fraction(1, 10**20), limit, limit + 1, 0).verdict is Verdict.OUTSIDE

    @given(
        st.fractions(-3, 3, max_denominator=1000),
        st.fractions(0, 2, max_denominator=64),
        st.floats(0, 1),
        st.sampled_from([0.9, 0.95, 0.977]),
    )
    def test_verdict_and_chance_never_contradict(self, value, half, u, sure):
        """Inside is at least as sure as said (two limits cost at most as much again), outside as unlikely."""
        decision = decide(value, -half, half, u, sure)
        if decision.verdict is Verdict.INSIDE:
            assert decision.probability >= 1 - 2 * (1 - sure) - 1e-9
        if decision.verdict is Verdict.OUTSIDE:
            assert decision.probability <= 1 - sure + 1e-9

    @given(st.fractions(-3, 3, max_denominator=1000), st.floats(0.01, 1))
    def test_a_verdict_does_not_depend_on_the_sign(self, value, u):
        """Too long and too short are judged alike."""
        assert decide(value, -1, 1, u).verdict is decide(-value, -1, 1, u).verdict


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: decide(1, None, None, 0.1), "a tolerance needs a lower limit, an upper limit or both"),
        (lambda: decide(1, 3, 2, 0.1), "the lower limit 3 is above the upper limit 2"),
        (lambda: decide(1, 0, 2, -0.1), "an uncertainty is never below zero, not -0.1"),
        (lambda: guard_band(0.1, 0.4), "a wanted chance lies between 0.5 and below 1, not at 0.4"),
        (lambda: guard_band(0.1, 1), "a wanted chance lies between 0.5 and below 1, not at 1"),
        (lambda: guard_band_known_bounds(0.1, 1.1), "a wanted chance lies between 0.5 and 1, not at 1.1"),
        (lambda: uncertainty_ratio(0, 1, 0), "a ratio to an uncertainty needs one above zero"),
        (lambda: guard_band_few_readings(0.1, 1), "a spread needs at least two readings, not 1"),
        (
            lambda: guard_band_few_readings(0, 3),
            "equal readings show no spread; the uncertainty of the tool must serve instead",
        ),
        (
            lambda: misjudged(0, 0, 0.1, -1, 1),
            "a batch without spread, or a tool without uncertainty, has no such risk",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_cannot_be_judged_is_refused(call, words):
    """Each refusal in its words."""
    with pytest.raises(OutOfRange, match=f"^{words}$"):
        call()
