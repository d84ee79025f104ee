"""Text for a terminal: a line is broken to the usual width, and what follows is indented below its beginning."""

from __future__ import annotations

import textwrap

WIDTH = 80
"""Columns of a terminal, unless somebody has widened it."""
HANG = 4
"""How far what follows stands in from the beginning of its line."""


def wrapped(line: str, hang: int = HANG) -> str:
    """A line broken to the width of a terminal.

    Args:
        line: One line; the spaces it begins with are kept. A path or a name longer than a line is left whole.
        hang: How far what follows stands in from there.
    """
    inner = " " * (len(line) - len(line.lstrip(" ")) + hang)
    return textwrap.fill(line, WIDTH, subsequent_indent=inner, break_long_words=False, break_on_hyphens=False)


def wrapped_text(text: str, hang: int = HANG) -> str:
    """A text of several lines, each broken for itself."""
    return "\n".join(wrapped(line, hang) if line.strip() else "" for line in text.split("\n"))
