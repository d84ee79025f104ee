"""HiGHS, the linear and whole-number solver: one thread, one seed, silent."""

from __future__ import annotations

import os
import sys
from functools import cache

import highspy


def quiet_solver() -> highspy.Highs:
    """A solver that prints nothing and gives the same answer every time."""
    _banner_swallowed()
    solver = highspy.Highs()
    solver.setOptionValue("output_flag", False)
    solver.setOptionValue("threads", 1)
    solver.setOptionValue("random_seed", 0)
    return solver


@cache
def _banner_swallowed() -> None:
    """The first solver of a process writes a banner to the file behind standard output, whatever its options."""
    sys.stdout.flush()
    kept = os.dup(1)
    nowhere = os.open(os.devnull, os.O_WRONLY)
    try:
        os.dup2(nowhere, 1)
        highspy.Highs()
    finally:
        os.dup2(kept, 1)
        os.close(kept)
        os.close(nowhere)
