"""Solve a netlist from the command line: `python -m simulated.circuit op board.cir --source inp=22`.

Exit codes: 0 solved, 2 the command or the netlist is wrong, 5 no solution was found.
"""

import sys
from collections.abc import Iterator, Sequence
from importlib import import_module
from pathlib import Path
from pkgutil import iter_modules
from types import ModuleType

from .command_line import WRONG, OneLineParser, Refused
from .errors import CircuitError

__all__ = ["main"]


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    parser = OneLineParser(prog="python -m simulated.circuit", description=(__doc__ or "").splitlines()[0])
    commands = parser.add_subparsers(dest="command", required=True)
    for command in _commands():
        command.add(commands)
    options = parser.parse_args(arguments)
    try:
        code: int = options.run(options)
    except (Refused, CircuitError) as error:
        sys.stderr.write(f"{error}\n")
        return WRONG
    except RecursionError:
        sys.stderr.write("the netlist is nested too deeply; write it flatter\n")
        return WRONG
    return code


def _commands() -> Iterator[ModuleType]:
    """Yield the commands: every module `command_*.py` with a function `add`."""
    names = [found.name for found in iter_modules([str(Path(__file__).parent)]) if found.name.startswith("command_")]
    modules = (import_module(f".{name}", __package__) for name in names)
    return (module for module in modules if hasattr(module, "add"))


if __name__ == "__main__":
    sys.exit(main())
