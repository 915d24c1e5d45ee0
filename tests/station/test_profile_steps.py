"""What a profile's author is told about each kind of step: place, what is wrong, what to write."""

from pathlib import Path

import pytest

from station.errors import InputError
from station.profile import parse_profile
from station.steps import KINDS
from tests.station.boards import RAMP, profile_text, twin


def refusal(text: str) -> list[str]:
    with pytest.raises(InputError) as refused:
        parse_profile(text, Path("p.yaml"), twin())
    return str(refused.value).splitlines()


@pytest.mark.parametrize(
    ("step", "message"),
    [
        ("mesure: {}", "5: 'mesure' is not a kind of step; write 'measure'"),
        (
            "xyz: {}",
            f"5: 'xyz' is not a kind of step; write one of {', '.join(KINDS)}",
        ),
        (
            "{measure: {}, trim: {}}",
            "5: a step is one kind with its keys, but here is measure, trim; write '- measure: {...}'",
        ),
        ("{}", "5: a step is one kind with its keys, but here is nothing; write '- measure: {...}'"),
        ("measure", "5: entry 2: 'measure' does not fit; note that input should be a valid dictionary"),
        ("measure: [OUTP]", "5: the step 'measure' has no keys; write 'measure: {...}'"),
        ("measure: {}", "5: the step measures nothing; write a terminal and its limits"),
        (
            "measure: {OUTQ: {voltage: 15 V ± 1 %}}",
            "15: 'OUTQ' is neither a key of 'measure' nor one of the board's terminals; write 'OUTP'",
        ),
        ("discharge: {belwo: 2 V}", "17: 'belwo' is not a key of 'discharge'; write 'below'"),
        (
            "measure: {OUTP: {voltag: 15 V ± 1 %}}",
            "22: 'voltag' is not a key known here; write 'voltage'",
        ),
        ("measure: {OUTP: {}}", "15: nothing is asked of OUTP; write for example 'voltage: 15 V ± 1 %'"),
        (
            "measure: {OUTP: 15 V}",
            "15: OUTP: '15 V' does not fit; note that input should be a valid dictionary or instance of WantedForm",
        ),
        ("measure: {OUTP: {voltage: 15 Volt ± 1 %}}", "22: voltage: 'Volt' is not a unit known here; write V"),
        (
            "measure: {OUTP: {voltage: at most NaN V}}",
            "22: voltage: 'NaN V' is not a value; write a number and a unit, such as '10 V'",
        ),
        (
            "measure: {OUTP: {voltage: .nan}}",
            "22: voltage: 'nan' has no unit; write it as text with one, such as 'nan V'",
        ),
        (
            "measure: {OUTP: {voltage: 16 V .. 14 V}}",
            "22: voltage: the lower side 16 V is above the upper side 14 V; write the smaller one first",
        ),
        (
            "measure: {OUTP: {voltage: 15}}",
            "22: voltage: '15' has no unit; write it as text with one, such as '15 V'",
        ),
        (
            "measure: {OUTN: {voltage: 15 V ± 1 %}}",
            "22: OUTN is nominally -15 V, but its limit 15 V ± 1 % lies on the other side of zero; "
            "write the limit with the terminal's sign",
        ),
        (
            "measure: {OUTP: {current: at most 1 A}}",
            "22: a current is asked at OUTP, which is no input; no instrument is there to read it; "
            "ask it at one of INP, INN",
        ),
        (
            "measure: {INN: {current: -20 mA .. -16 mA}}",
            "21: the current at INN is what the board draws, positive, but its limit is -20 mA .. -16 mA; "
            "write the limit without its sign",
        ),
        (
            "ramp: {inputs: [INP], to: 29 V, current limit: 1 A}",
            "5: the step feeds INP 29 V, but the board sheet says never above 28 V; "
            "write at most 27.45 V, so that a protection fits between, or mend the sheet",
        ),
        (
            "line sweep: {inputs: 19 V .. 26 V, INP: {line regulation: at most 0.1 %/V}}",
            "40: INP is no output of the board; write one of OUTP, OUTN",
        ),
        (
            "line sweep: {inputs: -26 V .. -19 V, OUTP: {line regulation: at most 0.1 %/V}}",
            "18: inputs: '-26 V .. -19 V' is not a range of input magnitudes; write for example '19 V .. 26 V'",
        ),
        (
            "line sweep: {inputs: 22 V .. 22 V, OUTP: {line regulation: at most 0.1 %/V}}",
            "18: the sweep has no span; write two different voltages, such as '19 V .. 26 V'",
        ),
        (
            "line sweep: {inputs: 19 V .. 26 V, load: 2 A, OUTP: {line regulation: at most 0.1 %/V}}",
            "40: 2 A is above the 1 A of a rating; write at most 1 A",
        ),
        (
            "line sweep: {inputs: 19 V .. 26 V, load: -1 A, OUTP: {line regulation: at most 0.1 %/V}}",
            "40: a load can't be negative; write what the load draws, such as '0.5 A'",
        ),
        ("line sweep: {inputs: 19 V .. 26 V}", "5: the step judges nothing; write an output and its limit"),
        (
            "line sweep: {inputs: 19 V .. 26 V, points: 1, OUTP: {line regulation: at most 0.1 %/V}}",
            "40: points: 1 does not fit; note that input should be greater than or equal to 2",
        ),
        (
            "load sweep: {current limit: 2 A, OUTP: {to: 1.5 A, load regulation: at most 1 %}}",
            "45: 1.5 A is above the 1 A that OUTP is rated for; write at most 1 A",
        ),
        (
            "load sweep: {OUTP: {to: 1 A, load regulation: at most 1 %}}",
            "25: the inputs' limit of 150 mA can't carry 1 A; give the step a higher 'current limit' of its own",
        ),
        (
            "load sweep: {current limit: 2 A, OUTP: {from: 1 A, to: 0.5 A, load regulation: at most 1 %}}",
            "56: the sweep does not rise from zero or more; write 'from: 0 A' and a larger 'to'",
        ),
        (
            "load sweep: {current limit: 2 A, OUTP: {to: 1 A}}",
            "38: the key 'load regulation' is missing; write 'load regulation: ...' here",
        ),
        (
            "trim: {RV101: {OUTN: -15 V ± 1 %}}",
            "12: RV101 sets OUTP, but the step gives OUTN; write 'OUTP: 15 V ± 0.2 %'",
        ),
        (
            "trim: {RV101: {OUTP: 14 V .. 16 V}}",
            "20: the window has no centre to aim at; write it as '15 V ± 0.2 %'",
        ),
        (
            "trim: {RV201: {OUTN: 15 V ± 1 %}}",
            "20: OUTN is nominally -15 V, but its limit 15 V ± 1 % lies on the other side of zero; "
            "write the window with the terminal's sign",
        ),
        (
            "trim: {RV102: {OUTP: 15 V ± 1 %}}",
            "12: 'RV102' is neither a key of 'trim' nor one of the board's trimmers; write 'RV101'",
        ),
        (
            "trim: {coarse: 150 %, RV101: {OUTP: 15 V ± 1 %}}",
            "12: the coarse window is not between 0 % and 100 %; write for example '± 10 %'",
        ),
        (
            "ramp: {inputs: [INP, OUTP], current limit: 1 A}",
            "26: 'OUTP' is no input of the board; write one of INP, INN",
        ),
        (
            "ramp: {inputs: [INP, INP], current limit: 1 A}",
            "26: 'INP' stands here a second time; keep one of them",
        ),
        (
            "ramp: {inputs: [], current limit: 1 A}",
            "12: inputs: [] does not fit; note that list should have at least 1 item after validation, not 0",
        ),
        (
            "ramp: {inputs: INP, current limit: 1 A}",
            "12: inputs: 'INP' does not fit; note that input should be a valid list",
        ),
        (
            "ramp: {inputs: [INP], current limit: 0 A}",
            "27: a current limit of zero lets nothing start; write about twice the idle current",
        ),
        ("ramp: {inputs: [INP]}", "5: the key 'current limit' is missing; write 'current limit: ...' here"),
        (
            "ramp: {inputs: [INP], to: 22, current limit: 1 A}",
            "27: to: 22 does not fit; note that input should be a valid string",
        ),
        (
            "ramp: {inputs: [INP], to: 22 W, current limit: 1 A}",
            "27: '22 W' is in W; write a value in V",
        ),
        (
            "ramp: {inputs: [INP], to: -22 V, current limit: 1 A}",  # it would feed INP against its sign
            "27: '-22 V' raises nothing; write a magnitude above zero, such as '22 V'",
        ),
        (
            "ramp: {inputs: [INP], over: -5 s, current limit: 1 A}",
            "27: over: '-5 s' does not fit; note that input should be greater than or equal to 0",
        ),
        (
            "inspect: {}",
            "5: nothing is asked; write 'ask: ...', or 'points: [...]' with one yes or no each",
        ),
        (
            "inspect: {points: []}",
            "15: the list of points is empty; write at least one, such as 'both LEDs lit'",
        ),
        (
            "inspect: {points: ['LED lit', ' ']}",
            "35: the point is empty; write what is to be seen, such as 'both LEDs lit'",
        ),
        (
            "inspect: {points: ['LED lit', 'LED lit']}",
            "35: 'LED lit' stands here a second time; keep one of them",
        ),
        (
            "inspect: {ask: shiny, points: ['LED lit']}",
            "27: points stand beside a single question; make that question one of the points",
        ),
        (
            "efficiency: {efficiency: at least 60 %}",
            "5: the inputs' limit of 150 mA can't carry 1 A; give the step a higher 'current limit' of its own",
        ),
        (
            "efficiency: {current limit: 2 A}",
            "5: the step judges nothing; write 'efficiency: at least 60 %' or 'dissipation: at most 12 W'",
        ),
        (
            "efficiency: {load: 0 A, efficiency: at least 60 %}",
            "18: without load there is no efficiency; write what each output carries",
        ),
        (
            "efficiency: {load: 2 A, efficiency: at least 60 %}",
            "18: 2 A is above the 1 A of a rating; write at most 1 A",
        ),
        (
            "efficiency: {load: 0.1 A, inputs: 0 V, efficiency: at least 60 %}",
            "31: the inputs are fed nothing; write a magnitude above zero, such as '19 V'",
        ),
        (
            "efficiency: {load: 0.1 A, efficiency: at least 150 %}",
            "31: no board gives as much as it takes; write less than 100 %",
        ),
        (
            "efficiency: {load: 0.1 A, dissipation: at most 12 V}",
            "31: dissipation: '12 V' is in V; write a value in W",
        ),
        ("inspect: {points: LED lit}", "15: points: 'LED lit' does not fit; note that input should be a valid list"),
        ("discharge: {below: 2 mA}", "17: below: '2 mA' is in A; write a value in V"),
    ],
)
def test_what_is_wrong_with_a_step_is_told_with_its_place(step: str, message: str) -> None:
    assert refusal(profile_text(RAMP, step)) == [f"p.yaml:7:{message}"]
