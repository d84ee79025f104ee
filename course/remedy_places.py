"""Where a remedy looks in a cabinet, and what its names of sizes and parts mean there."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from course.cabinet import Assembly, Cabinet, Joint, Part, Site
from course.remedy_files import RemedySpec

SENSES = ("off", "was", "now", "target")
"""What may stand before a name in a remedy: how far the reading is from what it should be, the value without the
mistake, the value before the way out, and what it should be."""


@dataclass(frozen=True)
class Spot:
    """A place of the cabinet that a remedy looks at: an assembly, one of its joints, one member of either."""

    cabinet: Cabinet
    assembly: Assembly
    joint: Joint | None = None
    member: str = ""
    """Full name, as `back.panel.1` or `divider.dado.1_left`."""

    @cached_property
    def _scope(self) -> Callable[[str], Sequence[str]]:
        return self.cabinet.scope(self.assembly.name, self.member, self.joint.name if self.joint else "")

    @property
    def site(self) -> Site | None:
        """The place of the joint, when one is looked at."""
        sites = self.joint.sites if self.joint else ()
        return next((s for s in sites if self.joint and f"{self.joint.prefix}.{s.name}" == self.member), None)

    def resolve(self, name: str) -> Sequence[str]:
        """Full names behind a written one, each after its sense, as `off:back.groove.width`."""
        star, bare = ("*", name[1:]) if name.startswith("*") else ("", name)
        sense, _, rest = bare.partition(".")
        if sense in SENSES:
            return [f"{sense}:{full}" for full in self._plain(star, rest)]
        return self._plain(star, bare)

    def _plain(self, star: str, name: str) -> Sequence[str]:
        head, _, rest = name.partition(".")
        if self.joint and star and head == "site":
            return [f"{self.joint.prefix}.{site.name}.{rest}" for site in self.joint.sites]
        if self.site and head in ("male", "female") and not star:
            full = f"{getattr(self.site, head)}.{rest}"
            if full in self.cabinet.graph:
                return [full]
        return self._scope(star + name)

    def expand(self, pattern: str) -> Sequence[str]:
        """Full names of `stile.*.width`, or the one of a plain name."""
        head, star, tail = pattern.partition(".*")
        return self.resolve(f"*{head}{tail}" if star else pattern)

    def members(self, pattern: str) -> Iterator[Spot]:
        """One spot for each member of `site.*` or of a list of parts as `panel.*`."""
        head = pattern.removesuffix(".*")
        if self.joint and head == "site":
            names = [f"{self.joint.prefix}.{site.name}" for site in self.joint.sites]
        else:
            names = [part.name for part in self.parts(head)]
        return (replace(self, member=name) for name in names)

    def parts(self, group: str) -> list[Part]:
        """Parts of a group of the assembly; of a joint also `male` and `female`."""
        if self.joint and group in ("male", "female"):
            sites = (self.site,) if self.site else self.joint.sites
            wanted = {getattr(site, group) for site in sites}
            return [part for part in self.cabinet.parts if part.name in wanted]
        return [p for p in self.cabinet.parts if p.assembly == self.assembly.name and p.group == group]

    @property
    def where(self) -> str:
        """The place in words."""
        title = self.assembly.title
        if self.site:
            male = self.cabinet.part(self.site.male)
            side = self.site.name.rpartition("_")[2]
            return f"{male.title} ({male.label}), {side}"
        if self.member:
            part = self.cabinet.part(self.member)
            return f"{title} {part.title} ({part.label})"
        return title


def chosen(assembly: Assembly, when: tuple[tuple[str, tuple[str, ...]], ...]) -> bool:
    """Whether the assembly's choices and joints are among the words asked for."""
    made_of = assembly.choices | {joint.name: joint.kind for joint in assembly.joints.values()}
    return all(made_of.get(key) in words for key, words in when)


def spots(spec: RemedySpec, cabinet: Cabinet) -> Iterator[Spot]:
    """All places of a cabinet that a remedy file is about."""
    for assembly in cabinet.assemblies.values():
        if not chosen(assembly, spec.when):
            continue
        found = [Spot(cabinet, assembly)] if assembly.kind in spec.kinds else []
        found += [Spot(cabinet, assembly, joint) for joint in assembly.joints.values() if joint.kind in spec.joints]
        for spot in found:
            yield from spot.members(spec.each) if spec.each else (spot,)
