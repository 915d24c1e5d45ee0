"""Take the command line apart, call one function a command, word the result, and return the exit code.

Data goes to stdout, everything for people to stderr. Exit codes: 0 Passed or done, 1 Failed, 2 wrong input,
3 Undecided, 4 Aborted, 5 instrument, link or store trouble, 6 bench not verified safe, 70 our own bug.
"""

import logging
import sys
from collections.abc import Sequence
from enum import StrEnum
from pathlib import Path
from typing import Annotated, Any

import typer
from rich.console import Console

from station.errors import InputError, Interrupted, StationError
from station.exits import ABORTED, DONE, OUR_BUG, TROUBLE, WRONG_INPUT
from station.streams import outlets

__all__ = ["main"]

TYPERS_CTRL_C = 130
STOPPED = "stopped by the operator before anything was tested"

app = typer.Typer(
    add_completion=False,
    no_args_is_help=True,
    pretty_exceptions_enable=False,
    rich_markup_mode=None,
    help="Test power-supply boards: power up, trim, measure, judge, record, certify.",
)
records_app = typer.Typer(no_args_is_help=True, help="Look into the record.")
app.add_typer(records_app, name="records")

StoreOption = Annotated[
    str | None, typer.Option("--store", metavar="PATH", help="The record, a file; the user's own record if left out.")
]
JsonOption = Annotated[bool, typer.Option("--json", help="Print one JSON document on stdout.")]
SeedOption = Annotated[int, typer.Option("--seed", min=0, max=10**9, help="Makes the simulated board and bench.")]
ProfileArgument = Annotated[
    str, typer.Argument(metavar="PROFILE", help="A profile file, or a shipped one: dual15/full.")
]


@app.callback()
def options(
    debug: Annotated[
        bool, typer.Option("--debug", help="Log every message to an instrument; show tracebacks.")
    ] = False,
) -> None:
    """Test power-supply boards: power up, trim, measure, judge, record, certify."""
    if debug:
        logging.basicConfig(
            level=logging.DEBUG, stream=sys.stderr, format="%(relativeCreated)8.0f ms %(name)s %(message)s"
        )


class SchemaOf(StrEnum):
    """The kinds of file that somebody writes."""

    BOARD = "board"
    PROFILE = "profile"
    BENCH = "bench"


@app.command()
def demo(
    seed: SeedOption = 1,
    store: StoreOption = None,
) -> None:
    """Test twelve simulated boards, three of them with an assembly fault, and show how the batch did."""
    from station.commands import run_demo

    raise typer.Exit(run_demo(seed, store, console()))


@app.command()
def run(
    profile: ProfileArgument,
    serial: Annotated[str, typer.Option("--serial", metavar="SN", help="The board's serial number.")],
    simulated: Annotated[
        bool, typer.Option("--simulated", help="On a simulated bench with a simulated board.")
    ] = False,
    bench: Annotated[
        Path | None, typer.Option("--bench", metavar="FILE", help="On the instruments of a bench file.")
    ] = None,
    seed: SeedOption = 1,
    fault: Annotated[
        list[str] | None,
        typer.Option("--fault", metavar="PART:KIND", help="A fault of the simulated board, such as R108:open."),
    ] = None,
    operator: Annotated[
        str,
        typer.Option(
            "--operator", metavar="NAME", help="Who tests and acknowledges; on a bench, the account if left out."
        ),
    ] = "",
    store: StoreOption = None,
    json_: JsonOption = False,
) -> None:
    """Test one board against a profile and keep the record."""
    from station.commands import run_board
    from station.lock import account_name
    from station.testing import Wanted

    if simulated == (bench is not None):
        what = "a run is on a bench or on a simulated one" + (", not on both" if simulated else "")
        raise InputError.about(what, "write --bench FILE, or else --simulated")
    if fault and not simulated:
        raise InputError.about("a fault can only be put into a simulated board", "take --fault out")
    named = operator or (account_name() if bench is not None else "")
    board = Wanted(serial, seed, tuple(fault or ()), named)
    raise typer.Exit(run_board(profile, board, store, console(), as_json=json_, bench=bench))


@app.command()
def bench(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="The bench file to look at.")] = None,
    profile: Annotated[
        str | None, typer.Option("--profile", metavar="PROFILE", help="Say how well the bench holds its limits.")
    ] = None,
    find: Annotated[bool, typer.Option("--find", help="List what VISA finds, and begin a bench file with it.")] = False,
    simulate: Annotated[
        str | None, typer.Option("--simulate", metavar="BOARD", help="Serve a simulated bench with this board on it.")
    ] = None,
    seed: SeedOption = 1,
    fault: Annotated[
        list[str] | None, typer.Option("--fault", metavar="PART:KIND", help="A fault of the simulated board.")
    ] = None,
    output: Annotated[
        Path | None, typer.Option("--output", metavar="FILE", help="Its bench file; BOARD.bench.yaml if left out.")
    ] = None,
    json_: JsonOption = False,
) -> None:
    """Look at a bench: who is there, in what state, how well calibrated. Or serve a simulated one in real time."""
    if (file is not None) + find + (simulate is not None) != 1:
        raise InputError.about(
            "a bench is looked at, looked for or simulated", "write FILE, --find or --simulate BOARD"
        )
    if simulate is not None:
        from station.serving import serve_bench

        raise typer.Exit(serve_bench(simulate, fault or (), seed, output, console()))
    from station.benching import find_instruments, look_at_bench

    if file is None:
        raise typer.Exit(find_instruments(console()))
    raise typer.Exit(look_at_bench(file, profile, console(), as_json=json_))


