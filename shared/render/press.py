"""Many documents set as PDF at the same time, on as many cores as there are."""

from __future__ import annotations

import os
import signal
from collections.abc import Callable, Iterator
from concurrent.futures import ProcessPoolExecutor
from contextlib import contextmanager
from multiprocessing import active_children, get_context
from types import TracebackType

from shared.problems import InputRefused, Problem
from shared.render.document import Document
from shared.render.pdf import write_pdf

FEW = 4
"""So many documents are set sooner here than by processes that must first be started."""


class Press:
    """Sets documents, each as `write_pdf` would; `with Press(12) as press:` for twelve of them."""

    def __init__(self, documents: int) -> None:
        self.cores = os.cpu_count() or 1
        several = documents > FEW and self.cores > 1
        # A fork would copy locks of the typesetter's threads that nobody opens again.
        self._pool = ProcessPoolExecutor(self.cores, mp_context=get_context("spawn")) if several else None

    @property
    def room(self) -> int:
        """How many documents it takes before the first should be fetched."""
        return 2 * self.cores if self._pool else 0

    def set(self, document: Document) -> Callable[[], bytes]:
        """Begin to set a document; what is returned gives the PDF, or raises as `write_pdf` does."""
        if self._pool is None:
            return lambda: write_pdf(document)
        with _ctrl_c_waits():
            begun = self._pool.submit(_set, document)

        def fetched() -> bytes:
            made = begun.result()
            if isinstance(made, bytes):
                return made
            raise InputRefused(made)

        return fetched

    def __enter__(self) -> Press:
        """Itself."""
        return self

    def __exit__(
        self, kind: type[BaseException] | None, error: BaseException | None, trace: TracebackType | None
    ) -> None:
        """Let the processes go; after an error at once, with what they have begun."""
        if self._pool:
            for process in active_children() if error else ():
                process.kill()
            self._pool.shutdown(cancel_futures=error is not None)


@contextmanager
def _ctrl_c_waits() -> Iterator[None]:
    """Ctrl-C is answered after this; processes begun in it inherit that they never answer, and the press ends them."""
    if not hasattr(signal, "pthread_sigmask"):  # Windows, where processes inherit nothing of the kind
        yield
        return
    before = signal.pthread_sigmask(signal.SIG_BLOCK, {signal.SIGINT})
    try:
        yield
    finally:
        signal.pthread_sigmask(signal.SIG_SETMASK, before)


def _set(document: Document) -> bytes | tuple[Problem, ...]:
    """The PDF, or what is wrong with it: an exception with its problems does not travel between processes."""
    try:
        return write_pdf(document)
    except InputRefused as refused:
        return refused.problems
