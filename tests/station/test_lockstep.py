"""Programs on many boards at once: each lane's run is its own, and what has no solution is never a number."""

from collections.abc import Callable, Coroutine
from dataclasses import dataclass, field
from typing import Any

import pytest

from station.asks import Draw, Feed, Quantity, Question, Read, Reading, StepStarted, Toward, Turn, Wait
from station.errors import Beyond, BoardStopped, InputError, Unreadable
from station.lockstep import LaneBoard, LaneEnded, in_lockstep
from station.opening import open_simulated
from station.profile import Profile
from station.program import compiled
from station.rehearsal import highest_volts
from tests.dividers import NETLIST, PROFILE, SHEET, divider
from tests.station.proving import adj3t, of, prove

# Volts straight across a diode, once OUTP stands above 6 V.
BURNING = NETLIST + "V1 ref 0 6\nE1 z 0 outp ref 10\nD1 z 0 DX\n.model DX D(IS=1e-14)\n"
HIGH = LaneBoard(2, ("R2:open",))  # its OUTP is the input
GOOD = LaneBoard(1)


@dataclass
class Asking:
    """A program that asks in order and remembers what it was told, errors too."""

    asks: list[Any]
    told: list[Any] = field(default_factory=list)

    def run(self) -> Coroutine[Any, Any, object]:
        return self._run()

    async def _run(self) -> None:
        await StepStarted(0, "look")
        for ask in self.asks:
            try:
                self.told.append(await ask)
            except (BoardStopped, Unreadable) as error:
                self.told.append(error)


def lockstep(profile: Profile, *boards: LaneBoard) -> list[LaneEnded]:
    return in_lockstep(compiled(profile), profile.board, highest_volts(profile), boards)


def told(profile: Profile, *asks: Any, board: LaneBoard = GOOD) -> list[Any]:
    """What one board answers."""
    program = Asking(list(asks))
    in_lockstep(program, profile.board, highest_volts(profile), [board])
    return program.told


def outcomes(ended: LaneEnded) -> list[str]:
    return [judgement.outcome.value for judgement in ended.judgements]


def test_a_board_is_judged_the_same_in_any_company() -> None:
    boards = [GOOD, LaneBoard(7, ("C1:short",)), LaneBoard(8, ("R1:open",)), LaneBoard(9)]
    others = [LaneBoard(seed, ("XU1.in:open",)) for seed in range(30, 50)]
    together = lockstep(adj3t(), *others, *boards, LaneBoard(60))[20:24]
    for board, ours in zip(boards, together, strict=True):
        (alone,) = lockstep(adj3t(), board)
        assert alone.judgements == ours.judgements
        assert alone.seconds == ours.seconds


def test_lanes_go_their_own_way() -> None:
    good, short, high = lockstep(divider(), GOOD, LaneBoard(1, ("R3:short",)), HIGH)
    assert outcomes(good) == ["Passed"] * 3
    assert outcomes(short) == ["Failed", "NotStarted", "NotStarted"]
    assert outcomes(high) == ["Passed", "Passed", "Failed"]


def test_a_lane_without_a_solution_says_so_and_judges_nothing_from_there_on() -> None:
    good, burnt = lockstep(divider(netlist=BURNING), GOOD, HIGH)
    assert (good.unsolved, outcomes(good)) == ("", ["Passed"] * 3)
    assert burnt.unsolved == "ramp: the circuit has no solution under what is applied"
    assert burnt.judgements == []


def test_a_proof_counts_boards_without_a_solution_apart_from_those_that_are_caught() -> None:
    found = prove(divider(netlist=BURNING), "R2:open", "R2:short", per_fault=3)
    lost, caught = of(found, "R2:open"), of(found, "R2:short")
    assert (lost.caught, lost.passed, lost.undecided, lost.unsolved) == (0, 0, 0, 3)
    assert (caught.caught, caught.unsolved) == (3, 0)
    assert found.coverage.value == pytest.approx(caught.weight)


