import csv
from fractions import Fraction
from math import sqrt
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from rubrics.decide import guard_band
from rubrics.instruments import (
    bound_uncertainty,
    fit_uncertainty,
    instrument,
    instruments,
    largest_error,
    out_of_square,
    out_of_square_uncertainty,
    read_instruments,
    reading_uncertainty,
    step_uncertainty,
    uncertainty,
)
from shared.handbook.tables import UnknownName
from shared.problems import InputRefused, OutOfRange

PUBLISHED = Path(__file__).parent.parent / "published"


def rows(name):
    with (PUBLISHED / name).open(encoding="utf-8", newline="") as file:
        return list(csv.DictReader(file))


@pytest.mark.parametrize("row", rows("tape_classes.csv"), ids=lambda r: f"{r['class']}, {r['metres']} m")
def test_tapes_may_err_as_the_european_classes_say(row):
    """Twelve printed limits for 3 to 10 m, measured between two marks."""
    tape = instrument(f"class {row['class']} tape from a mark")
    assert largest_error(tape, 1000 * Fraction(row["metres"])) == Fraction(row["largest_error_mm"])


class TestBuiltIn:
    def test_every_instrument_has_source_and_status(self):
        """An instructor can see how far each figure is to be trusted."""
        assert all(tool.source and tool.status for tool in instruments().values())
        assert {tool.status for tool in instruments().values()} <= {
            "printed",
            "common practice",
            "our choice",
            "from memory",
        }

    @pytest.mark.parametrize(
        ("name", "size", "expected"),
        [
            ("class II tape", 1000, "0.50"),
            ("class II tape from a mark", 1000, "0.41"),
            ("inch tape from a mark", 1000, "0.54"),
            ("fine inch tape from a mark", 1000, "0.37"),
            ("steel rule", 300, "0.16"),
            ("inch steel rule", 300, "0.13"),
            ("digital caliper", 18, "0.032"),
            ("feeler leaves", Fraction(1, 4), "0.029"),
        ],
    )
    def test_what_each_tool_can_do(self, name, size, expected):
        """Worked by hand from the models: bound / sqrt 3 and step / sqrt 12 as a root sum of squares."""
        found = uncertainty(instrument(name), Fraction(size))
        assert f"{found:.{len(expected) - 2}f}" == expected

    def test_a_finer_graduation_makes_a_surer_tape(self):
        """A class I tape between marks on 1 m, read to 0.5 mm: 0.2 / sqrt 3 and 0.5 / sqrt 12 make 0.18."""
        text = (
            "tape:\n  kind: tape\n  graduation: 0.5 mm\n  fixed error: 0.1 mm\n  error per metre: 0.1 mm\n"
            "  longest: 3 m\n  source: own\n  status: our choice\n"
        )
        assert uncertainty(read_instruments(text)["tape"], Fraction(1000)) == pytest.approx(0.18, abs=0.005)

    def test_a_metre_begun_counts_whole(self):
        """1000 mm is one metre, 1001 mm two; nothing at all is none."""
        tape = instrument("class II tape from a mark")
        assert [largest_error(tape, Fraction(size)) for size in (0, 1, 1000, 1001)] == [
            Fraction(n, 10) for n in (3, 5, 5, 7)
        ]

    def test_the_hook_adds_its_own_error(self):
        """0.2 mm more for class II (Directive 2004/22/EC, MI-008)."""
        hooked, marked = instrument("class II tape"), instrument("class II tape from a mark")
        assert largest_error(hooked, Fraction(600)) - largest_error(marked, Fraction(600)) == Fraction("0.2")

    def test_names_are_found_in_any_case(self):
        """A roster says Digital Caliper."""
        assert instrument(" Digital Caliper ").name == "digital caliper"

    def test_an_unknown_instrument_gets_the_nearest_names(self):
        """A slip of the pen is answered with what was meant."""
        with pytest.raises(UnknownName) as refused:
            instrument("digital calliper")
        assert refused.value.says == "no instrument is named 'digital calliper'"
        assert refused.value.do == "Did you mean 'digital caliper'?"

    def test_a_caliper_is_too_short_for_a_door(self):
        """Refused in the instrument's own words."""
        with pytest.raises(OutOfRange, match="^the digital caliper reaches 150 mm, not 361 mm$"):
            uncertainty(instrument("digital caliper"), Fraction(361))
        with pytest.raises(OutOfRange, match="^a length of -1 mm cannot be measured$"):
            uncertainty(instrument("digital caliper"), Fraction(-1))


class TestRepeats:
    def test_repeats_help_against_handling_only(self):
        """Noise of 0.15 becomes 0.106, 0.087 and 0.067 with 2, 3 and 5 readings; the step stays."""
        rule = instrument("steel rule")
        step = step_uncertainty(rule.graduation)
        for repeats, noise in ((1, 0.150), (2, 0.106), (3, 0.087), (5, 0.067)):
            found = reading_uncertainty(rule, repeats, 0.15)
            assert sqrt(found**2 - step**2) == pytest.approx(noise, abs=0.0005)

    @given(st.integers(1, 50), st.floats(0, 1))
    def test_the_scale_error_never_goes_away(self, repeats, sd):
        """However many readings, no better than the scale and the step."""
        rule = instrument("steel rule")
        floor = sqrt(bound_uncertainty(rule.fixed_error) ** 2 + step_uncertainty(rule.graduation) ** 2)
        assert uncertainty(rule, Fraction(300), repeats, sd) >= floor * (1 - 1e-12)

    def test_a_measured_spread_replaces_the_assumed_one(self):
        """A class that repeats to 0.01 mm gets a better caliper than one that is assumed to repeat to 0.03."""
        caliper = instrument("digital caliper")
        assert uncertainty(caliper, Fraction(18), sd=0.03) == uncertainty(caliper, Fraction(18))
        assert uncertainty(caliper, Fraction(18), sd=0.01) < uncertainty(caliper, Fraction(18))

    def test_no_reading_and_negative_spread_are_refused(self):
        """Each in its words."""
        with pytest.raises(OutOfRange, match="^there is at least one reading, not 0$"):
            reading_uncertainty(instrument("steel rule"), 0)
        with pytest.raises(OutOfRange, match="^a standard deviation is never below zero, not -0.1$"):
            reading_uncertainty(instrument("steel rule"), 1, -0.1)


