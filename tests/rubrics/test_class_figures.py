import csv
import json
from fractions import Fraction
from math import exp, log, pi, sqrt
from pathlib import Path
from statistics import NormalDist

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rubrics.agreement import intraclass, kappa, last_digits, limits_of_agreement
from rubrics.class_figures import (
    bartlett,
    capability,
    control_limits,
    cpm,
    expected_outside,
    lag_one,
    mean,
    sd,
    share_inside,
    share_interval,
)
from rubrics.gauge_study import GaugeStudy, gauge_by_ranges, gauge_by_variance
from shared.handbook.tables import ChartFactors, table
from shared.problems import OutOfRange

PUBLISHED = Path(__file__).parent.parent / "published"


def rows(name):
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


def published(name):
    """A file of published values, every number exact."""
    return json.loads((PUBLISHED / name).read_text(encoding="utf-8"), parse_float=Fraction, parse_int=Fraction)


def near(found, printed):
    value, tolerance = printed
    return abs(Fraction(found) - value) <= tolerance + Fraction(1, 10**15)


def certified_data(part):
    if "digits" in part:
        return [Fraction(digit) for digit in part["digits"]]
    if "first" in part:
        half = (int(part["n"]) - 1) // 2
        return [Fraction(part["first"]), *[Fraction(text) for text in part["then"]] * half]
    return part["data"]


@pytest.mark.parametrize("part", published("nist_univariate.json")["sets"], ids=lambda p: p["name"])
def test_the_nist_certified_values_to_their_certified_digits(part):
    """Nine data sets of the NIST Statistical Reference Datasets: mean, deviation, lag-one autocorrelation."""
    data = certified_data(part)
    assert len(data) == part["n"]
    for name, figure in (("mean", mean), ("sd", sd), ("lag1", lag_one)):
        assert near(figure(data), (part[name], part[f"{name}_tolerance"])), (name, figure(data))


class TestCapability:
    def test_the_interval_of_an_amplifier_gain(self):
        """SAS/QC user guide, Example 5.3: Cpk between 0.328 and 0.496 with 90 %."""
        case = published("capability.json")
        found = capability(case["data"], case["lower"], case["upper"], float(case["confidence"]))
        assert found.readings == 75
        assert near(found.cpk_interval.low, (case["cpk_low"], case["tolerance"]))
        assert near(found.cpk_interval.high, (case["cpk_high"], case["tolerance"]))

    @pytest.mark.parametrize("row", rows("share_outside.csv"), ids=lambda r: r["mean"])
    def test_shares_outside_as_published(self, row):
        """Share outside and Cpk of a normal spread."""
        m, s, low, high = (float(row[name]) for name in ("mean", "sd", "lower", "upper"))
        assert expected_outside(m, s, low, high) == pytest.approx(
            float(row["outside"]), abs=float(row["outside_tolerance"])
        )
        step = Fraction(row["sd"])
        pair = [Fraction(row["mean"]) - step, Fraction(row["mean"]), Fraction(row["mean"]) + step]
        assert sd(pair) == pytest.approx(s, rel=1e-12)
        assert capability(pair, low, high).cpk == pytest.approx(float(row["cpk"]), abs=float(row["cpk_tolerance"]))

    def test_cp_and_cpk_by_hand(self):
        """Mean 10, deviation 1, limits 7 and 16: Cp 9/6, Cpk 3/3; off target by 1.5 Cpm is 1.5 / sqrt 3.25."""
        values = [9, 10, 11]
        found = capability(values, 7, 16)
        assert (found.cp, found.cpk) == (1.5, 1.0)
        assert cpm(values, 7, 16, Fraction("11.5")) == pytest.approx(1.5 / sqrt(3.25), rel=1e-12)
        assert cpm(values, 7, 16, 10) == 1.5

    def test_the_interval_of_cp_with_two_degrees_by_hand(self):
        """Three readings: chi-square with 2 degrees is -2 ln of the share above, so both ends are closed."""
        found = capability([9, 10, 11], 7, 16, 0.9)
        assert found.cp_interval.low == pytest.approx(1.5 * sqrt(-2 * log(0.95) / 2), rel=1e-9)
        assert found.cp_interval.high == pytest.approx(1.5 * sqrt(-2 * log(0.05) / 2), rel=1e-9)

    def test_one_limit_has_no_cp(self):
        """Only the distance to that limit counts."""
        found = capability([9, 10, 11], None, 13)
        assert (found.cp, found.cp_interval, found.cpk) == (None, None, 1.0)
        assert capability([9, 10, 11], 4, None).cpk == 2.0

    def test_few_readings_are_marked(self):
        """A class of sixteen is few, 25 are enough."""
        assert capability([Fraction(n % 3) for n in range(24)], 0, 3).few
        assert not capability([Fraction(n % 3) for n in range(25)], 0, 3).few

    def test_the_counted_share_includes_the_limits(self):
        """A reading on the limit is inside."""
        assert share_inside([Fraction("9.9"), 10, Fraction("10.11")], Fraction("9.9"), Fraction("10.1")) == (
            Fraction(2, 3)
        )
        assert share_inside([1, 2, 3, 4], None, 3) == Fraction(3, 4)
        assert share_inside([1, 2, 3, 4], 3, None) == Fraction(1, 2)

    @given(st.integers(1, 300).flatmap(lambda n: st.tuples(st.integers(0, n), st.just(n))))
    def test_the_interval_of_a_share_solves_its_equation(self, pair):
        """Both ends satisfy (count/n - p)^2 = z^2 p (1 - p) / n, the definition of the Wilson interval."""
        count, n = pair
        z = NormalDist().inv_cdf(0.975)
        found = share_interval(count, n)
        assert 0 <= found.low <= count / n <= found.high + 1e-12 <= 1 + 1e-12
        for p in (found.low, found.high):
            assert (count / n - p) ** 2 == pytest.approx(z * z * p * (1 - p) / n, abs=1e-9)


