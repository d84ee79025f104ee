"""Probable causes: the sizes by which common practice knows them, on the class cabinet."""

from __future__ import annotations

from fractions import Fraction

import pytest
from hypothesis import given as for_all
from hypothesis import settings
from hypothesis import strategies as st

from course.build import build, list_keys
from course.causes import Cause, causes, known_causes
from course.kinds import read_library
from course.plan import read_plan
from course.quantities import Given, Origin, Values
from shared.units import INCHES


def class_cabinet():
    from importlib.resources import files

    text, library = files("course").joinpath("demo", "plan.yaml").read_text("utf-8"), read_library()
    return build(read_plan(text, "plan.yaml", list_keys(library)), library)


CABINET = class_cabinet()


def values(stock: dict[str, str] | None = None, read: dict[str, str] | None = None) -> Values:
    """The class cabinet with measured stock and readings."""
    return CABINET.graph.evaluate(
        {name: Given(Fraction(size), Origin.STOCK) for name, size in (stock or {}).items()},
        {name: Given(Fraction(size), Origin.READING) for name, size in (read or {}).items()},
    )


def first(found: tuple[Cause, ...]) -> tuple[str, str]:
    return found[0].asks, found[0].evidence.replace("\u00a0", " ")


THIN = {"stock.case.thickness": "17.6"}
STILES = {"door.stile.left.width": "49.6", "door.stile.right.width": "49.6"}
NOMINAL = "Was the sheet's nominal thickness used instead of the measured one?"
TWICE = "nominal 18.0 mm, measured 17.6 mm, twice the difference is 0.8 mm"
LINE = "Was it cut on the wrong side of the line, or the fence set to the wrong side of the teeth?"
FLIPPED = "Was one part turned over, so that its groove ran from the other face?"

SIGNATURES = [
    # story 16: 20.0 short, a step of 2.0, 3.2 short
    ("back.rail.top.shoulder", "-20.0", {}, {}, "Were both tenons left out of the length?",
     "two tenons of 10.0 mm are 20.0 mm"),
    ("door.groove.step_if_flipped", "2.0", {}, {}, FLIPPED, "the groove is 1.0 mm off the middle, twice that is 2.0 mm"),
    ("back.groove.front_lip", "2.0", {}, {}, FLIPPED, "the groove is 1.0 mm off the middle, twice that is 2.0 mm"),
    ("back.rail.top.length", "-3.2", {}, {}, LINE, "the kerf is 3.2 mm"),
    # the table of error signatures
    ("back.rail.top.length", "-10", {}, {}, "Was one tenon left out of the length?", "one tenon is 10.0 mm"),
    ("case.top.length", "-0.8", THIN, {}, NOMINAL, TWICE),
    ("divider.divider.1.length", "-0.8", THIN, {}, NOMINAL, TWICE),
    ("divider.dado.1_left.width", "0.4", THIN, {}, NOMINAL, "nominal 18.0 mm, measured 17.6 mm"),
    ("divider.divider.1.length", "-12", {}, {}, "Were the dadoes left out of the length?", "the dadoes add 12.0 mm"),
    ("divider.divider.1.length", "12", {}, {}, "Were the dadoes counted twice?", "the dadoes add 12.0 mm"),
    ("case.top.length", "-12", {}, {}, "Were the rabbets left out of the length?", "the rabbets add 12.0 mm"),
    ("case.bottom.length", "12", {}, {}, "Were the rabbets counted twice?", "the rabbets add 12.0 mm"),
    ("door.rail.top.shoulder", "-0.8", {}, STILES, "Were the rails sized before the stiles were read?",
     "the stiles are 49.6 mm and 49.6 mm, planned 50.0 mm each"),
]  # fmt: skip


@pytest.mark.parametrize(("quantity", "deviation", "stock", "read", "asks", "evidence"), SIGNATURES)
def test_a_deviation_is_known_by_its_size(quantity, deviation, stock, read, asks, evidence):
    """Each signature is named first, with the figures it rests on."""
    found = causes(values(stock, read), quantity, Fraction(deviation))
    assert first(found) == (asks, evidence)
    assert found[0].leaves == Fraction(deviation)
    assert found[0].miss == 0


def test_a_change_on_both_cheeks_leaves_the_opposite_deviation():
    """A tenon 0.25 thick, then 0.25 thin: the change went to both cheeks. Without an earlier attempt nothing is said."""
    now = values()
    found = causes(now, "door.tenon.thickness", Fraction("-0.25"), earlier=Fraction("0.25"))
    assert first(found) == (
        "Was the change of the set-up applied to both cheeks?",
        "it was 0.25 mm off before, and twice that has changed",
    )
    assert causes(now, "door.tenon.thickness", Fraction("-0.25")) == ()


def test_a_reading_does_not_explain_itself():
    """The signature is taken without the reading in question: a lip read 7.0 still shows an off-centre of 1.0."""
    found = causes(values(read={"back.groove.front_lip": "7.0"}), "back.groove.front_lip", Fraction(2))
    assert first(found)[1] == "the groove is 1.0 mm off the middle, twice that is 2.0 mm"


def test_a_deviation_like_none_has_no_cause():
    """Nothing is named for a size that fits no signature, nor where the sheet was as thick as planned."""
    assert causes(values(), "back.rail.top.shoulder", Fraction("-1.5")) == ()
    assert causes(values(), "case.top.length", Fraction("-0.8")) == ()


def test_a_size_that_knows_no_tenon_is_not_asked_about_tenons():
    """A shelf 20 short is no forgotten tenon."""
    assert causes(values(), "shelf.board.length", Fraction(-20)) == ()


def test_the_nearest_cause_comes_first():
    """Dadoes of 1.6 and 1.5, and 3.1 short: the dadoes are nearer than the kerf, both are named."""
    depths = {"divider.dado.1_left.depth": "1.6", "divider.dado.1_right.depth": "1.5"}
    found = causes(values(read=depths), "divider.divider.1.length", Fraction("-3.1"))
    assert [cause.asks for cause in found] == ["Were the dadoes left out of the length?", LINE]
    assert [cause.miss for cause in found] == [0, Fraction("0.1")]


def test_evidence_is_told_in_the_readers_units():
    """A reader in inches gets the kerf in inches."""
    found = causes(values(), "back.rail.top.length", Fraction("-3.2"), INCHES)
    assert found[0].evidence == "the kerf is 0.126\u00a0in"


def test_causes_are_questions():
    """No cause is a verdict or speaks of a person."""
    assert len(known_causes()) >= 10
    for cause in known_causes():
        assert cause.asks.endswith("?")
        assert " you" not in cause.asks.lower()


@settings(max_examples=60, deadline=None)
@for_all(
    st.sampled_from([q.name for q in CABINET.graph.quantities if q.dimension == 1]),
    st.fractions(-40, 40, max_denominator=20),
)
def test_never_more_than_three_and_each_as_near_as_it_says(quantity, deviation):
    """Whatever the size and the deviation: at most three causes, nearest first, each telling the truth about itself."""
    found = causes(values(THIN, STILES), quantity, deviation)
    assert len(found) <= 3
    for cause in found:
        assert abs(deviation - cause.leaves) == cause.miss <= Fraction(1, 2)
        assert "{" not in cause.evidence
