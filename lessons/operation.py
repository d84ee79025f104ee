"""What an operation of the trade is: what it makes, by which routes, after what, with which numbers and checks."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from lessons.cautions import powered
from rubrics.check_files import STAGES
from shared.places import Place, Text
from shared.terms import in_uk_words

POWERED = ("machine", "router")
"""Routes that use a machine or a powered tool; their pages carry its cautions."""
ROUTES = ("machine", "router", "hand")
"""The ways to do an operation; a shop or a student may be limited to some of them."""
EACH = ("part", "opening", "male")
"""What a set-up number may be worked out for, one by one."""
HANDS = ("right", "left")
"""The hand a student works with."""
BOX = re.compile(r'\{\{\s*(size|caution)\("([^"{}]+)"\)\s*\}\}')
"""A box in a text: `{{ size("groove.depth") }}` or `{{ caution("RTG-03") }}`."""


@dataclass(frozen=True, slots=True)
class Step:
    """One numbered step, and the cautions that stand right before it."""

    text: str
    cautions: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Route:
    """One way to do an operation."""

    name: str
    station: str
    tool: str
    sign_off: str
    """Machine for which a sign-off is needed; empty when none is."""
    endorsement: str
    """Kind of work that needs a sign-off of its own beside the machine's, where the shop asks for it; or empty."""
    cautions: tuple[str, ...]
    """Families of cautions, and ids of single ones."""
    minutes: int
    """For one student (an estimate)."""
    steps: tuple[Step, ...]
    before_start: tuple[str, ...]
    """What must be so before this route begins, beside what holds for every route."""
    mistakes: tuple[str, ...]
    """What goes wrong by this route alone."""

    @property
    def powered(self) -> bool:
        """Whether a powered machine or tool is used."""
        return powered(self.cautions)


@dataclass(frozen=True, slots=True)
class Setup:
    """A number to set before the work begins, as a formula over the sizes of the assembly."""

    name: str
    formula: Text
    where: str
    why: str
    each: str
    """`part`, `opening` or `male`: one number for each, with `this` as its name; empty for one number."""
    route: str
    """The only route that needs it; empty for all."""
    fine: bool
    """Whether it is printed a digit finer."""
    only_if: Text | None
    """A comparison that must hold for the number to be printed."""


@dataclass(frozen=True, slots=True)
class Need:
    """What must be made before an operation: one or more of some features."""

    relative: str
    """`owner`: of the assembly whose opening this one fills, or the nearest above it that has the feature;
    `built_in`: made on wood that becomes part of this assembly; `filled`: of all that fills its openings;
    empty: of the same assembly."""
    features: tuple[str, ...]
    text: str
    place: Place


@dataclass(frozen=True, slots=True)
class Operation:
    """One operation of the trade."""

    name: str
    number: int
    title: str
    makes: tuple[str, ...]
    """Features it makes."""
    prepares: tuple[str, ...]
    """Features it prepares: it makes none, and is done before them wherever they are made."""
    parts: tuple[str, ...]
    """Groups of parts it is for, as `muntin`; empty for all that no other operation names."""
    stock: str
    """`sheet` or `solid` when it is for such stock alone."""
    stage: str
    after: tuple[Need, ...]
    before: tuple[Need, ...]
    together: bool
    """Whether one set-up serves all assemblies."""
    set_up: str
    """What is on the machine for it; work of one stage that needs the same is done in one go where it can be."""
    hold: tuple[str, ...]
    """Fit checks that release the next step."""
    routes: dict[str, Route]
    glue: bool
    cures: bool
    """Whether what follows has to wait for glue or finish to dry."""
    wet: bool
    """Whether it is done while the glue of what comes before is wet."""
    per_class: bool
    """Whether its minutes are for the class as a whole, since it is done before the first session."""
    setups: tuple[Setup, ...]
    reads_during: tuple[str, ...]
    """Patterns of the quantities that are measured on the way; what is set after that follows them."""
    reads: tuple[str, ...]
    """Patterns of the quantities that are measured at the end."""
    tools: tuple[str, ...]
    stance: dict[tuple[str, str], str]
    """How to stand and hold, by route and hand, where that differs between hands."""
    before_start: tuple[str, ...]
    mistakes: tuple[str, ...]
    right_when: tuple[str, ...]
    instructor: str
    """Markdown for the instructor; empty when there is none."""
    place: Place

    @property
    def called(self) -> frozenset[str]:
        """What it may be called by, in small letters: its name and its title, in US or UK words."""
        return frozenset(name.lower() for name in (self.name, self.title, in_uk_words(self.title)))

    @property
    def stage_rank(self) -> int:
        """Where its stage stands in the job."""
        return STAGES.index(self.stage)

    def texts(self) -> Iterator[str]:
        """Every text that may hold a box."""
        yield from (*self.before_start, *self.mistakes, *self.right_when, self.instructor)
        for route in self.routes.values():
            yield from (*(step.text for step in route.steps), *route.before_start, *route.mistakes)
