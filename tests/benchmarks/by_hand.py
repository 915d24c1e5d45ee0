"""Set the station beside the script that a practitioner writes today, and beside what no test can be quicker than.

    python -m tests.benchmarks.by_hand [BOARDS]

- both test the same simulated boards (BOARDS, 200; part tolerances; every fifth has a fault) by dual15/full, over
  TCP, the virtual clock as their time; trimmers are turned by the same simulated hands. Bench time is compared over
  ramp, no load, both sweeps and overload; trim, inspections and discharge stand beside it, and so does what the
  script leaves out (resistance, efficiency, final);
- false decisions: lines passed whose true value, without noise, lies outside the limit, or failed inside it;
- the lower bound: the same conditions on the nominal board, put by somebody who knows when it has settled, and read
  once each with the least integration that decides (`by_hand_bound`);
- the processor time of the station, its record and its drivers, less that of a bare pyvisa loop over the same messages.

It exits 1 where a bar is missed.
"""

import os

os.environ["OPENBLAS_NUM_THREADS"] = "1"

import sys
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, field
from multiprocessing import get_context
from pathlib import Path
from typing import Any

import numpy as np
import pyvisa

from drivers.wire import VisaWire
from simulated.bench import SimulatedBench, open_bench
from station.asks import Ask, Event, StepEnded, StepStarted
from station.defects import universe_of
from station.envelope import Envelope
from station.opening import described, open_simulated
from station.program import compiled
from station.record import begin
from station.rehearsal import highest_volts
from station.run import NoRecord, run
from station.store import open_store
from tests.benches import full_profile
from tests.benchmarks.by_hand_bound import least_seconds
from tests.benchmarks.by_hand_script import ByHand
from tests.benchmarks.by_hand_truth import Tested, truths
from tests.commands import FULL

BOARDS, EVERY_FAULTY, PROCESSES = 200, 5, 2
MOST_OF_BY_HAND, MOST_OF_BOUND, MOST_OVERHEAD = 0.40, 1.3, 0.05
COUNTED = ("ramp", "no load", "line sweep", "load sweep", "overload")  # what both do, and no operator waits in


@dataclass(frozen=True)
class Told:
    """What one way of testing said of one board: Passed, Failed or else by line title, and seconds by step."""

    board: Tested
    lines: dict[str, str]
    seconds: dict[str, float]

    @property
    def outcome(self) -> str:
        """The board's outcome: Failed where a line is, Passed where all are."""
        told = set(self.lines.values())
        return "Failed" if "Failed" in told else "Passed" if told == {"Passed"} else "Undecided"

    @property
    def bench_seconds(self) -> float:
        """Bench time of the steps that count."""
        return sum(self.seconds.get(step, 0.0) for step in COUNTED)


def by_station(seed: int, faults: tuple[str, ...]) -> Told:
    profile, seconds, begun = full_profile(), dict[str, float](), [0.0]
    with open_simulated(profile.board, highest_volts(profile), seed=seed, faults=faults) as bench:

        def told(ask: Ask[Any], _: object) -> None:
            if isinstance(ask, StepStarted):
                begun[0] = bench.clock.seconds()
            elif isinstance(ask, StepEnded):
                seconds[ask.title] = bench.clock.seconds() - begun[0]
                begun[0] = bench.clock.seconds()

        ended = run(compiled(profile), bench.performer, NoRecord(), envelope=Envelope(profile.board), told=told)
        travel = tuple(bench.inside.board.trimmers.items())
    lines = {each.line.title: each.outcome.value for each in ended.judgements}
    return Told(Tested(seed, faults, travel), lines, seconds)


def by_hand(seed: int, faults: tuple[str, ...]) -> Told:
    with open_bench(described(full_profile().board), seed=seed, faults=faults) as bench:
        script = ByHand(FULL, bench.resources, bench.clock.advance, bench.clock.seconds, _turning(bench))
        script.run()
        travel = tuple(bench.board.trimmers.items())
    lines = {
        f"{step}: {terminal} {what}": "Passed" if passed else "Failed"
        for (step, terminal, what), passed in script.passed.items()
    }
    return Told(Tested(seed, faults, travel), lines, script.seconds)


