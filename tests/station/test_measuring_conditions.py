"""The step measure at other inputs than nominal, and under load."""

from typing import Any

import pytest

from station.asks import Ask, Draw, Feed, Quantity, Read, Wait
from station.errors import InputError
from station.lines import Outcome
from tests.station.boards import RAMP, profile_of, step_of
from tests.station.scripts import Script, answer

OUTP = Read("OUTP", Quantity.VOLTAGE, 0.02)


def input_looks(name: str) -> list[Ask[Any]]:
    return [Read(name, Quantity.VOLTAGE, 0.02), Wait(0.005), Read(name, Quantity.VOLTAGE, 0.02)]


def fed(volts: float, limit: float) -> list[Feed]:
    return [Feed("INP", volts, limit), Feed("INN", -volts, limit)]


def test_inputs_are_fed_the_asked_magnitude_and_then_nominal_again() -> None:
    step = step_of("measure: {inputs: 24 V, OUTP: {voltage: 15 V ± 1 %}}")
    read = Read("OUTP", Quantity.VOLTAGE, 0.02)
    told = list(answer(step, Script()).asks)
    assert told[:7] == [*fed(24.0, 0.15), read, Wait(0.1), read, *fed(22.0, 0.15)]
    assert told[7:] == [*input_looks("INP"), *input_looks("INN")]  # no supply can draw a reservoir down


def test_lowered_inputs_are_waited_for_before_anything_is_read() -> None:
    step = step_of("measure: {inputs: 19 V, OUTP: {voltage: 15 V ± 1 %}}")
    told = list(answer(step, Script()).asks)
    assert told[:9] == [*fed(19.0, 0.15), *input_looks("INP"), *input_looks("INN"), OUTP]
    assert told[-2:] == fed(22.0, 0.15)


def test_inputs_that_do_not_get_where_they_are_fed_leave_nothing_passed() -> None:
    step = step_of("measure: {inputs: 19 V, settle within: 1 s, OUTP: {voltage: 15 V ± 1 %}}")
    told = answer(step, Script(volts={"INP": 21.5})).judged("voltage")
    assert told.outcome is Outcome.UNDECIDED
    assert told.cause == "INP not settled within 1 s: INP is at 21.5 V, fed 19 V"


def test_loads_are_drawn_one_by_one_with_a_look_at_the_supplies_and_taken_off_after_the_reading() -> None:
    step = step_of("measure: {loads: {OUTP: 500 mA, OUTN: 1 A}, current limit: 1.3 A, OUTP: {voltage: 15 V ± 1 %}}")
    assert list(answer(step, Script()).asks) == [
        *fed(22.0, 1.3),
        Draw("OUTP", 0.5),
        *fed(22.0, 1.3),
        Draw("OUTN", 1.0),
        *fed(22.0, 1.3),
        OUTP,
        Wait(0.1),
        OUTP,
        Draw("OUTP", 0.0),
        Draw("OUTN", 0.0),
    ]


def test_loads_come_off_before_the_inputs_are_back_at_nominal() -> None:
    step = step_of("measure: {inputs: 24 V, loads: {OUTN: 0.2 A}, current limit: 1 A, OUTN: {voltage: -15 V ± 1 %}}")
    assert list(answer(step, Script()).asks)[-9:-6] == [Draw("OUTN", 0.0), *fed(22.0, 1.0)]


def test_loads_come_off_where_the_reading_fails_too() -> None:
    step = step_of("measure: {loads: {OUTP: 0.5 A}, current limit: 1 A, OUTP: {voltage: 15 V ± 1 %}}")
    told = answer(step, Script(volts={"OUTP": 9.0}))
    assert told.judged("voltage").outcome.value == "Failed"
    assert told.asks[-1] == Draw("OUTP", 0.0)


def test_the_highest_voltage_that_protections_are_set_for_is_the_asked_one() -> None:
    step = step_of("measure: {inputs: 24 V, OUTP: {voltage: 15 V ± 1 %}}")
    assert step.form.highest_volts(step.setup) == {"INP": 24.0, "INN": 24.0}


@pytest.mark.parametrize(
    ("keys", "told"),
    [
        ("inputs: 0 V", "15: the inputs are fed nothing; write a magnitude above zero, such as '19 V'"),
        ("inputs: -19 V", "15: the inputs are fed nothing; write a magnitude above zero, such as '19 V'"),
        ("inputs: 19", "15: inputs: '19' has no unit; write it as text with one, such as '19 V'"),
        (
            "inputs: 30 V",
            "5: the step feeds INP 30 V, but the board sheet says never above 28 V; write",
        ),
        ("loads: {TP1: 0.1 A}", "23: TP1 is no output of the board; write one of OUTP, OUTN"),
        ("loads: {INP: 0.1 A}", "23: INP is no output of the board; write one of OUTP, OUTN"),
        ("loads: {OUTP: 2 A}", "23: 2 A is no load for OUTP; write more than 0 A, at most 1 A"),
        ("loads: {OUTP: 0 A}", "23: 0 A is no load for OUTP; write more than 0 A, at most 1 A"),
        ("loads: {OUTP: -1 A}", "23: -1 A is no load for OUTP; write more than 0 A, at most 1 A"),
        ("loads: {OUTP: 500}", "23: OUTP: '500' has no unit; write it as text with one, such as '500 A'"),
        (
            "loads: {OUTP: 0.5 A}, current limit: 500 mA",
            "15: the inputs' limit of 500 mA can't carry the load; give the step a higher 'current limit' of its own",
        ),
        (
            "loads: {OUTP: 0.5 A}",
            "15: the inputs' limit of 150 mA can't carry the load; give the step a higher 'current limit' of its own",
        ),
    ],
)
def test_a_condition_that_can_not_be_is_refused_with_its_place(keys: str, told: str) -> None:
    with pytest.raises(InputError) as refused:
        profile_of(RAMP, f"measure: {{{keys}, OUTP: {{voltage: 15 V ± 1 %}}}}")
    assert f"test.yaml:7:{told}" in str(refused.value)


@pytest.mark.parametrize(
    "step",
    [
        "measure: {inputs: 12 V, OUTP: {voltage: 10 V ± 5 %}}",
        "line sweep: {inputs: 10 V .. 12 V, OUTP: {line regulation: at most 1 %/V}}",
        "efficiency: {inputs: 12 V, load: 0.1 A, efficiency: at least 10 %, current limit: 1 A}",
    ],
)
def test_a_step_at_low_inputs_leaves_them_at_nominal_and_counts_that(step: str) -> None:
    bound = step_of(step)
    highest = bound.form.highest_volts(bound.setup)
    assert highest == {"INP": 22.0, "INN": 22.0}
    assert max(ask.volts for ask in answer(bound, Script()).of(Feed, "INP")) == 22.0
