"""Writing files: folders made, nothing half-written left behind, trouble said in words."""

from __future__ import annotations

import contextlib
import os
import re
import unicodedata
from pathlib import Path

from shared.places import Place
from shared.problems import InputRefused, Problem

_RESERVED = {"con", "prn", "aux", "nul", *(f"com{i}" for i in range(1, 10)), *(f"lpt{i}" for i in range(1, 10))}


def write_file(path: Path, content: str | bytes) -> Path:
    """Write a file whole or not at all; a file of the same content is left as it is.

    Raises:
        InputRefused: The folder is read-only, a folder has that name, or the disk is full.
    """
    data = content.encode("utf-8") if isinstance(content, str) else content
    temporary = None
    try:
        path.parent.mkdir(parents=True, exist_ok=True)
        if path.is_file() and path.read_bytes() == data:
            return path
        temporary = path.with_name(f".{os.getpid()}-{os.urandom(4).hex()}.part")
        with temporary.open("xb") as file:
            file.write(data)
        os.replace(temporary, path)
    except (OSError, ValueError) as error:
        reason = (getattr(error, "strerror", None) or str(error) or "unknown reason").lower()
        says = f"the file cannot be written ({reason})"
        do = "Close programs that use it, check that the folder can be written to, or give another folder."
        raise InputRefused([Problem("F001", Place(str(path)), says, do)]) from None
    finally:
        if temporary:
            with contextlib.suppress(OSError):
                temporary.unlink(missing_ok=True)
    return path


def safe_name(text: str) -> str:
    """A readable file name from any text: letters of any script, digits, - and _; never empty or reserved."""
    plain = unicodedata.normalize("NFC", text)
    kept = "".join(c if c.isalnum() or unicodedata.category(c)[0] == "M" or c in "-_" else " " for c in plain)
    name = re.sub(r"\s+", "-", kept.strip())[:60].strip("-_")
    return f"{name or 'unnamed'}-" if name.lower() in _RESERVED else name or "unnamed"
