"""Start the command line; Ctrl-C is told in one line while it is still loading, and changes no exit code."""

import os
import signal
import sys

__all__ = ["main"]

# A board's matrices are small: a second thread gains nothing on them, and waits for its share of a busy machine.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")

ABORTED = 4  # as in station.exits, which takes a while to load


def main() -> None:
    """Load the command line, run it, and exit with its code."""
    try:
        from station.cli import main as command_line

        code = command_line()
    except KeyboardInterrupt:
        code = ABORTED
        sys.stderr.write("stopped by the operator before anything was tested\n")
    for late in (signal.SIGINT, signal.SIGTERM):
        signal.signal(late, signal.SIG_IGN)  # all is told: nothing may change the exit code any more
    sys.exit(code)
