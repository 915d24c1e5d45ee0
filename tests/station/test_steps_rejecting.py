"""Ripple as a limit, ripple rejection against published figures and ngspice, and what happens with nothing in front."""

import csv
import math
from collections.abc import Callable
from pathlib import Path

import pytest

from simulated.board import SimulatedBoard
from station.asks import Draw, Quantity, Read
from station.envelope import Envelope
from station.errors import InputError
from station.lines import Judgement, Outcome
from station.opening import open_simulated
from station.profile import Profile, load_profile, parse_profile
from station.program import compiled
from station.rehearsal import highest_volts
from station.run import NoRecord, run
from station.steps.rejecting import ripple_rejection
from tests.station.boards import RAMP, program_of, step_of, twin
from tests.station.references import HERE, inputs, rows
from tests.station.scripts import Script, answer, reading

WORKED = {row["id"]: (inputs(row), float(row["result"])) for row in rows("worked_examples.csv")}
ADJ3T = Path(__file__).parents[2] / "profiles" / "adj3t" / "full.yaml"
STEP = "ripple rejection: {OUTP: {rejection: at least 60 dB}}"
NAME = "ripple rejection, meter's bandwidth"


def test_the_published_example_comes_out() -> None:
    """RR-01: a published calculator example, 55 mV in and 50 uV out."""
    given, decibels = WORKED["RR-01"]
    result = ripple_rejection(reading(given["Vin_ripple"]), reading(given["Vout_ripple"]))
    assert result.value == pytest.approx(decibels, rel=1e-6)


def test_what_is_left_by_a_known_rejection_has_that_rejection() -> None:
    """RR-02, the inverse, own computation: 1.064 V in at 60 dB leave 1.064 mV."""
    given, millivolts = WORKED["RR-02"]
    result = ripple_rejection(reading(given["Vin_ripple"]), reading(millivolts / 1e3))
    assert result.value == pytest.approx(given["RR"], rel=1e-6)


def test_the_doubt_is_that_of_both_readings_to_first_order() -> None:
    """1 % of either is 0.0869 dB; an error that both share, 0.1 % of each, cancels."""
    before = reading(0.1, 0.001, common=1e-4)
    after = reading(0.01, 0.0001, common=1e-5)
    decibel = 20.0 / math.log(10.0)
    assert ripple_rejection(before, after).u == pytest.approx(decibel * math.hypot(0.01, 0.01), rel=1e-9)


def rejected(before: float, after: float, text: str = STEP) -> Judgement:
    script = Script(ripple={"INP": before, "OUTP": after}, u=lambda effort: 17e-6)
    return answer(step_of(text), script).judged(NAME)


@pytest.mark.parametrize(
    ("before", "after", "outcome"),
    [
        (0.5, 0.25e-3, Outcome.PASSED),  # 66 dB
        (0.5, 0.8e-3, Outcome.FAILED),  # 56 dB
        (0.5, 0.5e-3, Outcome.UNDECIDED),
    ],
)
def test_a_rejection_is_judged(before: float, after: float, outcome: Outcome) -> None:
    told = rejected(before, after)
    assert told.outcome is outcome
    assert told.value == pytest.approx(20.0 * math.log10(before / after))


def test_a_ripple_that_drowns_in_the_meters_own_gives_a_least_rejection() -> None:
    """0.5 V over 30 uV and twice 17 uV: 77.9 dB at least."""
    told = rejected(0.5, 30e-6)
    assert told.outcome is Outcome.PASSED
    assert told.value == pytest.approx(20.0 * math.log10((0.5 - 34e-6) / 64e-6))
    assert told.cause.startswith("this much or more")
    assert rejected(0.01, 30e-6).outcome is Outcome.UNDECIDED


def test_with_nothing_in_front_the_line_is_not_started_and_says_why() -> None:
    script = Script(ripple={"INP": 35e-6}, u=lambda effort: 17e-6)
    told = answer(step_of(STEP), script)
    judgement = told.judged(NAME)
    assert (judgement.outcome, judgement.counts) == (Outcome.NOT_STARTED, False)
    assert judgement.cause == "INP ripples by 35 µV rms only: it takes a modulated source or the raw supply in front"
    assert all(ask.quantity is Quantity.VOLTAGE for ask in told.of(Read, "OUTP"))