def _turning(bench: SimulatedBench) -> Callable[[str, bool, float], bool]:
    def turn(name: str, clockwise: bool, missing_volts: float) -> bool:
        return bench.hands.turn(name, clockwise=clockwise, missing_volts=missing_volts)

    return turn


def boards_of(count: int) -> list[tuple[int, tuple[str, ...]]]:
    faults = [str(fault) for fault, _ in universe_of(full_profile().board)]
    chosen = iter(np.random.default_rng(6).permutation(len(faults)))
    return [(at, (faults[next(chosen)],) if at % EVERY_FAULTY == 4 else ()) for at in range(count)]


def false_decisions(told: Iterable[Told]) -> tuple[int, int]:
    """Return how many lines were passed that are truly outside their limit, and failed that are inside."""
    told, limits = list(told), {line.title: line.limit for line in compiled(full_profile()).lines()}
    counts = Counter[str]()
    for each, true in zip(told, truths(full_profile(), [one.board for one in told]), strict=True):
        for title, value in true.items():
            limit = limits[title]
            assert limit is not None
            if title in each.lines and np.isfinite(value):
                counts[f"{each.lines[title]} {limit.room(value) >= 0.0}"] += 1
    return counts["Passed False"], counts["Failed True"]


class Messages:
    """What the station's drivers send and read, in order, by resource name."""

    def __init__(self) -> None:
        self.sent: list[tuple[str, str, bool]] = []  # resource, message, whether a reply was read after it

    def listen(self) -> None:
        """Note what every wire carries from now on."""
        write, read, noted = VisaWire.write_line, VisaWire.read_line, self.sent

        def write_line(wire: VisaWire, text: str) -> None:
            noted.append((wire._resource.resource_name, text, False))
            write(wire, text)

        def read_line(wire: VisaWire, timeout_seconds: float) -> bytes:
            name, text, _ = noted[-1]
            noted[-1] = (name, text, True)
            return read(wire, timeout_seconds)

        setattr(VisaWire, "write_line", write_line)  # noqa: B010  mypy refuses the assignment
        setattr(VisaWire, "read_line", read_line)  # noqa: B010


@dataclass
class Spent:
    """What the steps that count took: asks, processor seconds, bench seconds, and which messages they sent."""

    asks: int = 0
    processor: float = 0.0
    bench: float = 0.0
    sent: list[tuple[str, str, bool]] = field(default_factory=list)


def overhead() -> tuple[Spent, float]:
    """Return what one recorded run spent, and the processor seconds of a bare loop over the same messages.

    A run before it pays for what is done once: imports, and statements put into SQL.
    """
    messages = Messages()
    messages.listen()
    spent(messages)
    ours = spent(messages)
    return ours, bare_seconds(ours.sent)


def spent(messages: Messages) -> Spent:
    profile, total = full_profile(), Spent()
    with tempfile.TemporaryDirectory() as folder, open_store(Path(folder) / "r.sqlite") as store:
        record = begin(store, profile, "D15-1", simulated=True, bench={}, software="benchmark")
        with open_simulated(profile.board, highest_volts(profile), seed=1) as bench:
            names = {server.resource: name for name, server in bench.inside.servers.items()}
            begun, asks = (0.0, 0.0, 0), 0

            def told(ask: Ask[Any], _: object) -> None:
                nonlocal begun, asks
                asks += not isinstance(ask, Event)
                now = time.thread_time(), bench.clock.seconds(), len(messages.sent)
                if isinstance(ask, StepStarted):
                    begun, asks = now, 0
                elif isinstance(ask, StepEnded) and ask.title in COUNTED:
                    total.asks += asks
                    total.processor += now[0] - begun[0]
                    total.bench += now[1] - begun[1]
                    total.sent += [
                        (names[where], text, reply) for where, text, reply in messages.sent[begun[2] : now[2]]
                    ]

            run(compiled(profile), bench.performer, record, envelope=Envelope(profile.board), told=told)
    return total


