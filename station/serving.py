"""Serve a simulated bench to others, in real time, as instruments that anybody on this machine can reach.

It writes the bench file that goes with it. What a hand does to the board is typed: 'RV101 +1.5' turns a trimmer,
'mains on' throws the switch of a board that mains feed.
"""

import re
import time
from collections.abc import Iterator, Mapping, Sequence
from contextlib import contextmanager
from pathlib import Path

from rich.console import Console

from simulated.bench import SimulatedBench
from simulated.clock import RealClock
from station.board import Board
from station.errors import InputError
from station.exits import DONE
from station.interrupts import Interrupts, deferred_signals
from station.opening import opened_inside
from station.operators import Keyboard
from station.shipped import found_board
from station.simulated_file import simulated_file

__all__ = ["serve_bench"]

POLL_SECONDS = 0.2
_TURN = re.compile(r"(\S+)\s+([+-]?(?:\d+\.?\d*|\.\d+))")


def serve_bench(name: str, faults: Sequence[str], seed: int, output: Path | None, console: Console) -> int:
    """Serve a board's simulated bench until Ctrl-C, SIGTERM; returns 0. InputError for a board that there is not."""
    board = found_board(name)
    place = output or Path(f"{board.name}.bench.yaml")
    with (
        deferred_signals() as interrupts,
        opened_inside(board, seed, faults, False, RealClock()) as inside,
        _written(board, inside.resources, place),
    ):
        for line in _welcome(board, seed, place):
            console.print(line, soft_wrap=True)
        _attend(board, inside, interrupts, console)
    return DONE


def _welcome(board: Board, seed: int, place: Path) -> Iterator[str]:
    yield f"SIMULATED bench for {board.name}, seed {seed}, in real time"
    yield f"  railbench run PROFILE --serial SN --bench {place}   tests its board"
    for trimmer in board.form.trimmers:
        yield f"  {trimmer} +1.5   typed here, turns it one and a half turns clockwise"
    if board.form.mains_switch:
        yield "  mains on, mains off   typed here, throws its mains switch"
    yield "  Ctrl-C ends it"


@contextmanager
def _written(board: Board, resources: Mapping[str, str], place: Path) -> Iterator[None]:
    """Keep the bench file while the block runs; one that is there already and is not ours is left alone."""
    text = simulated_file(board, resources).text
    try:
        if place.exists() and not place.read_text(encoding="utf-8").startswith(text.partition("\n")[0]):
            raise InputError.about(f"{place} is there, and no file of a simulated bench", "name another --output")
        place.write_text(text, encoding="utf-8")
    except OSError as error:
        raise InputError.about(f"{place} can't be written ({error.strerror})", "name another --output") from error
    try:
        yield
    finally:
        place.unlink(missing_ok=True)


def _attend(board: Board, inside: SimulatedBench, interrupts: Interrupts, console: Console) -> None:
    """Turn trimmers as they are typed, until somebody ends it."""
    keyboard = Keyboard()
    while not interrupts.cause:
        typed = keyboard.line(POLL_SECONDS)
        if typed:
            console.print(_turned(board, inside, typed), soft_wrap=True)
        elif keyboard.ended:
            time.sleep(POLL_SECONDS)


def _turned(board: Board, inside: SimulatedBench, typed: str) -> str:
    """Do to the board what was typed, and say how it stands, or what to type instead."""
    if board.form.mains_switch and typed in ("mains on", "mains off"):
        with inside.board.lock:
            inside.board.switch_mains(typed == "mains on")
        return typed.replace(" ", " are ")
    match = _TURN.fullmatch(typed)
    trimmers = board.form.trimmers
    if match is None or match[1] not in trimmers:
        return f"'{typed}' turns nothing; type for example '{next(iter(trimmers), 'RV1')} +1.5'"
    form, turns = trimmers[match[1]], float(match[2])
    with inside.board.lock:
        before = inside.board.trimmers[form.parameter]
        inside.board.turn(form.parameter, min(max(before + turns / form.turns, 0.0), 1.0))
        after = inside.board.trimmers[form.parameter]
    return f"{match[1]} stands at {after * 100.0:.1f} % of its travel"
