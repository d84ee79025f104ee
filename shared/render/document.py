"""What every document is before it is written: a title, running heads, and one neutral tree."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

Tree = list[dict[str, Any]]
"""Blocks, each a mapping with its kind under `t`; see `shared.render.tree`."""


@dataclass(frozen=True, slots=True)
class Document:
    """A document ready for any writer."""

    title: str
    left: str
    """Running head on the left, as the student's name."""
    right: str
    """Running head on the right, as the course and revision."""
    tree: Tree
    paper: str = "a4"
    """`a4` or `letter`."""
    large_print: bool = False
    language: str = "en-US"
    landscape: bool = False
    kept: frozenset[str] = frozenset()
    """Texts in it whose words are never exchanged, as titles of sources."""