class TestGauge:
    NAMES = {
        "EV": lambda s: s.repeatability,
        "AV": lambda s: s.reproducibility,
        "GRR": lambda s: s.gauge,
        "PV": lambda s: s.parts,
        "TV": lambda s: s.total,
        "pct_GRR": lambda s: 100 * s.share_of_spread,
        "ndc": lambda s: s.distinct,
        "pct_tolerance_for_pm3": lambda s: 100 * s.share_of_tolerance(-3, 3),
    }

    @pytest.mark.parametrize("name", published("gauge_study_class.json")["by_ranges"])
    def test_the_manual_study_by_ranges(self, name):
        """AIAG Measurement Systems Analysis, 4th edition, by averages and ranges."""
        case = published("gauge_study_class.json")
        found = gauge_by_ranges(case["readings"])
        sheet = {"Rbar": found.mean_range, "Xdiff": found.mean_difference}
        value = sheet[name] if name in sheet else self.NAMES[name](found.study)
        assert near(value, case["by_ranges"][name]), float(value)

    @pytest.mark.parametrize("name", published("gauge_study_class.json")["by_variance"])
    def test_the_manual_study_by_variance(self, name):
        """The same readings by analysis of variance."""
        case = published("gauge_study_class.json")
        found = gauge_by_variance(case["readings"])
        value = found.interaction_chance if name == "interaction_p" else self.NAMES[name](found.study)
        assert near(value, case["by_variance"][name]), float(value)
        assert found.pooled

    @pytest.mark.parametrize("name", published("gauge_study_caliper.json")["by_ranges"])
    def test_a_caliper_study(self, name):
        """A filled-in sheet of 2017; people differ less than repeats do, so nothing is left for them."""
        case = published("gauge_study_caliper.json")
        found = gauge_by_ranges(case["readings"])
        values = {
            "Rbar": found.mean_range,
            "Rp": found.part_range,
            "Xdiff": found.mean_difference,
            "upper_range_limit": found.largest_range,
        }
        for who in "ABC":
            values[f"mean_{who}"] = found.person_means[who]
            values[f"range_{who}"] = found.person_ranges[who]
        assert near(values[name], case["by_ranges"][name]), float(values[name])
        assert found.study.reproducibility == 0
        assert found.study.gauge == found.study.repeatability

    def test_people_who_treat_parts_differently_are_not_pooled(self):
        """Two people, two parts, read 0/2, 10/12 and 10/12, 0/2.

        Repeats scatter with variance 2, people and parts not at all, and the interaction has a mean square
        of 200: its variance is (200 - 2) / 2 = 99, and all of it counts against the people.
        """
        found = gauge_by_variance({"A": [[0, 10], [2, 12]], "B": [[10, 0], [12, 2]]})
        assert not found.pooled
        assert found.study.repeatability == pytest.approx(sqrt(2), rel=1e-12)
        assert found.study.reproducibility == pytest.approx(sqrt(99), rel=1e-12)
        assert found.study.gauge == pytest.approx(sqrt(101), rel=1e-12)
        assert found.study.parts == 0

    def test_a_strict_person_counts_beyond_the_interaction(self):
        """As above with B reading 100 more: (20000 - 200) / 4 = 4950 for the people, and the 99 as before."""
        found = gauge_by_variance({"A": [[0, 10], [2, 12]], "B": [[110, 100], [112, 102]]})
        assert found.study.reproducibility == pytest.approx(sqrt(4950 + 99), rel=1e-12)

    def test_distinct_sizes_are_cut_not_rounded(self):
        """1.41 x 4.2 / 1 is 5.9, which is 5."""
        assert GaugeStudy(1.0, 0.0, 1.0, 4.2).distinct == 5

    def test_numbers_without_a_factor_are_refused(self):
        """Two trials have no printed factor here; the other method needs none."""
        two = {who: tries[:2] for who, tries in published("gauge_study_class.json")["readings"].items()}
        with pytest.raises(OutOfRange, match="^there is no factor for 2 trials; use the analysis of variance$"):
            gauge_by_ranges(two)
        assert gauge_by_variance(two).study.gauge > 0