class TestFitAndFeeler:
    def test_a_fit_is_less_sure_than_either_part(self):
        """3 and 4 hundredths make 5."""
        assert fit_uncertainty(0.03, 0.04) == pytest.approx(0.05, abs=1e-15)

    @given(st.integers(0, 1049), st.integers(1, 28))
    def test_a_gap_is_called_outside_only_when_it_is(self, gap, limit):
        """A gap between two leaves is read as the lower one: beyond the guard band it is 95 % sure to be outside."""
        step = instrument("feeler leaves").graduation
        true, low = Fraction(gap, 1000), Fraction(limit, 30)
        leaf = true // step * step
        guard = guard_band(uncertainty(instrument("feeler leaves"), leaf))
        if float(low - leaf) > guard:
            assert leaf + Fraction("0.949") * step < low, "19 of 20 gaps with this leaf are narrower than the limit"
        if float(leaf - low) > guard:
            assert true > low


class TestSquareness:
    def test_a_sheet_is_square_by_either_published_limit(self):
        """PS 1-19 as APA sums it up: 1.3 mm per m, or about 3 mm between the diagonals of 2440 x 1220."""
        diagonal = Fraction(sqrt(2440**2 + 1220**2))
        error = out_of_square(Fraction(2440), Fraction(1220), diagonal + Fraction(3, 2), diagonal - Fraction(3, 2))
        assert float(error) == pytest.approx(1.3, abs=0.1)

    def test_a_door_of_the_class_cabinet(self):
        """F17: 722.11 and 720.11 on 400 x 600 lean 3.0046 mm per m, 0.172 degree."""
        error = out_of_square(Fraction(400), Fraction(600), Fraction("722.11"), Fraction("720.11"))
        assert float(error) == pytest.approx(3.0046, abs=0.0001)

    @given(st.floats(-0.05, 0.05), st.integers(100, 2000), st.integers(100, 2000))
    def test_a_leaning_frame_is_found_exactly(self, lean, side, other):
        """A parallelogram drawn with a lean gives back the sine of its lean."""
        x, y = other * lean, other * sqrt(1 - lean * lean)
        long, short = sqrt((side + x) ** 2 + y * y), sqrt((side - x) ** 2 + y * y)
        found = float(out_of_square(Fraction(side), Fraction(other), Fraction(long), Fraction(short)))
        assert found == pytest.approx(1000 * lean, abs=1e-6)

    def test_the_uncertainty_of_squareness(self):
        """On 600 x 400, diagonals good to 0.3 mm each: 721.11 / 480000 x sqrt 2 x 0.3 is 0.637 mm per m."""
        found = out_of_square_uncertainty(Fraction(600), Fraction(400), 0.3)
        assert found == pytest.approx(0.637, abs=0.0005)

    def test_a_frame_has_sides(self):
        """Zero would divide by zero."""
        for call in (
            lambda: out_of_square(Fraction(0), Fraction(1), Fraction(1), Fraction(1)),
            lambda: out_of_square_uncertainty(Fraction(1), Fraction(0), 0.1),
        ):
            with pytest.raises(OutOfRange, match="^the sides of a frame are longer than zero$"):
                call()


class TestReading:
    GOOD = "rod:\n  kind: rule\n  graduation: 1 mm\n  longest: 2 m\n  source: own\n  status: our choice\n"

    def test_an_own_file_wins(self, tmp_path):
        """A course folder keeps its own instruments."""
        (tmp_path / "instruments.yaml").write_text(self.GOOD)
        assert set(instruments(tmp_path)) == {"rod"}
        assert instrument("rod", tmp_path).longest == 2000
        assert instrument("rod", tmp_path).fixed_error == 0

    def test_without_an_own_file_the_built_in_ones_serve(self, tmp_path):
        """An empty course folder changes nothing."""
        assert instruments(tmp_path) == instruments()

    def test_every_fault_is_named_at_once(self):
        """Place, what is wrong, what to do."""
        text = "rod:\n  kind: rul\n  graduation: 1\n  longest: 0 mm\n  handeling: 1 mm\n  source: own\nstick: long\n"
        with pytest.raises(InputRefused) as refused:
            read_instruments(text, "instruments.yaml")
        assert [str(problem) for problem in refused.value.problems] == [
            "instruments.yaml:2:3: M001: 'rod' has no 'status'\n    Add 'status'.",
            "instruments.yaml:2:9: M003: 'rul' is no kind of instrument\n    Did you mean 'rule'?",
            "instruments.yaml:3:15: M004: '1' has no unit; write '1 mm' or '1 in'\n"
            "    Write a length after 'graduation:'.",
            "instruments.yaml:4:12: M004: 'longest' must be above zero, not 0 mm\n    Write a length after 'longest:'.",
            "instruments.yaml:5:3: M002: an instrument has no 'handeling'\n    Did you mean 'handling'?",
            "instruments.yaml:7:8: M001: 'stick' has no fields\n"
            "    Write under it: kind, graduation, longest, source, status.",
        ]
