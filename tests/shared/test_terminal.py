"""Text for a terminal is broken where a person would break it."""

from __future__ import annotations

from hypothesis import given as for_all
from hypothesis import strategies as st

from shared.terminal import WIDTH, wrapped, wrapped_text


def test_what_follows_stands_in_from_where_its_line_begins():
    """A line keeps its own indent, and the rest of it hangs four further in."""
    line = "  door.rail.top.length = 282.6 mm = this.shoulder + this.joint   [kinds/frame_and_panel.yaml:101:56]"
    assert wrapped(line) == (
        "  door.rail.top.length = 282.6 mm = this.shoulder + this.joint\n      [kinds/frame_and_panel.yaml:101:56]"
    )
    assert wrapped("- " + "word " * 20, hang=2).splitlines()[1] == "  word word word word word"


def test_a_path_and_a_size_stay_whole():
    """A path longer than a line can still be copied, and `12.5 mm` is never parted."""
    path = "/home/ada/" + "very-long-name-" * 6 + "plan.yaml:3"
    assert path in wrapped(f"It stands in {path}, see there").splitlines()[1]
    assert all(not line.startswith("mm") for line in wrapped("12.5\u00a0mm " * 30).split("\n"))


@for_all(st.text(alphabet="ab- \n", max_size=400))
def test_nothing_but_blanks_changes(text: str):
    """The law: the same words in the same order, and no line longer than the terminal unless it is one word."""
    out = wrapped_text(text)
    assert out.split() == text.split()
    assert all(len(line) <= WIDTH or len(line.split()) == 1 for line in out.split("\n"))