class TestGroups:
    def test_gear_batches_scatter_unalike(self):
        """NIST/SEMATECH e-Handbook GEAR.DAT: Bartlett's statistic is 20.7859."""
        case = published("gear_diameters.json")
        found = bartlett(case["groups"])
        assert near(found.statistic, (case["bartlett"], case["tolerance"]))
        assert 0.01 < found.chance < 0.05

    @pytest.mark.parametrize("row", rows("chart_factors.csv"), ids=lambda r: r["readings"])
    def test_control_limits_use_the_printed_factors(self, row):
        """A group with range 1 and mean 0 shows the factors A2, D3 and D4 themselves."""
        size = int(row["readings"])
        group = [Fraction(-1, 2), Fraction(1, 2), *[Fraction(0)] * (size - 2)]
        found = control_limits([group, group])
        tolerance = float(row["tolerance"])
        assert (found.mean, found.range) == (0, 1)
        assert found.means.high == -found.means.low == pytest.approx(float(row["A2"]), abs=tolerance)
        assert found.ranges.low == pytest.approx(float(row["D3"]), abs=tolerance)
        assert found.ranges.high == pytest.approx(float(row["D4"]), abs=tolerance)

    @pytest.mark.parametrize("row", table(ChartFactors), ids=lambda r: str(r.readings))
    def test_the_mean_range_is_that_of_a_normal_sample(self, row):
        """d2 is the integral of 1 - Phi^n - (1 - Phi)^n over the line, summed here in steps of 0.01."""
        below = [NormalDist().cdf(step / 100) for step in range(-900, 901)]
        n = int(row.readings)
        assert sum(1 - p**n - (1 - p) ** n for p in below) / 100 == pytest.approx(float(row.d2), abs=1e-6)

    def test_drift_shows_in_the_lag(self):
        """Steadily growing readings go with the one before, alternating ones against it."""
        assert lag_one(list(range(50))) > 0.9
        assert lag_one([0, 1] * 25) < -0.9


