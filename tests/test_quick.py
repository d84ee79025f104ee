"""Short answers do not wait for what only long ones need."""

from __future__ import annotations

import subprocess
import sys

HEAVY = ("pandas", "numpy", "openpyxl", "xlsxwriter", "typst", "jinja2", "highspy", "rectpack", "pikepdf", "pypdfium2")
"""What makes documents, workbooks and layouts; each takes a good part of the time a short answer may take."""
RUN = """
import sys
sys.argv = ["fairfit", *{words!r}]
from lessons.__main__ import main
try:
    main()
except SystemExit as ended:
    assert not ended.code, ended.code
print(*sorted(set(sys.modules) & set({heavy!r})), sep=",", file=sys.stderr)
"""


def loaded(*words: str) -> str:
    """The heavy libraries that a command of a new process has loaded when it is done."""
    done = subprocess.run(
        [sys.executable, "-c", RUN.format(words=words, heavy=HEAVY)], capture_output=True, text=True, check=True
    )
    return done.stderr.strip()


def test_why_loads_no_library_of_documents(course_folder):
    """`why --moves` answers from plan, readings and checks alone."""
    assert loaded("why", str(course_folder()), "s1", "door.rail.top.length", "--moves") == ""


def test_changes_loads_no_library_of_documents(course_folder):
    """`changes` compares two lists of sizes."""
    assert loaded("changes", str(course_folder()), "s1", "--issue") == ""
