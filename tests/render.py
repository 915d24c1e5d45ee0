"""Fix a console's size and colour, so that a test sees the same screen everywhere."""

import io

from rich.console import Console


def terminal(width: int = 80, height: int = 24) -> Console:
    """Return a colourless terminal of a size that keeps what it is given."""
    return Console(file=io.StringIO(), force_terminal=True, color_system=None, width=width, height=height, _environ={})


def shown(console: Console, what: object) -> list[str]:
    """Return the lines that something takes on a console."""
    with console.capture() as capture:
        console.print(what)
    return capture.get().splitlines()
