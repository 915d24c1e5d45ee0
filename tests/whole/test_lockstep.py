"""The bet: a program tells the same of a board in lockstep, without a wire, as on the simulated bench over SCPI.

About two hundred boards with `pytest --exhaustive`, every second of them in CI.
"""

import math
from concurrent.futures import ProcessPoolExecutor
from multiprocessing import get_context
from pathlib import Path

import pytest

from simulated.circuit import read_netlist, universe
from station.envelope import Envelope
from station.lines import Judgement
from station.lockstep import LaneBoard, in_lockstep
from station.opening import described, open_simulated
from station.profile import Profile, load_profile
from station.program import compiled
from station.rehearsal import highest_volts
from station.run import NoRecord, run

PROFILES = Path(__file__).parents[2] / "profiles"
HEALTHY = 12
EVERY = {"dual15": 8, "adj3t": 2, "bat5": 4}  # of the universe: 57, 60 and 61 faults, about 200 boards with the healthy
# Hands turn by what a meter shows: another noise, and a rail ends elsewhere in its window.
AFTER_HANDS = ("trimmed", "no load")
# Of what u leaves out: the board's temperature is followed in steps, and a sweep's span is the largest of many looks.
LEEWAY_VOLTS = 1.5e-3
# A ramp does not wait until a rail without much to drain it has settled, nor does the look that follows it.
RAMP_LEEWAY_VOLTS = 0.05
# On a rail that nothing feeds and nothing drains an ohmmeter leaves some tenths of a volt, which the ramp finds.
LEFT_BY_OHMMETER = {("RF1:blown",), ("D1:open",), ("Q3.b:open",), ("RV1:wiper",)}
LEFT_VOLTS = 0.3
OHMS_LEEWAY = 0.01  # of the reading: the last of a large capacitor's charge is still on its way
# Boards that no half second settles (a capacitor ten times too large), and circuits of two states, of which the way
# up decides. Their lines fail or pass alike; their readings differ.
UNALIKE = ("C3:value:x10", "Q204:rotated:ecb", "Q4:rotated:ecb")


def boards_of(name: str, profile: Profile) -> list[LaneBoard]:
    netlist = read_netlist(described(profile.board).netlist, name=name)
    faulty = [(str(defect.fault),) for defect in universe(netlist)[:: EVERY[name]]]
    healthy = [LaneBoard(500 + at) for at in range(HEALTHY)]
    return [*healthy, *(LaneBoard(900 + at, faults) for at, faults in enumerate(faulty))]


def on_the_bench(name: str, board: LaneBoard) -> tuple[Judgement, ...]:
    profile = load_profile(PROFILES / name / "full.yaml")
    with open_simulated(profile.board, highest_volts(profile), seed=board.seed, faults=board.faults) as bench:
        return run(compiled(profile), bench.performer, NoRecord(), envelope=Envelope(profile.board)).judgements


def off_by(bench: Judgement, lane: Judgement, rising_leeway_volts: float) -> float:
    """How far two values lie apart beyond what their uncertainties and the leeway explain."""
    if bench.value is None or lane.value is None or bench.u is None or lane.u is None:
        return 0.0
    if bench.line.limit is not None and bench.line.limit.unit == "ohm":
        return abs(bench.value - lane.value) - 5.0 * math.hypot(bench.u, lane.u) - OHMS_LEEWAY * abs(bench.value)
    per_volt = 1.0 if bench.line.limit is not None and bench.line.limit.unit in ("V", "A") else 1.0 / 5.0
    rising = bench.line.step == "ramp" or bench.line.name == "before trim"
    leeway = rising_leeway_volts if rising else LEEWAY_VOLTS * per_volt
    return abs(bench.value - lane.value) - 5.0 * math.hypot(bench.u, lane.u) - leeway


@pytest.mark.parametrize("name", EVERY)
def test_lockstep_and_bench_tell_the_same_of_every_board(name: str, exhaustive: bool) -> None:
    profile = load_profile(PROFILES / name / "full.yaml")
    boards = boards_of(name, profile)[:: 1 if exhaustive else 2]
    lanes = in_lockstep(compiled(profile), profile.board, highest_volts(profile), boards)
    with ProcessPoolExecutor(2, mp_context=get_context("spawn")) as workers:
        benches = list(workers.map(on_the_bench, [name] * len(boards), boards))

    different, apart = [], []
    for board, lane, bench in zip(boards, lanes, benches, strict=True):
        assert not lane.unsolved
        for ours, theirs in zip(lane.judgements, bench, strict=True):
            assert ours.line == theirs.line
            told = (board.faults, ours.line.title, theirs.outcome, theirs.value, ours.outcome, ours.value)
            if ours.outcome is not theirs.outcome:
                different.append(told)
            after_waiting = ours.line.name == "voltage left" or any(word in ours.line.title for word in AFTER_HANDS)
            after_waiting |= "while it still moved" in theirs.cause  # ohms on their way are passed early
            leeway = LEFT_VOLTS if board.faults in LEFT_BY_OHMMETER else RAMP_LEEWAY_VOLTS
            if not after_waiting and not set(board.faults) & set(UNALIKE) and off_by(theirs, ours, leeway) > 0.0:
                apart.append(told)
    assert different == []
    assert apart == []


def test_a_board_is_the_same_in_any_company() -> None:
    profile = load_profile(PROFILES / "adj3t" / "full.yaml")
    boards = [LaneBoard(seed) for seed in range(3)]

    together = in_lockstep(compiled(profile), profile.board, highest_volts(profile), boards)
    again = in_lockstep(compiled(profile), profile.board, highest_volts(profile), boards)

    assert [lane.judgements for lane in together] == [lane.judgements for lane in again]