FED = Feed("INP", 10.0, 0.05)


def test_a_reading_has_the_volts_that_the_circuit_gives_and_its_doubt() -> None:
    _, reading = told(divider(), FED, Read("OUTP", Quantity.VOLTAGE, 1.0))
    assert isinstance(reading, Reading)
    assert reading.value == pytest.approx(5.0, rel=0.02) and 0.0 < reading.u_random < 1e-3


@pytest.mark.parametrize(
    ("ask", "cause"),
    [
        (Feed("INP", 10.0, 0.002), "current limit"),
        (Feed("INP", 10.0, 0.02), ""),
    ],
)
def test_a_supply_at_its_limit_stops_the_board(ask: Feed, cause: str) -> None:
    (answer,) = told(divider(), ask)
    assert isinstance(answer, BoardStopped) is bool(cause)
    assert cause in str(answer)


def test_a_rail_beyond_its_ceiling_stops_the_board() -> None:
    low = divider(sheet=SHEET.replace("11.9 V", "6 V"))
    answer = told(low, FED, Read("OUTP", Quantity.VOLTAGE, 1.0), board=HIGH)[-1]
    assert isinstance(answer, BoardStopped) and "it must never exceed" in str(answer)


def test_a_current_that_no_instrument_reads_is_unreadable() -> None:
    answer = told(divider(), FED, Read("OUTP", Quantity.CURRENT, 1.0))[-1]
    assert isinstance(answer, Unreadable) and str(answer) == "no instrument reads a current at OUTP"


def test_ohms_are_read_on_the_board_alone() -> None:
    """INP to GND: 1 kohm + 1 kohm beside 1 Mohm; OUTP: 1 kohm beside 1 Mohm + 1 kohm."""
    ohms = [Read(name, Quantity.RESISTANCE, 1.0, test_amps=1e-4) for name in ("INP", "OUTP")]
    turned = Read("GND", Quantity.RESISTANCE, 1.0, "OUTP", 1e-4)
    inp, outp, back = (each.value for each in told(divider(), *ohms, turned))
    assert inp == pytest.approx(1.0 / (1.0 / 2e3 + 1e-6), rel=0.02)
    assert outp == pytest.approx(999.0, rel=0.02)
    assert back == pytest.approx(outp, rel=1e-4)


def test_ohms_beyond_the_range_say_so() -> None:
    answer = told(divider(), Read("INP", Quantity.RESISTANCE, 1.0, test_amps=1e-3))[-1]
    assert isinstance(answer, Beyond) and answer.ohms == pytest.approx(1200.0)


def test_after_ohms_the_bench_is_on_the_board_again() -> None:
    ohms, volts = Read("OUTP", Quantity.RESISTANCE, 1.0, test_amps=1e-4), Read("OUTP", Quantity.VOLTAGE, 1.0)
    before, _, after = told(divider(), volts, ohms, volts)
    assert abs(before.value) < 1e-3 and abs(after.value) < 1e-3
    _, _, fed = told(divider(), ohms, FED, volts)
    assert fed.value == pytest.approx(5.0, rel=0.02)


def test_ohms_while_something_is_fed_are_refused() -> None:
    with pytest.raises(InputError, match="ohms were to be read at OUTP while INP is fed 10 V"):
        told(divider(), FED, Read("OUTP", Quantity.RESISTANCE, 1.0, test_amps=1e-4))


def test_a_step_that_reads_ohms_is_not_one_that_only_waiting_shows() -> None:
    profile = divider(
        PROFILE.replace("steps:", "steps:\n  - resistance: {test current: 0.1 mA, OUTP: {at least: 900 Ω}}")
    )
    (ended,) = lockstep(profile, GOOD)
    assert outcomes(ended)[:2] == ["Passed", "Passed"]
    assert "resistance" not in ended.unfed_steps