class TestAssessors:
    @pytest.mark.parametrize(
        ("field", "name"),
        [
            ("icc_1_1", "one_way"),
            ("icc_2_1", "agreement"),
            ("icc_3_1", "consistency"),
            ("icc_1_k", "one_way_mean"),
            ("icc_2_k", "agreement_mean"),
            ("icc_3_k", "consistency_mean"),
        ],
    )
    def test_the_six_correlations_of_shrout_and_fleiss(self, field, name):
        """Shrout and Fleiss (1979): four judges, six pieces."""
        case = published("intraclass.json")
        assert near(getattr(intraclass(case["scores"]), name), case["printed"][field])

    def test_a_strict_assessor_agrees_less_but_is_consistent(self):
        """One mark less throughout: consistency 1, agreement below it."""
        found = intraclass([[5, 4], [7, 6], [9, 8]])
        assert found.consistency == 1
        assert found.agreement == Fraction(4, Fraction(9, 2))

    def test_kappa_by_hand(self):
        """20 and 15 of 50 agree: p_o 7/10, p_e (25 x 30 + 25 x 20) / 2500 = 1/2, kappa 2/5."""
        assert kappa([[20, 5], [10, 15]]) == Fraction(2, 5)

    def test_full_agreement_and_chance(self):
        """1 when all agree, 0 when the columns fall alike in every row, below 0 when they cross."""
        assert kappa([[7, 0], [0, 3]]) == 1
        assert kappa([[12, 8], [6, 4]]) == 0
        assert kappa([[0, 5], [5, 0]]) == -1

    def test_weights_forgive_small_disagreements(self):
        """By hand: counts 4 0 0, 1 2 1, 0 0 4; squared distance weighs 2 against 28.67 by chance: 1 - 12 x 2 / 344."""
        counts = [[4, 0, 0], [1, 2, 1], [0, 0, 4]]
        squares = [[(i - j) ** 2 for j in range(3)] for i in range(3)]
        by_chance = sum(
            squares[i][j] * sum(counts[i]) * sum(row[j] for row in counts) for i in range(3) for j in range(3)
        )
        assert by_chance == 4 * 2 + 4 * 4 * 5 + 4 * 5 + 4 * 5 + 4 * 4 * 5 + 4 * 2
        assert kappa(counts, squares) == 1 - Fraction(12 * 2, by_chance)
        assert kappa(counts, squares) > kappa(counts)

    @given(st.lists(st.lists(st.integers(1, 20), min_size=3, max_size=3), min_size=3, max_size=3))
    def test_equal_weights_are_plain_kappa(self, counts):
        """Any weight that is the same for every disagreement gives the unweighted figure."""
        alike = [[0 if i == j else 7 for j in range(3)] for i in range(3)]
        assert kappa(counts, alike) == kappa(counts) <= 1

    def test_the_limits_of_two_meters(self):
        """Bland and Altman (1986): mean difference -2.1 and deviation 38.8 l/min; the limits stand 1.96 of it off."""
        case = published("peak_flow.json")
        found = limits_of_agreement(case["first"], case["second"])
        assert near(found.bias, (case["bias"], case["tolerance"]))
        assert near(found.sd, (case["sd"], case["tolerance"]))
        half = NormalDist().inv_cdf(0.975) * found.sd
        assert (found.limits.low, found.limits.high) == pytest.approx((found.bias - half, found.bias + half))

    def test_limits_of_agreement_by_hand(self):
        """Differences 0.1, 0.2 and 0.3: bias 0.2, deviation 0.1, limits 0.2 -+ 0.196."""
        first = [Fraction("10.1"), Fraction("20.2"), Fraction("30.3")]
        found = limits_of_agreement(first, [10, 20, 30])
        assert found.bias == Fraction("0.2")
        assert found.sd == pytest.approx(0.1, rel=1e-12)
        assert (found.limits.low, found.limits.high) == pytest.approx((0.004, 0.396), abs=5e-5)


