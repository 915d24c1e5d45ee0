"""Measure the circuit engine beside ngspice on boards with spread parts, in one run on one core.

    python -m tests.benchmarks.circuit_speed [SAMPLES]

- boards within tolerance: 2 000 boards of dual15 against one ngspice process that alters its parts and
  solves again for each board, and against one `ngspice -b` process for each board;
- the whole stored list of faults: healthy and faulty boards, SAMPLES (200) of each, at both loads;
- the same, 100 of each, as fleets of about 2 000 boards of mixed faults, then under small steps of load,
  trimmer and heat that are different for every board;
- memory: what 10 000 boards allocate at most.

Ratios, not times, are what to compare. Drawing the parts and writing ngspice's script are not counted.
"""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import re
import shutil
import subprocess
import sys
import time
import tracemalloc
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from types import FrameType

import numpy as np
from numpy.typing import NDArray

from simulated.circuit import Circuit, Netlist, Parts, apply_edit, draw_parts
from simulated.circuit.expressions import evaluate
from simulated.circuit.fleet import Fleet
from simulated.circuit.lanewise import straight_lines
from tests.simulated.circuit.boards import REFERENCE, fed_board, load_ohms, stored

BOARDS, BY_PROCESS, COMPARED, MANY = 2000, 20, 40, 10_000
MIXED, WIRINGS, STEPS = 100, 20, 10  # boards of a fault, faults of a fleet, steps of its conditions
OPTIONS = ".options reltol=1e-6 abstol=1e-12 vntol=1e-9 gmin=1e-12 itl1=500 noacct"
WANTED_RATIO, WANTED_VOLTS, MOST_BYTES = 60.0, 1e-6, 1e9


def fastest(work: Callable[[], object], rounds: int) -> float:
    """Return seconds, the best of some rounds."""
    seconds = []
    for _ in range(rounds):
        start = time.perf_counter()
        work()
        seconds.append(time.perf_counter() - start)
    return min(seconds)


def own_models(netlist: Netlist, parts: Parts) -> str:
    """Return dual15 with a model of its own for every device whose model parameters vary."""
    text = (REFERENCE / "dual15.cir").read_text()
    for element, parameter in parts.factors:
        if parameter != "value":
            model = netlist.element(element).model or ""
            card = re.search(rf"(?im)^\.model {model} (.*)$", text)
            assert card is not None
            text = re.sub(rf"(?im)^({element} .*)\b{model}$", rf"\1{model}_{element}", text)
            text += f".model {model}_{element} {card[1]}\n"
    half = stored("dual15_op")["bench"]
    loads = "".join(f"RL{node} {node} 0 {ohms}\n" for node, ohms in half["loads_ohm"]["half"].items())
    sources = "".join(f"{name} {plus} {minus} {volts}\n" for name, (plus, minus, volts) in half["sources"].items())
    return f"{text}{sources}{loads}{OPTIONS}\n"


def alterations(netlist: Netlist, parts: Parts) -> list[tuple[str, NDArray[np.float64]]]:
    """Return ngspice's command for each varied number, and its values; capacitors do nothing here."""
    commands = []
    for (name, parameter), factor in parts.factors.items():
        element = netlist.element(name)
        if parameter == "value" and element.kind == "R":
            assert element.value is not None
            commands.append((f"alter {name} = ", evaluate(element.value, netlist.params) * factor))
        elif parameter != "value":
            nominal = evaluate(netlist.models[element.model or ""].parameters[parameter], netlist.params)
            commands.append((f"altermod {element.model}_{name} {parameter} = ", nominal * factor))
    return commands


def script(deck: str, changes: list[tuple[str, NDArray[np.float64]]], boards: range, told: str) -> str:
    lines = [deck, ".control", "set numdgt=12"]
    for board in boards:
        lines += [f"{command}{values[board]:.12g}" for command, values in changes]
        lines += ["op", f"print {told}", "destroy all"]
    return "\n".join([*lines, "quit", ".endc", ".end", ""])


