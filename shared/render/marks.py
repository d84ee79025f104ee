"""What travels through Markdown as it is: data as private signs, and marks for blanks, tick boxes and drawings."""

from __future__ import annotations

import re
import unicodedata
import xml.etree.ElementTree
from collections.abc import Callable
from dataclasses import dataclass, field

_OPEN, _CLOSE = "\ue000", "\ue001"
MARK = re.compile(_OPEN + r"(\w+):?([^" + _CLOSE + r"]*)" + _CLOSE)
"""What stands for a blank, a tick box, a line break, a page break or a drawing, and its number."""
_SHIFT = 0xE100
"""Signs of data that Markdown could take for markup travel through it as private signs, this much higher."""
_NOTHING = chr(_SHIFT)
"""Stands at both ends of data, as a letter would, so that `**{{ name }}**` is bold for any name, even an empty one."""
_TO_PRIVATE = {code: _SHIFT + code for code in range(33, 127) if not chr(code).isalnum()}
_FROM_PRIVATE = {_SHIFT: None, **{private: code for code, private in _TO_PRIVATE.items()}}
JOINERS = "\u200c\u200d\ufe0e\ufe0f"
"""Invisible signs that scripts and emoji need; all others, such as those that turn the direction, are left out."""
_TIED = "\u00a0\u2007\u202f"
"""Spaces at which no line is broken."""
BLANK_MM = (3, 160)
"""Shortest and longest blank to write on. [mm]"""


class Ready(str):
    """Text that is Markdown already and is not escaped again."""

    __slots__ = ()


def escaped(value: object) -> str:
    """Data as Markdown that shows exactly the data wherever it stands: no emphasis, no tags, no table borders.

    Raises:
        ValueError: A blank, tick box or drawing was joined to other text, where it would be lost.
    """
    if isinstance(value, Ready):
        return value
    text = "" if value is None else str(value)
    if MARK.search(text):
        raise ValueError("a blank, tick box or drawing is joined to text")
    text = shown(text).translate(_TO_PRIVATE)
    return text if text[:1].isalnum() and text[-1:].isalnum() else _NOTHING + text + _NOTHING


def shown(text: str) -> str:
    """The text in one line, without signs that cannot be seen or that turn its direction."""
    plain = unicodedata.normalize("NFC", "".join(" " if c.isspace() and c not in _TIED else c for c in text))
    return "".join(c for c in plain if c in JOINERS or unicodedata.category(c) not in ("Cc", "Cf", "Cs", "Co"))


def given(text: str) -> str:
    """Text as its author gave it, after Markdown has been read."""
    return text.translate(_FROM_PRIVATE)


def short(text: str) -> str:
    """The beginning of a text, to be quoted in a problem."""
    plain = " ".join(given(MARK.sub(" ", text)).replace("\\", "").split())
    return plain if len(plain) <= 50 else plain[:47] + "..."


@dataclass
class Drawings:
    """Drawings of a document, kept out of the Markdown."""

    svgs: list[str] = field(default_factory=list)
    alts: list[str] = field(default_factory=list)

    def add(self, svg: str, alt: str) -> Ready:
        """Keep a drawing and give the mark that stands for it.

        Raises:
            ValueError: The drawing is no SVG, or nothing says what it shows.
        """
        if not alt.strip():
            raise ValueError("a drawing has no words that say what it shows")
        try:
            root = xml.etree.ElementTree.fromstring(svg)
        except xml.etree.ElementTree.ParseError as error:
            raise ValueError(f"the drawing '{short(alt)}' is not SVG ({error})") from None
        if root.tag != "{http://www.w3.org/2000/svg}svg":
            raise ValueError(f"the drawing '{short(alt)}' is not SVG")
        self.svgs.append(svg)
        self.alts.append(alt)
        return Ready(f"\n\n{_OPEN}svg:{len(self.svgs) - 1}{_CLOSE}\n\n")


def helpers(drawings: Drawings) -> dict[str, Callable[..., Ready]]:
    """What templates may call."""
    return {
        "blank": _blank,
        "tick": lambda: Ready(f"{_OPEN}tick{_CLOSE}"),
        "newline": lambda: Ready(f"{_OPEN}br{_CLOSE}"),
        "pagebreak": lambda: Ready(f"\n\n{_OPEN}pagebreak{_CLOSE}\n\n"),
        "turn": lambda: Ready(f"\n\n{_OPEN}turn{_CLOSE}\n\n"),
        "drawing": drawings.add,
        "ready": Ready,
    }


def _blank(mm: int = 22) -> Ready:
    if not BLANK_MM[0] <= int(mm) <= BLANK_MM[1]:
        raise ValueError(f"a blank of {mm} mm; it must be {BLANK_MM[0]} to {BLANK_MM[1]} mm long")
    return Ready(f"{_OPEN}blank:{int(mm)}{_CLOSE}")
