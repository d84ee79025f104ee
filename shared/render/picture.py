"""The picture writer: a drawing as PNG, for files that cannot hold SVG."""

from __future__ import annotations

from functools import lru_cache
from importlib.resources import as_file, files

PAGE = '#set page(width: auto, height: auto, margin: 0mm)\n#image(bytes(sys.inputs.d), format: "svg")\n'
DOTS = 150
"""Dots of a picture in an inch."""


@lru_cache(maxsize=32)
def write_png(svg: str) -> bytes:
    """A drawing as a PNG picture, the same bytes every time.

    Args:
        svg: As `sketch.Sketch` makes it; its size in mm becomes that of the picture.
    """
    import typst

    with as_file(files("shared") / "fonts") as fonts:
        made = typst.compile(
            PAGE.encode(), font_paths=[str(fonts)], ignore_system_fonts=True, sys_inputs={"d": svg}, format="png",
            ppi=float(DOTS),
        )  # fmt: skip
    assert isinstance(made, bytes)
    return made
