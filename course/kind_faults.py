"""Names in kinds and joints that lead nowhere: what a file means must be there, in the file or among the joints."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping

from course.kinds import JointKind, JointSpec, Kind, Library, ListSpec
from shared.places import Place
from shared.problems import Problem, meant

CODE = "K004"
"""Of every problem here: with one of them no cabinet can be built."""
WALLS = ("left", "right", "bottom", "top")
SIDES = ("male", "female", "both")
"""Of a joint: the part that goes in, the part it goes into."""
_NAME = re.compile(r"[a-z][a-z0-9_]*(\.([a-z0-9_]+|\*))*")


def faults(library: Library) -> Iterator[Problem]:
    """Every name of a kind that leads nowhere."""
    for kind in library.kinds.values():
        yield from _Faults(kind, library.joints).found()
    for joint in library.joints.values():
        if not joint.name:
            yield Problem(CODE, joint.place, "a joint has no name", "Write `joint:` and its name.")
        for feature in joint.features:
            for word in feature.on:
                if word not in SIDES:
                    says = f"the joint '{joint.name}': the feature '{feature.name}' is on '{word}'"
                    yield Problem(CODE, joint.place, says, meant(word, SIDES))


class _Faults:
    def __init__(self, kind: Kind, joints: Mapping[str, JointKind]) -> None:
        self.kind, self.joints = kind, joints
        self.lists = {spec.name: spec for spec in kind.lists}
        self.parts = {part.name for part in kind.parts}

    def wrong(self, place: Place, says: str, do: str) -> Problem:
        return Problem(CODE, place, f"the kind '{self.kind.name}': {says}", do)

    def found(self) -> Iterator[Problem]:
        kind = self.kind
        if not kind.name:
            yield Problem(CODE, kind.place, "a kind has no name", "Write `kind:` and its name.")
        yield from self._lists()
        roles = [role for role, _ in kind.stock]
        for part in kind.parts:
            yield from self._starred(part.name, part.place)
            if part.stock not in roles:
                says = f"the part '{part.name}' is of the stock '{part.stock}', which is not under `stock:`"
                yield self.wrong(part.place, says, meant(part.stock, roles))
        for quantity in kind.quantities:
            yield from self._starred(quantity.name, quantity.place)
        for joint in kind.joints:
            yield from self._joint(joint)
        for opening in kind.openings:
            place = opening.sizes[0].place
            yield from self._starred(opening.name, place)
            yield from self._walls(opening.name, dict(opening.walls), place)
        for feature in kind.features:
            yield from self._are_parts(feature.on, f"the feature '{feature.name}'", kind.place)

    def _lists(self) -> Iterator[Problem]:
        """Members are named, listed by the plan, or counted off a list above."""
        above: list[str] = []
        for spec in self.kind.lists:
            other = spec.between or spec.per
            if other and other not in above:
                says = f"the list '{spec.name}' goes by '{other}', and there is no such list above it"
                yield self.wrong(self.kind.place, says, meant(other, above))
            elif not (other or spec.members or spec.plan_key):
                do = f"Write `{spec.name}: [left, right]`, or `plan:`, `between:` or `per:`."
                yield self.wrong(self.kind.place, f"the list '{spec.name}' has no members", do)
            above.append(spec.name)

    def _starred(self, name: str, place: Place) -> Iterator[Problem]:
        """A name as it may be written, with a list before its star."""
        head, star, _ = name.partition(".*")
        if not _NAME.fullmatch(name):
            do = "Use small letters, digits, _ and points, as in rail.*.shoulder."
            yield self.wrong(place, f"'{name}' cannot be a name", do)
        elif star and head not in self.lists:
            yield self.wrong(place, f"'{name}' is one of each '{head}', and there is no such list", self._near(head))

    def _near(self, name: str) -> str:
        return meant(name, self.lists) if self.lists else "Write it under `lists:`."

    def _joint(self, joint: JointSpec) -> Iterator[Problem]:
        what = f"the joint '{joint.name}'"
        if not joint.male or not joint.female:
            do = "Write `male: [top, bottom]` and `female: {left: side.left, right: side.right}` with its own parts."
            yield self.wrong(joint.place, f"{what} does not say which parts it joins", do)
        yield from self._are_parts(joint.male, what, joint.place)
        yield from self._are_parts([part for _, _, part in joint.female], what, joint.place, one=True)
        for name in dict.fromkeys((*joint.allowed, joint.default)):
            if name not in self.joints:
                says = f"{what} may be '{name}', and there is no joint of that name"
                yield self.wrong(joint.place, says, meant(name, self.joints))
        if joint.allowed and joint.default not in joint.allowed:
            says = f"{what} is '{joint.default}' by default, which is not allowed"
            yield self.wrong(joint.place, says, meant(joint.default, joint.allowed))

    def _are_parts(self, names: Iterable[str], what: str, place: Place, one: bool = False) -> Iterator[Problem]:
        for name in names:
            if not self._is_part(name, one):
                says = f"{what} is on '{name}', and there is no such part"
                yield self.wrong(place, says, meant(name, self._known(one)))

    def _is_part(self, name: str, one: bool) -> bool:
        head, point, member = name.rpartition(".")
        spec = self.lists.get(head)
        if point and spec and f"{head}.*" in self.parts:
            return member in spec.members
        return name in self._known(one)

    def _known(self, one: bool) -> list[str]:
        """Names that stand for parts; with `one` for a single part."""
        known = [name for name in self.parts if not name.endswith(".*")]
        for name in self.parts:
            head = name.removesuffix(".*")
            if head != name and head in self.lists:
                known += [] if one else [head]
                known += [f"{head}.{member}" for member in self.lists[head].members]
        return known + ([f"opening.{wall}" for wall in WALLS] if self.kind.fills else [])

    def _walls(self, name: str, walls: dict[str, str], place: Place) -> Iterator[Problem]:
        """Something that fills an opening may be jointed to each of its walls."""
        for wall in WALLS:
            part = walls.get(wall, "")
            if not part:
                do = f"Write `walls: {{{', '.join(f'{each}: ...' for each in WALLS)}}}` with the parts around it."
                yield self.wrong(place, f"the opening '{name}' has no wall {wall}", do)
            elif not self._is_part(part, one=True) and not self._between(part, name):
                says = f"the opening '{name}' has '{part}' {wall}, and there is no such part"
                yield self.wrong(place, says, meant(part, [*self._known(one=True), *self.lists]))

    def _between(self, part: str, opening: str) -> bool:
        """Whether a wall is the list of what stands between the openings of a list."""
        spec: ListSpec | None = self.lists.get(part)
        return bool(spec and spec.between and f"{spec.between}.*" == opening and f"{part}.*" in self.parts)