def test_the_run_rests_on_its_other_lines() -> None:
    script = Script(ripple={"INP": 35e-6}, u=lambda effort: 17e-6)
    ended = run(program_of(RAMP, STEP), script, NoRecord(), envelope=Envelope(twin()))
    assert ended.outcome is Outcome.PASSED
    assert ended.judgements[-1].outcome is Outcome.NOT_STARTED


def test_an_output_is_loaded_while_its_ripple_is_read_and_not_after() -> None:
    step = step_of("ripple rejection: {load: 0.5 A, current limit: 1 A, OUTN: {rejection: at least 60 dB}}")
    told = answer(step, Script(ripple={"INN": 0.5, "OUTN": 0.25e-3}))
    assert [ask.amps for ask in told.of(Draw)] == [0.5, 0.0]
    assert [ask.terminal for ask in told.of(Read) if ask.quantity is Quantity.RIPPLE] == ["INN", "OUTN"]


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("OUTP: {rejection: at most 60 dB}", "is no least; write for example 'at least 60 dB'"),
        ("OUTP: {rejection: at least 60 V}", "write a value in dB"),
        ("INP: {rejection: at least 60 dB}", "INP is no output"),
        ("load: 3 A, OUTP: {rejection: at least 60 dB}", "3 A is above the 1 A of a rating"),
    ],
)
def test_what_makes_no_sense_is_refused_before_power(text: str, what: str) -> None:
    with pytest.raises(InputError, match=what):
        step_of(f"ripple rejection: {{{text}}}")


MEASURE = "measure: {OUTP: {ripple: at most 2 mV}}"
RIPPLE = "ripple rms, meter's bandwidth"


@pytest.mark.parametrize(("volts", "outcome"), [(30e-6, Outcome.PASSED), (5e-3, Outcome.FAILED)])
def test_ripple_is_a_limit_of_measure_named_with_its_bandwidth(volts: float, outcome: Outcome) -> None:
    told = answer(step_of(MEASURE), Script(ripple={"OUTP": volts}))
    assert told.judged(RIPPLE).outcome is outcome
    assert {ask.quantity for ask in told.of(Read)} == {Quantity.RIPPLE}


def test_a_ripple_without_a_most_is_refused() -> None:
    with pytest.raises(InputError, match="is no most; write for example 'at most 2 mV'"):
        step_of(MEASURE.replace("at most", "at least"))


def simulated(profile: Profile, modulate: Callable[[SimulatedBoard], None]) -> tuple[Judgement, ...]:
    with open_simulated(profile.board, highest_volts(profile), seed=1, nominal=True) as bench:
        modulate(bench.inside.board)
        return run(compiled(profile), bench.performer, NoRecord(), envelope=Envelope(profile.board)).judgements


def adj3t() -> Profile:
    text = """
profile: adj3t/ripple
board: board.yaml
steps:
  - ramp: {inputs: [INP], to: nominal, over: 5 s, current limit: 600 mA}
  - measure: {loads: {OUTP: 0.25 A}, OUTP: {ripple: at most 2 mV}}
  - ripple rejection: {load: 0.25 A, OUTP: {rejection: at least 60 dB}}
"""
    return parse_profile(text, ADJ3T.with_name("ripple.yaml"), load_profile(ADJ3T).board)


def test_on_the_simulated_bench_a_modulated_source_shows_what_ngspice_computes() -> None:
    """adj3t at 100 Hz, half load and trimmer as stored: ngspice has a resistor for the load."""

    def modulated(board: SimulatedBoard) -> None:
        board.turn("trim", 0.555)
        board.modulate("INP", rms_volts=0.5, hertz=100.0)

    stored = csv.DictReader((HERE / "circuits" / "adj3t_ac.csv").read_text().splitlines())
    response = next(float(row["mag_outp"]) for row in stored if float(row["freq"]) == 100.0)
    *_, ripple, told = simulated(adj3t(), modulated)
    assert told.value == pytest.approx(-20.0 * math.log10(response), abs=0.7)
    assert told.outcome is Outcome.PASSED
    assert ripple.value == pytest.approx(0.5 * response, rel=0.2)


def test_on_a_clean_supply_only_the_meters_own_shows_and_nothing_is_said_of_rejection() -> None:
    *_, ripple, told = simulated(adj3t(), lambda board: None)
    assert ripple.value == pytest.approx(20e-6, abs=30e-6)
    assert (ripple.outcome, told.outcome) == (Outcome.PASSED, Outcome.NOT_STARTED)
