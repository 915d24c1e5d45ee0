"""Keep stdout and stderr from ending a run: whoever reads them may go away, and a disk may fill.

What can't be written is dropped and its cause kept. The board is tested to its end all the same, and the exit code
stays what came of it.
"""

import contextlib
import io
import os
import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from typing import TextIO, cast

__all__ = ["Outlet", "outlets"]


class Outlet(io.TextIOBase):
    """A standard stream that never raises for its other end; None stands for one that was closed from the start."""

    def __init__(self, inner: TextIO | None) -> None:
        self._inner = inner
        self.lost: OSError | None = None
        if isinstance(inner, io.TextIOWrapper):
            inner.reconfigure(errors="replace")  # a terminal without ± or Ω shows a mark, and the run goes on

    @property
    def encoding(self) -> str:  # type: ignore[override]  # typeshed has a variable here
        """The encoding of what is written."""
        return "utf-8" if self._inner is None else self._inner.encoding

    def isatty(self) -> bool:
        """Tell whether a person is looking."""
        return self._inner is not None and self._inner.isatty()

    def fileno(self) -> int:
        """Return the file descriptor; OSError where there is none."""
        return super().fileno() if self._inner is None else self._inner.fileno()

    def writable(self) -> bool:
        """See TextIOBase."""
        return True

    def write(self, text: str) -> int:
        """Write a text, or drop it."""
        if self._inner is not None:
            inner = self._inner
            self._try(lambda: inner.write(text))
        return len(text)

    def flush(self) -> None:
        """Hand over what has been written, or drop it."""
        if self._inner is not None:
            self._try(self._inner.flush)

    def _try(self, act: Callable[[], object]) -> None:
        if self.lost is not None:
            return
        try:
            act()
        except OSError as error:
            self.lost = error
            # What is still in the buffer goes nowhere, or Python would fall over it when it ends, with its own code.
            with contextlib.suppress(OSError):
                os.dup2(os.open(os.devnull, os.O_WRONLY), self.fileno())


@contextmanager
def outlets() -> Iterator[Outlet]:
    """Put outlets in the place of stdout and stderr while the block runs; yields the one of stdout."""
    before = sys.stdout, sys.stderr
    out, err = Outlet(sys.stdout), Outlet(sys.stderr)
    sys.stdout, sys.stderr = cast(TextIO, out), cast(TextIO, err)
    try:
        yield out
    finally:
        out.flush()
        err.flush()
        sys.stdout, sys.stderr = before
