"""US and UK words of the trade: a finished document with every US word in its UK form.

Texts are written with US words. The pairs stand in `tables/terms.csv`, one row each, plural beside singular; words
that are at home on both sides are not in it. Whole words only; capitals are kept; `a` and `an` follow the new word.
"""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, fields, replace
from functools import cached_property, lru_cache
from pathlib import Path
from typing import Any, TypeVar

from shared.places import read_csv, read_text
from shared.render.document import Document, Tree

TABLE = Path(__file__).parent / "tables" / "terms.csv"
TERMS = ("us", "uk")
"""What a course may ask for."""
_CODE = ("code", "pre")
"""Kinds of the tree that hold names and files, which are never changed."""
_SPACES = "[\\s\u00a0]+"
_Record = TypeVar("_Record")


@lru_cache(maxsize=1)
def pairs() -> dict[str, str]:
    """Every US form and its UK form, small letters, singular and plural."""
    found: dict[str, str] = {}
    for row in read_csv(read_text(TABLE), TABLE.name).rows:
        found[row.text("term")] = row.text("uk")
        if row.text("plural"):
            found[row.text("plural")] = row.text("uk_plural")
    return found


@dataclass(frozen=True)
class Wording:
    """The words that documents of a course are printed with."""

    words: Mapping[str, str]
    """Each form and what stands for it; empty to leave all as it is written."""
    kept: frozenset[str] = frozenset()
    """Names and other texts that are never changed, even where they hold such a word."""
    language: str = "en-US"

    @cached_property
    def _pattern(self) -> re.Pattern[str]:
        return _any_of(self.words)

    @cached_property
    def _names(self) -> re.Pattern[str]:
        """Those kept texts that hold a word; the longest first."""
        names = sorted((n for n in self.kept if self._pattern.search(n)), key=lambda name: (-len(name), name))
        forms = "|".join(re.escape(name).replace(r"\ ", _SPACES) for name in names)
        return re.compile(rf"(?<!\w)(?:{forms})(?!\w)" if names else "(?!)")

    def text(self, text: str) -> str:
        """A text with its words exchanged, names left as they are."""
        if not self.words:
            return text
        found, last = [], 0
        for name in self._names.finditer(text):
            found += [self._pattern.sub(self._exchanged, text[last : name.start()]), name[0]]
            last = name.end()
        return "".join((*found, self._pattern.sub(self._exchanged, text[last:])))

    def _exchanged(self, match: re.Match[str]) -> str:
        article, gap, written = match["article"] or "", match["gap"] or "", match["word"]
        word = self.words[_plain(written)]
        if article:
            article = article[0] + ("n" if word[0] in "aeiou" else "")
        if written.isupper():
            return article + gap + word.upper()
        return article + gap + (word[0].upper() + word[1:] if written[0].isupper() else word)

    def tree(self, tree: Tree) -> Tree:
        """A finished tree; texts of drawings are changed with it, code and file names are not."""
        return [self._node(node) for node in tree] if self.words else tree

    def _node(self, node: Any) -> Any:
        if isinstance(node, list):
            return [self._node(one) for one in node]
        if not isinstance(node, dict) or node["t"] in _CODE:
            return node
        made = {}
        for key, value in node.items():
            if key in ("s", "alt"):
                made[key] = self.text(value)
            elif key == "svg":
                made[key] = re.sub(r'>[^<>]+<|aria-label="[^"]*"', lambda words: self.text(words[0]), value)
            else:
                made[key] = self._node(value)
        return made

    def document(self, document: Document) -> Document:
        """A finished document, ready for any writer."""
        if not self.words:
            return document
        mine = replace(self, kept=self.kept | document.kept) if document.kept else self
        return replace(
            document, title=mine.text(document.title), left=mine.text(document.left), tree=mine.tree(document.tree),
            language=self.language,
        )  # fmt: skip

    def record(self, record: _Record) -> _Record:
        """A row of finished texts."""
        texts = {f.name: getattr(record, f.name) for f in fields(record)}  # type: ignore[arg-type]
        return replace(record, **{n: self.text(t) for n, t in texts.items() if isinstance(t, str)})  # type: ignore


def wording(terms: str, keep: Iterable[str] = ()) -> Wording:
    """The words of a course.

    Args:
        terms: `us` or `uk`.
        keep: Names of people and things that stay as they are even where they are such a word.
    """
    if terms != "uk":
        return Wording({})
    words = {uk: uk for uk in pairs().values()} | pairs()  # a UK word stays, so that it is never changed twice
    return Wording(words, frozenset(keep), "en-GB")


@lru_cache(maxsize=512)
def in_uk_words(text: str) -> str:
    """A name of the program's own as UK papers show it."""
    return wording("uk").text(text)


def in_us_words(name: str, terms: str) -> str:
    """The program's own name of a thing that a UK course may call by its UK name, as `mitre saw`; others stay.

    A word that both sides have stays, though it may mean two things: `planer` is the thicknesser everywhere.
    """
    return _us_names().get(name.strip().lower(), name) if terms == "uk" else name


@lru_cache(maxsize=1)
def _us_names() -> dict[str, str]:
    us = pairs()
    return {uk: word for word, uk in reversed(us.items()) if uk not in us}


def _plain(word: str) -> str:
    """A word as the table has it."""
    text = re.sub(r"[\s\u00a0]+", " ", word.replace("\u2011", "-")).lower()
    return text if text in _known() else text.replace("-", " ")


@lru_cache(maxsize=1)
def _known() -> frozenset[str]:
    return frozenset((*pairs(), *pairs().values()))


def _any_of(words: Iterable[str]) -> re.Pattern[str]:
    """Any of the words, the longest first; not within a longer word, a dotted name or a file name."""
    forms = "|".join(
        re.escape(word).replace(r"\ ", "[\\s\u00a0\u2011-]+").replace(r"\-", "[\u2011-]")
        for word in sorted(words, key=lambda word: (-len(word), word))
    )
    return re.compile(
        rf"(?:\b(?P<article>an?)(?P<gap>[\s\u00a0]+))?(?<![\w.])(?P<word>{forms})(?!\w|\.\w)", re.IGNORECASE
    )
