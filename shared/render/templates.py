"""Templates filled with finished rows; every fault of a template is told with its line, includes too."""

from __future__ import annotations

import re
from collections.abc import Mapping
from typing import Any

import jinja2
import jinja2.sandbox

from shared.places import Place
from shared.problems import meant, refuse
from shared.render.document import Tree
from shared.render.marks import Drawings, escaped, helpers
from shared.render.tree import markdown_tree


def render_tree(template: str, rows: Mapping[str, Any], loader: jinja2.BaseLoader) -> Tree:
    """The tree of a template filled with finished rows.

    The template may use `blank(mm)`, `tick()`, `newline()`, `drawing(svg, alt)`, `pagebreak()` and `turn()`.

    Raises:
        InputRefused: Unknown name, bad syntax, or a text that cannot be laid out; with file and line.
    """
    drawings = Drawings()
    made = _Environment(loader)
    text = _filled(made, template, {**rows, **helpers(drawings)})
    return markdown_tree(text, template, drawings, made.sources)


def _filled(made: _Environment, template: str, rows: Mapping[str, Any]) -> str:
    try:
        return made.get_template(template).render(rows)
    except jinja2.TemplateSyntaxError as error:
        place = Place(error.name or template, error.lineno)
        raise refuse("W002", f"the template cannot be read: {error.message}", "Check its braces.", place) from None
    except jinja2.TemplateNotFound as error:
        says = f"there is no template '{error.name}'"
        raise refuse("W001", says, "Put the file back, or mend its name.", _where(error, made, template)) from None
    except jinja2.UndefinedError as error:
        says, _, do = str(error.message).partition("\n")
        name = re.search(r"'([^']+)' is undefined", says)
        do = do or (meant(name[1], rows) if name else "Use a name that the page knows.")
        raise refuse("W003", says, do, _where(error, made, template)) from None
    except jinja2.TemplateError as error:
        raise refuse("W002", str(error), "Check the template.", _where(error, made, template)) from None
    except (ArithmeticError, AttributeError, LookupError, TypeError, ValueError, RecursionError) as error:
        says = f"the template cannot be filled: {error}"
        raise refuse("W002", says, "Check what stands in the braces.", _where(error, made, template)) from None


def _where(error: BaseException, made: _Environment, template: str) -> Place:
    """The innermost line of a template that the fault went through."""
    place, frame = Place(template), error.__traceback__
    while frame:
        name = frame.tb_frame.f_code.co_filename
        if name in made.used:
            place = Place(name, frame.tb_lineno)
        frame = frame.tb_next
    return place


class _Environment(jinja2.sandbox.SandboxedEnvironment):
    """Knows the text of every template it reads, so that a fault is told with file and line, includes too."""

    def __init__(self, loader: jinja2.BaseLoader) -> None:
        super().__init__(
            loader=loader, undefined=_Unknown, finalize=escaped, trim_blocks=True, lstrip_blocks=True,
            keep_trailing_newline=True, autoescape=False,
        )  # fmt: skip
        self.globals.clear()
        self.globals["range"] = jinja2.sandbox.safe_range
        self.used: list[str] = []

    def compile(self, source: Any, name: Any = None, filename: Any = None, *more: Any) -> Any:
        """As Jinja does it, with the template's name in the place of its path."""
        return super().compile(source, name, name or filename, *more)

    def _load_template(self, name: str, globals: Any) -> jinja2.Template:
        """As Jinja does it; keeps the name, since a loader may give a template that was compiled before."""
        if name not in self.used:
            self.used.append(name)
        return super()._load_template(name, globals)

    def sources(self) -> dict[str, str]:
        """The text of each template used, by its name."""
        return {name: self.loader.get_source(self, name)[0] for name in self.used} if self.loader else {}


class _Unknown(jinja2.StrictUndefined):
    """An unknown name; says what is known where it was looked for."""

    __slots__ = ()

    @property
    def _undefined_message(self) -> str:
        name, owner = str(self._undefined_name), self._undefined_obj
        if self._undefined_hint or owner is jinja2.utils.missing:
            return self._undefined_hint or f"'{name}' is undefined"
        known = owner if isinstance(owner, Mapping) else getattr(owner, "__dataclass_fields__", {})
        return f"'{name}' is undefined\n{meant(name, map(str, known))}"