def test_nothing_ripples_on_a_lane_but_the_meters_own() -> None:
    """20 uV of floor, within 80 % of 30 uV + 0.06 %; the bench of the same seed has the same meter."""
    profile, read = divider(), Read("OUTP", Quantity.RIPPLE)
    _, shown = told(profile, FED, read)
    assert shown.value == pytest.approx(20e-6, abs=30e-6)
    with open_simulated(profile.board, highest_volts(profile), seed=GOOD.seed) as bench:
        assert bench.performer.read(read).value == pytest.approx(shown.value, abs=15e-6)


def test_the_operator_says_yes() -> None:
    assert told(divider(), Question("All the right way round?")) == ["yes"]


def test_what_is_applied_after_a_reading_counts_for_the_next_one() -> None:
    read = Read("OUTP", Quantity.VOLTAGE, 1.0)
    answers = told(divider(), FED, read, Draw("OUTP", 0.002), read, Draw("OUTP", 0.0), read)
    first, loaded, last = (each.value for each in answers if isinstance(each, Reading))
    assert loaded == pytest.approx(4.0, rel=0.05)  # 2 mA through 500 ohm
    assert last == pytest.approx(first, abs=1e-3)


def test_what_was_seen_before_a_trimmer_was_turned_is_forgotten() -> None:
    """With its trimmer elsewhere it is another board: nothing reads so again."""
    profile = adj3t()
    look = [Feed("INP", volts, 0.15) for volts in (10.0, 16.0)]
    program = Asking([*look, Turn("RV1", Toward.CLOCKWISE, 0.5), Read("OUTP", Quantity.VOLTAGE, 1.0)])
    (ended,) = in_lockstep(program, profile.board, highest_volts(profile), [GOOD])
    assert list(ended.visited) == [((("INP", 16.0),), ())]


@pytest.mark.parametrize(
    ("ask", "seconds"), [(Wait(7.0), 7.0), (Question("Well?"), 20.0), (Feed("INP", 9.0, 0.05), 0.024), (FED, 0.003)]
)
def test_what_an_ask_takes_is_bench_time(ask: Any, seconds: float) -> None:
    read = Read("INP", Quantity.CURRENT, 1.0)
    before, after = (each.seconds for each in told(divider(), FED, read, ask, read) if isinstance(each, Reading))
    assert after - before == pytest.approx(seconds + 0.002)


def test_only_steps_that_were_begun_take_time() -> None:
    """The ramp stops this board: the step after it is never begun, though its lines are told."""
    good, short = lockstep(divider(), GOOD, LaneBoard(1, ("R3:short",)))
    assert good.seconds.keys() == {"ramp", "half"}
    assert short.seconds.keys() == {"ramp"}


def test_stopped_lanes_keep_what_they_had_judged() -> None:
    rounds = 0

    def stopped() -> bool:
        nonlocal rounds
        rounds += 1
        return rounds > 6  # five steps of the ramp, and the one after it

    profile = divider(PROFILE.replace("half,", "half, inputs: 9 V,"))
    (ended,) = in_lockstep(compiled(profile), profile.board, highest_volts(profile), [GOOD], stopped)
    assert outcomes(ended) == ["Passed", "Passed"]


@pytest.mark.parametrize(
    ("make", "message"),
    [
        (lambda: lockstep(divider(), LaneBoard(1, ("R9:open",))), "has no part 'R9'; write one of R3, R2, R1"),
        (lambda: lockstep(divider(netlist="* none\nR1 a b\n"), GOOD), r"board\.cir:2: "),
        (lambda: lockstep(divider(netlist="* none\nR1 a 0 1\n"), GOOD), "terminal INP is at node 'inp'"),
    ],
)
def test_a_wrong_netlist_or_fault_is_the_authors(make: Callable[[], object], message: str) -> None:
    with pytest.raises(InputError, match=message):
        make()