@app.command()
def check(
    profile: Annotated[
        str | None, typer.Argument(metavar="PROFILE", help="A profile file, or a shipped one: dual15/full.")
    ] = None,
    schema: Annotated[
        SchemaOf | None, typer.Option("--schema", help="Print what such a file may hold, as JSON Schema for editors.")
    ] = None,
    json_: JsonOption = False,
) -> None:
    """Check a profile and its board sheet, and show what a run would do, from a dry run."""
    from station.commands import check_profile, print_schema

    if (profile is None) == (schema is None):
        raise InputError.about("check takes a profile, or --schema", "write one of them")
    raise typer.Exit(check_profile(profile, as_json=json_) if profile is not None else print_schema(str(schema)))


@app.command()
def prove(
    profile: ProfileArgument,
    boards: Annotated[int, typer.Option("--boards", min=1, max=100_000, help="Boards without a fault.")] = 5000,
    per_fault: Annotated[int, typer.Option("--per-fault", min=1, max=5000, help="Boards of each fault.")] = 100,
    faults: Annotated[
        list[str] | None,
        typer.Option("--faults", metavar="FILE|CLASS", help="Only these: a class, a fault, or a file of them."),
    ] = None,
    counts: Annotated[
        Path | None, typer.Option("--counts", metavar="FILE", help="Repairs the shop has counted, as weights (YAML).")
    ] = None,
    seed: SeedOption = 1,
    jobs: Annotated[
        int | None, typer.Option("--jobs", min=1, max=256, help="Processes; as many as processors if left out.")
    ] = None,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", help="Write the whole proof as a page.")
    ] = None,
    json_: JsonOption = False,
    fail_under: Annotated[
        float | None,
        typer.Option("--fail-under", metavar="PERCENT", min=0.0, max=100.0, help="Exit 1 below this coverage."),
    ] = None,
) -> None:
    """Simulate good boards and boards with every fault, and show which faults a profile catches."""
    from station.proving import Asked, prove_profile

    asked = Asked(boards, per_fault, tuple(faults or ()), counts, seed, jobs, html, json_, fail_under)
    raise typer.Exit(prove_profile(profile, asked, console()))


@app.command()
def certificate(
    serial: Annotated[str, typer.Argument(metavar="SERIAL", help="A serial number (its newest run) or a run's id.")],
    store: StoreOption = None,
    output: Annotated[
        Path | None, typer.Option("--output", metavar="FILE", help="Where to write the page; SERIAL.html if left out.")
    ] = None,
    without_calibration: Annotated[
        bool,
        typer.Option("--without-calibration", help="Although an instrument's calibration was past due; it says so."),
    ] = False,
) -> None:
    """Write the page of a board's newest run: every line with its reading, uncertainty, limit and outcome."""
    from station.lookup import certificate as written

    sys.stdout.write(f"{written(serial, store, output, without_calibration=without_calibration)}\n")


@records_app.command("list")
def records_list(store: StoreOption = None, json_: JsonOption = False) -> None:
    """List the runs in the record, oldest first."""
    from station.lookup import list_records

    list_records(store, as_json=json_)


@records_app.command("show")
def records_show(
    key: Annotated[str, typer.Argument(metavar="SERIAL", help="A serial number (its newest run) or a run's id.")],
    store: StoreOption = None,
    json_: JsonOption = False,
) -> None:
    """Show the lines of a run."""
    from station.lookup import show_record

    show_record(key, store, as_json=json_)


def console() -> Console:
    """Return the console for people: stderr, without colour where NO_COLOR or no terminal asks for none.

    No text is markup: instruments and people write brackets and colons as they like.
    """
    return Console(stderr=True, highlight=False, markup=False, emoji=False)


def main(arguments: Sequence[str] | None = None) -> int:
    """Run the command line and return its exit code; 1 is always the board's, never Python's for an exception."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    with outlets() as out:
        code = _exit_code(words)
        out.flush()
        if out.lost is None or isinstance(out.lost, BrokenPipeError):  # a reader that has gone wants no more
            return code
        told = _told(f"stdout can't be written ({out.lost.strerror}); the record has what was tested", TROUBLE)
        return max(code, told)  # 6 and 70 weigh more


def _exit_code(arguments: list[str]) -> int:
    try:
        result: Any = app(args=arguments, prog_name="railbench", standalone_mode=False)
        if result == TYPERS_CTRL_C:
            return _told(STOPPED, ABORTED)
        return result if isinstance(result, int) else DONE
    except InputError as error:
        return _told(str(error), WRONG_INPUT)
    except (Interrupted, typer.Abort, KeyboardInterrupt):
        return _told(STOPPED, ABORTED)
    except StationError as error:
        return _told(str(error), TROUBLE)
    except typer.TyperException as error:
        return _told(_usage(error), WRONG_INPUT)
    except Exception as error:  # noqa: BLE001  Python's own exit code for it would read as Failed
        if "--debug" in arguments:
            return _traced(error)
        return _told(
            f"a fault in railbench itself ({type(error).__name__}: {error}); run again with --debug and tell us",
            OUR_BUG,
        )


def _usage(error: Exception) -> str:
    """Return what is wrong with a command line, and which help to read; the help itself where no command was given."""
    message = str(getattr(error, "format_message", lambda: str(error))())
    if message.lstrip().startswith("Usage:"):
        return message
    context = getattr(error, "ctx", None)  # of the command that refused its arguments, or of the group
    return f"{message.rstrip('.')}; see '{context.command_path if context else 'railbench'} --help'"


def _traced(error: Exception) -> int:
    logging.getLogger(__name__).exception("a fault in railbench itself", exc_info=error)
    return OUR_BUG


def _told(message: str, code: int) -> int:
    sys.stderr.write(f"{message}\n")
    return code