def ngspice(text: str) -> str:
    done = subprocess.run(["ngspice", "-b"], input=text, capture_output=True, text=True, check=False)
    return done.stdout


def told_volts(output: str) -> Iterator[dict[str, float]]:
    """Yield the node voltages of each board in an output of `print all`."""
    volts: dict[str, float] = {}
    for name, value in re.findall(r"(?m)^(\S+) = (-?[0-9.]+e[+-][0-9]+)\s*$", output):
        if name in volts:
            yield volts
            volts = {}
        volts[name] = float(value)
    yield volts


def counted(work: Callable[[], object]) -> int:
    """Return boards times iterations of the sparse solver in `work`, boards that only fill up included."""
    count = 0

    def see(frame: FrameType, event: str, _: object) -> None:
        nonlocal count
        if event == "call" and frame.f_code is straight_lines.__code__:
            count += frame.f_locals["spans"].shape[1]

    sys.setprofile(see)
    work()
    sys.setprofile(None)
    return count


def tolerance_boards() -> tuple[bool, float]:
    """Return whether ratio and deviation are as wanted, and the boards a second of ngspice's alter loop."""
    netlist = fed_board("dual15")
    circuit, parts = Circuit(netlist), draw_parts(netlist, np.random.default_rng(1), BOARDS)

    def solve() -> None:
        assert circuit.operating_point(parts=parts).solved.all()

    solve()
    ours = BOARDS / fastest(solve, 7)
    print(f"boards within tolerance  {ours:9.0f} /s   {counted(solve) / BOARDS:.2f} iterations a board, half load")
    if shutil.which("ngspice") is None:
        print("ngspice is not installed: no ratio")
        return True, np.nan
    deck, changes = own_models(netlist, parts), alterations(netlist, parts)
    text = script(deck, changes, range(BOARDS), "v(outp) v(outn)")
    altered = BOARDS / fastest(lambda: ngspice(text), 2)
    texts = [script(deck, changes, range(at, at + 1), "v(outp) v(outn)") for at in range(BY_PROCESS)]
    processes = BY_PROCESS / fastest(lambda: [ngspice(each) for each in texts], 2)
    again = BOARDS / fastest(solve, 7)
    print(f"ngspice, one alter loop  {altered:9.0f} /s   ratio {max(ours, again) / altered:6.1f}")
    print(f"ngspice -b a board       {processes:9.0f} /s   ratio {max(ours, again) / processes:6.1f}")
    point = circuit.operating_point(parts=parts)
    worst = 0.0
    boards = list(told_volts(ngspice(script(deck, changes, range(COMPARED), "all"))))
    assert len(boards) == COMPARED
    for board, volts in enumerate(boards):
        nodes = {name: value for name, value in volts.items() if "#" not in name}
        worst = max([worst, *(abs(float(point.volts(name)[board]) - value) for name, value in nodes.items())])
    print(f"largest deviation        {worst:9.1e} V   all nodes of {COMPARED} boards")
    return max(ours, again) / altered >= WANTED_RATIO and worst < WANTED_VOLTS, altered


def faulty_boards() -> list[Netlist]:
    """Return the healthy board and all that are stored with a fault in them."""
    netlists = [fed_board("dual15")]
    for fault in stored("dual15_faults")["faults"]:
        netlist = fed_board("dual15")
        for edit in fault["edits"]:
            netlist = apply_edit(netlist, edit)
        netlists.append(netlist)
    return netlists


def fault_list(samples: int) -> None:
    parts = draw_parts(fed_board("dual15"), np.random.default_rng(1), samples)
    seconds, solved, asked = 0.0, 0, 0
    for netlist in faulty_boards():
        start = time.perf_counter()
        circuit = Circuit(netlist)
        for load in ("noload", "half"):
            point = circuit.operating_point(parts=parts, parameters={"rload": load_ohms("dual15", load)})
            asked, solved = asked + samples, solved + int(point.solved.sum())
        seconds += time.perf_counter() - start
    print(f"whole list of faults     {asked / seconds:9.0f} /s   {solved} of {asked} solved in {seconds:.1f} s")


