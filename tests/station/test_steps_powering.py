"""The steps that bring the inputs up and down: ramp, discharge."""

from dataclasses import dataclass

import pytest
from msgspec.structs import replace

from station.asks import Draw, Fed, Feed, Mode, Read, Reading, Wait
from station.lines import Outcome
from tests.station.boards import RAMP, profile_of, step_of
from tests.station.scripts import Script, answer

ramp = profile_of(RAMP).steps[0]


def test_a_ramp_raises_both_inputs_together_in_even_steps_of_at_most_two_volts() -> None:
    told = answer(ramp, Script())
    assert [ask.volts for ask in told.of(Feed, "INP")] == [pytest.approx(2.0 * step) for step in range(1, 12)]
    assert [ask.volts for ask in told.of(Feed, "INN")] == [-ask.volts for ask in told.of(Feed, "INP")]
    assert {ask.amps_limit for ask in told.of(Feed)} == {0.15}


def test_a_ramp_takes_the_time_it_was_given() -> None:
    assert sum(ask.seconds for ask in answer(ramp, Script()).of(Wait)) == pytest.approx(5.0)


@dataclass
class Clocked(Script):
    """A bench on which a feed takes 50 ms and a look 20 ms."""

    now: float = 0.0

    def feed(self, ask: Feed) -> Fed:
        self.now += 0.05
        return super().feed(ask)

    def wait(self, ask: Wait) -> None:
        self.now += ask.seconds
        super().wait(ask)

    def read(self, ask: Read) -> Reading:
        self.now += 0.02
        return replace(super().read(ask), seconds=self.now)


def test_feeding_and_looking_are_part_of_the_ramps_time() -> None:
    """Eleven steps of 0.1 s of feeding and 0.08 s of looking: only the first could not know."""
    bench = Clocked()
    answer(ramp, bench)
    assert 5.0 <= bench.now < 5.3


def test_doubt_about_the_top_of_a_ramp_is_met_with_a_longer_look() -> None:
    """18 V are never to be exceeded: 17.8 V with u = 0.1 V may be too much, with u = 1 mV they are not."""
    doubts = {0.02: 0.1, 1.0: 1e-3}
    told = answer(ramp, Script(volts={"OUTP": [*[1.0] * 10, 17.8]}, u=doubts.__getitem__))
    assert told.judged("highest voltage", "OUTP").outcome is Outcome.PASSED
    assert [ask.effort for ask in told.of(Read, "OUTP")] == [0.02] * 11 + [1.0]


def test_what_was_highest_on_the_way_can_not_be_looked_at_again() -> None:
    told = answer(ramp, Script(volts={"OUTP": [1.0, 17.8, 15.0]}, u=lambda effort: 0.1))
    assert told.judged("highest voltage", "OUTP").outcome is Outcome.UNDECIDED
    assert len(told.of(Read, "OUTP")) == 11


def test_a_ramp_reads_every_current_and_rail_after_every_step() -> None:
    told = answer(ramp, Script())
    assert [len(told.of(Read, name)) for name in ("INP", "INN", "OUTP", "OUTN", "TP1")] == [11, 11, 11, 11, 0]


def test_a_healthy_board_passes_its_ramp() -> None:
    assert {judgement.outcome for judgement in answer(ramp, Script()).judgements} == {Outcome.PASSED}


def test_a_ramp_judges_the_highest_value_it_saw() -> None:
    told = answer(ramp, Script(amps={"INP": [0.01, 0.2, 0.01]}, volts={"OUTN": [-3.0, -19.0, -15.0]}))
    assert told.judged("highest current", "INP").value == 0.2
    assert told.judged("highest current", "INP").outcome is Outcome.FAILED
    assert told.judged("highest voltage", "OUTN").outcome is Outcome.FAILED
    assert told.judged("highest current", "INN").outcome is Outcome.PASSED


def test_a_ramp_of_one_input_keeps_the_other_off() -> None:
    told = answer(profile_of("ramp: {inputs: [INN], to: 10 V, current limit: 1 A}").steps[0], Script())
    assert {ask.volts for ask in told.of(Feed, "INP")} == {0.0}
    assert told.of(Feed, "INN")[-1] == Feed("INN", -10.0, 1.0)
    assert [j.line.terminal for j in told.judgements if j.line.name == "highest current"] == ["INN"]


def test_a_discharge_takes_loads_off_before_inputs() -> None:
    empty = Script(volts=dict.fromkeys(("INP", "INN", "OUTP", "OUTN"), 0.1))
    told = answer(step_of("discharge: {below: 2 V}"), empty)
    assert told.asks[:4] == (Draw("OUTP", 0.0), Draw("OUTN", 0.0), Feed("INP", 0.0, 0.15), Feed("INN", 0.0, 0.15))
    assert told.of(Wait) == []
    assert {judgement.outcome for judgement in told.judgements} == {Outcome.PASSED}


def test_a_discharge_waits_until_every_terminal_is_low() -> None:
    falling = Script(volts={"INP": 0.0, "INN": 0.0, "OUTP": 0.0, "OUTN": [-9.0, -5.0, -1.9, -1.7, -1.0]})
    told = answer(step_of("discharge: {below: 2 V}"), falling)
    assert [ask.seconds for ask in told.of(Wait)] == [0.5, 0.5, 0.5]
    assert told.judged("voltage left", "OUTN").outcome is Outcome.PASSED


def test_a_discharge_that_takes_too_long_fails() -> None:
    charged = Script(volts={"INP": 0.0, "INN": 0.0, "OUTP": 9.0, "OUTN": 0.0})
    told = answer(step_of("discharge: {below: 2 V, within: 10 s}"), charged)
    assert len(told.of(Wait)) == 20
    assert told.judged("voltage left", "OUTP").outcome is Outcome.FAILED


def test_a_terminal_charged_the_other_way_round_is_charged() -> None:
    told = answer(
        step_of("discharge: {below: 2 V, within: 1 s}"),
        Script(volts={"INP": 0.0, "INN": 0.0, "OUTP": -3.0, "OUTN": 0.0}),
    )
    assert told.judged("voltage left", "OUTP").outcome is Outcome.FAILED


def test_every_current_limit_reached_is_told_to_whoever_drives() -> None:
    """The step itself takes no notice of the mode: the envelope around every ask stops it, see test_run.py."""
    told = answer(ramp, Script(fed={"INP": [Mode.CC]}))
    assert len(told.of(Feed, "INP")) == 11