class TestLastDigits:
    STEP = Fraction(1, 10)

    def even(self):
        return [Fraction(n, 10) for n in range(1000, 1050)]

    def test_even_digits_are_no_surprise(self):
        """Five of each in fifty: nothing at all."""
        found = last_digits(self.even(), self.STEP)
        assert (found.counts, found.statistic, found.chance) == ((5,) * 10, 0.0, 1.0)

    def test_piling_up_on_0_and_5_is_seen(self):
        """Half of fifty readings on 0 and half on 5: 2 x 20^2 / 5 + 8 x 5 = 200."""
        found = last_digits([Fraction(n, 2) for n in range(50)], self.STEP)
        assert found.counts == (25, 0, 0, 0, 0, 25, 0, 0, 0, 0)
        assert found.statistic == 200
        assert found.chance < 1e-12

    def test_a_little_uneven_is_no_surprise(self):
        """One digit missing and one doubled: 10 with nine degrees, which chance gives one time in three."""
        uneven = [5, 5, 5, 5, 5, 5, 5, 5, 0, 10]
        values = [Fraction(10 * i + digit, 10) for digit, n in enumerate(uneven) for i in range(n)]
        found = last_digits(values, self.STEP)
        assert found.statistic == 10
        tail = 2 * (1 - NormalDist().cdf(sqrt(10))) + sqrt(20 / pi) * exp(-5) * (1 + 10 / 3 + 100 / 15 + 1000 / 105)
        assert found.chance == pytest.approx(tail, abs=1e-9)

    def test_whole_sixteenths_are_a_cycle_of_four(self):
        """Read to 1/64 in, only every fourth is a whole sixteenth."""
        step = Fraction(254, 640)
        found = last_digits([n * 4 * step for n in range(20)], step, cycle=4)
        assert found.counts == (20, 0, 0, 0)

    @pytest.mark.parametrize(
        ("values", "words"),
        [
            ([Fraction(n, 10) for n in range(49)], "last digits need at least 50 readings, not 49"),
            ([Fraction(n % 9, 10) for n in range(60)], "sizes this much alike have uneven last digits anyway"),
            ([Fraction(n, 20) for n in range(60)], "not every reading is a whole number of steps of 0.1"),
        ],
        ids=["few", "alike", "finer"],
    )
    def test_where_the_test_means_nothing_it_is_refused(self, values, words):
        """Each in its words."""
        with pytest.raises(OutOfRange, match=f"^{words}$"):
            last_digits(values, self.STEP)


EVEN = "a gauge study needs every person to read every part equally often, two of each at least"


@pytest.mark.parametrize(
    ("call", "words"),
    [
        (lambda: mean([]), "this figure needs at least 1 values, not 0"),
        (lambda: sd([1]), "this figure needs at least 2 values, not 1"),
        (lambda: lag_one([2, 2]), "equal readings show no drift"),
        (lambda: share_interval(5, 4), "5 of 4 is no share"),
        (lambda: share_interval(1, 4, 95), "a confidence lies between 0 and 1, not at 95"),
        (lambda: expected_outside(0, 0, -1, 1), "readings that do not differ have no spread to compare"),
        (lambda: capability([1, 1], 0, 2), "readings that do not differ have no spread to compare"),
        (lambda: capability([1, 2], None, None), "a capability needs a lower limit, an upper limit or both"),
        (lambda: bartlett([[1, 2]]), "spreads are compared between at least two groups"),
        (lambda: bartlett([[1, 2], [3, 3]]), "readings that do not differ have no spread to compare"),
        (lambda: control_limits([[1, 2], [1, 2, 3]]), "control limits need groups of one size, from 2 to 10 readings"),
        (lambda: control_limits([[1]]), "control limits need groups of one size, from 2 to 10 readings"),
        (lambda: kappa([[1, 2]]), "agreement needs a square table: the same levels for both assessors"),
        (
            lambda: kappa([[1, 2], [3, 4]], [[0, 1]]),
            "agreement needs a square table: the same levels for both assessors",
        ),
        (
            lambda: kappa([[5, 0], [0, 0]]),
            "where only one level is ever given, agreement beyond chance has no meaning",
        ),
        (lambda: intraclass([[1, 2]]), "every piece needs a score from every person, two of each at least"),
        (
            lambda: intraclass([[1, 2], [2, 1]]),
            "pieces that do not differ say nothing about the people who score them",
        ),
        (
            lambda: limits_of_agreement([1, 2], [1]),
            "each piece is read twice: 2 readings do not pair with 1",
        ),
        (lambda: gauge_by_variance({"A": [[1, 2], [1, 2]]}), EVEN),
        (lambda: gauge_by_variance({"A": [[1, 2], [1, 2]], "B": [[1, 2]]}), EVEN),
        (
            lambda: gauge_by_variance({"A": [[1, 2], [1, 2]], "B": [[1, 2], [1, 2]]}),
            "repeats that never differ show nothing about the gauge; read to a finer step",
        ),
    ],
    ids=lambda value: value if isinstance(value, str) else "",
)
def test_what_has_no_answer_is_refused(call, words):
    """Each refusal in its words."""
    with pytest.raises(OutOfRange, match=f"^{words}$"):
        call()