class Stopwatch:
    """Adds up seconds under a few names."""

    def __init__(self) -> None:
        self.seconds: dict[str, float] = {}

    @contextmanager
    def running(self, name: str) -> Iterator[None]:
        """Add the time a block takes."""
        start = time.perf_counter()
        yield
        self.seconds[name] = self.seconds.get(name, 0.0) + time.perf_counter() - start


def mixed_faults(altered: float) -> None:
    parts = draw_parts(fed_board("dual15"), np.random.default_rng(1), MIXED)
    netlists, watch, cold, warm = faulty_boards(), Stopwatch(), 0, 0
    for first in range(0, len(netlists), WIRINGS):
        with watch.running("circuits"):
            circuits = [Circuit(each) for each in netlists[first : first + WIRINGS]]
        with watch.running("fleets"):
            fleet = Fleet(circuits, [parts] * len(circuits))
        with watch.running("cold"):
            cold += sum(from_rest(fleet, load_ohms("dual15", load)) for load in ("noload", "half"))
        for step in range(1, STEPS + 1):
            with watch.running("warm"):
                warm += a_step_on(fleet, step)
    seconds = watch.seconds
    whole = cold / (seconds["circuits"] + seconds["fleets"] + seconds["cold"])
    print(f"faults mixed, {MIXED} each   {whole:9.0f} /s   ratio {whole / altered:6.1f}")
    print(
        f"  solving alone          {cold / seconds['cold']:9.0f} /s   "
        f"circuits took {seconds['circuits']:.2f} s, fleets {seconds['fleets']:.2f} s, solving {seconds['cold']:.2f} s"
    )
    small = warm / seconds["warm"]
    print(f"  in small steps         {small:9.0f} /s   ratio {small / altered:6.1f}, each board its own condition")


def from_rest(fleet: Fleet, ohms: float) -> int:
    """Solve all boards of a fleet as if they had never been; return how many."""
    fleet.forget()
    point = fleet.solve(np.arange(fleet.lanes), parameters={"rload": ohms})
    assert point.solved.all()
    return fleet.lanes


def a_step_on(fleet: Fleet, step: int) -> int:
    """Solve all boards of a fleet a little further on: load, trimmer and heat; return how many."""
    own = np.linspace(0.0, 1.0, fleet.lanes)
    parameters = {"rload": 30.0 - 0.5 * step + 0.2 * own, "trim_p": 0.5 + 1e-3 * step + 0.02 * own}
    point = fleet.solve(np.arange(fleet.lanes), parameters=parameters, celsius=27.0 + 0.05 * step + 0.2 * own)
    assert point.solved.all()
    return fleet.lanes


def memory() -> bool:
    netlist = fed_board("dual15")
    circuit, parts = Circuit(netlist), draw_parts(netlist, np.random.default_rng(1), MANY)
    tracemalloc.start()
    circuit.operating_point(parts=parts)
    _, peak = tracemalloc.get_traced_memory()
    tracemalloc.stop()
    print(f"memory for {MANY} boards {peak / 1e6:9.0f} MB")
    return peak < MOST_BYTES


def single_boards() -> None:
    netlist = fed_board("dual15")
    circuit = Circuit(netlist)
    start = circuit.operating_point()
    cold = fastest(lambda: Circuit(netlist).operating_point(), 10)
    warm = fastest(lambda: circuit.operating_point(parameters={"rload": 31.0}, start=start), 20)
    print(f"a single board           {cold * 1e3:9.1f} ms  cold, {warm * 1e3:.2f} ms from a neighbouring load")


def main() -> None:
    if hasattr(os, "sched_setaffinity"):
        os.sched_setaffinity(0, {max(os.sched_getaffinity(0))})
    good, altered = tolerance_boards()
    single_boards()
    good &= memory()
    mixed_faults(altered)
    fault_list(int(sys.argv[1]) if len(sys.argv) > 1 else 200)
    sys.exit(0 if good else 1)


if __name__ == "__main__":
    main()
