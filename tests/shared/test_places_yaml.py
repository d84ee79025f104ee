"""YAML is read to the same values and places with and without libyaml."""

from __future__ import annotations

from pathlib import Path

import pytest
import yaml

from shared.places import Unreadable, read_yaml

TOP = Path(__file__).parents[2]
SHIPPED = sorted(path for part in ("course", "rubrics", "lessons") for path in (TOP / part).rglob("*.yaml"))
ODD = ('é: [ü, {a: "ß"}]\nb: |\n  x\n', "a: 1\r\nb: 2\r\n", "", "a:\n- b\n-  c: d\n", "a: &x [1]\nb: *x\n")


def both(text: str, monkeypatch) -> tuple:
    """What a text reads as, or is refused with: as PyYAML was built, and without libyaml."""
    found = []
    for fast in (yaml.__with_libyaml__, False):
        monkeypatch.setattr(yaml, "__with_libyaml__", fast)
        try:
            found.append(read_yaml(text, "a.yaml"))
        except Unreadable as refused:
            found.append((refused.place, refused.says, refused.do))
    return tuple(found)


def test_every_shipped_file_reads_the_same(monkeypatch):
    """Values, lines and columns of every YAML file of the program are alike."""
    assert SHIPPED
    for path in SHIPPED:
        fast, plain = both(path.read_text("utf-8"), monkeypatch)
        assert fast == plain, path


@pytest.mark.parametrize("text", ODD)
def test_odd_texts_read_the_same(monkeypatch, text: str):
    """Letters beyond ASCII, blocks, Windows lines, an empty file, lists, and a value used twice."""
    fast, plain = both(text, monkeypatch)
    assert fast == plain


@pytest.mark.parametrize("text", ["\ta: 1\n", 'a: "1\n', "[" * 5000, "a: [1\nb: 2\n", "a: &x\n  b: *x\n"])
def test_refusals_have_the_same_words(monkeypatch, text: str):
    """A tab, an open quote, brackets without end, a list never closed, a value within itself."""
    fast, plain = both(text, monkeypatch)
    assert isinstance(fast, tuple) and fast == plain