def bare_seconds(sent: list[tuple[str, str, bool]]) -> float:
    """Return the processor time of a bare loop over messages, on a bench of its own."""
    with open_bench(described(full_profile().board), seed=1) as bench:
        manager = pyvisa.ResourceManager("@py")
        opened: dict[str, Any] = {name: manager.open_resource(each) for name, each in bench.resources.items()}
        for each in opened.values():
            each.read_termination = each.write_termination = "\n"
            each.timeout = 60e3  # milliseconds; a simulated board may be slow to move
        begun = time.thread_time()
        for name, text, reply in sent:
            opened[name].write(text)
            if reply:
                opened[name].read()
        seconds = time.thread_time() - begun
        manager.close()
    return seconds


def table(station: list[Told], hand: list[Told], bound: dict[str, float]) -> tuple[float, float]:
    """Print bench time by step, over boards without a fault, and return the ratios to by hand and to the bound."""
    sound = [at for at, each in enumerate(station) if not each.board.faults]

    def mean(told: list[Told], steps: Iterable[str]) -> float:
        return float(np.mean([sum(told[at].seconds.get(step, 0.0) for step in steps) for at in sound]))

    def row(what: str, steps: Iterable[str]) -> tuple[float, float]:
        steps = list(steps)
        ours, theirs, least = mean(station, steps), mean(hand, steps), sum(bound.get(step, 0.0) for step in steps)
        ratios = f"{ours / theirs:9.3f} {ours / least:9.3f}" if least else f"{'beside':>9}"
        print(f"{what:<14} {ours:9.3f} {theirs:9.3f} {least:9.3f} {ratios}")
        return (ours / theirs, ours / least) if least else (0.0, 0.0)

    print(f"{'bench seconds':<14} {'station':>9} {'by hand':>9} {'bound':>9} {'of hand':>9} {'of bound':>9}")
    for step in station[sound[0]].seconds:
        row(step, [step])
    row("without ramp", [step for step in bound if step != "ramp"])
    ratios = row("together", bound)
    every = [float(np.mean([each.bench_seconds for each in told])) for told in (station, hand)]
    print(f"{'faulty too':<14} {every[0]:9.3f} {every[1]:9.3f} {'':9} {every[0] / every[1]:9.3f}")
    return ratios


def main() -> None:
    boards = boards_of(int(sys.argv[1]) if len(sys.argv) > 1 else BOARDS)
    seeds, faults = zip(*boards, strict=True)
    with ProcessPoolExecutor(PROCESSES, mp_context=get_context("spawn")) as workers:
        station = list(workers.map(by_station, seeds, faults))
        hand = list(workers.map(by_hand, seeds, faults))
    of_hand, of_bound = table(station, hand, least_seconds())
    wrong = [false_decisions(told) for told in (station, hand)]
    for name, told, (accepted, rejected) in zip(("station", "by hand"), (station, hand), wrong, strict=True):
        outcomes = dict(Counter(each.outcome for each in told))
        print(f"{name:<8} {outcomes}; lines wrongly passed {accepted}, wrongly failed {rejected}")
    ours, bare = overhead()
    share = (ours.processor - bare) / ours.bench
    print(f"overhead {(ours.processor - bare) / ours.asks * 1e6:.0f} µs an ask over {ours.asks} asks (station ", end="")
    print(f"{ours.processor:.2f} s, bare loop {bare:.2f} s of processor time): {share:.2%} of bench time")
    bars = (
        of_hand <= MOST_OF_BY_HAND,
        sum(wrong[0]) <= sum(wrong[1]),
        of_bound <= MOST_OF_BOUND,
        share <= MOST_OVERHEAD,
    )
    print("bars: by hand, wrong decisions, bound, overhead:", *("met" if bar else "MISSED" for bar in bars))
    sys.exit(0 if all(bars) else 1)


if __name__ == "__main__":
    main()
