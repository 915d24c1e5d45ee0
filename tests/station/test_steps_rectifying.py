"""The raw supply step: windows worked out on paper, rails judged without a board, and their decay after switch-off."""

from typing import Any

import pytest

from station.asks import Feed, Quantity, Question, Read, Wait
from station.errors import InputError
from station.lines import Outcome
from station.steps.rectifying import RawSupplyStep, asymmetry
from tests.station.boards import step_of
from tests.station.scripts import Answered, Script, answer, reading

# 16 V rms: 21.8 V at rated mains, 19.6 V less half a ripple to 26.6 V without load.
KEYS = "secondary: 16 V, diode drop: 0.8 V, capacitance: 4700 µF, bleeder: 2.2 kΩ"
TEXT = f"raw supply: {{{KEYS}, INP: {{board never above: 27 V}}, INN: {{board never above: 27 V}}}}"
RIPPLE = "ripple rms, meter's bandwidth"
GOOD: dict[str, Any] = {
    "volts": {"INP": [23.4, 12.0, 1.0], "INN": [-23.2, -12.0, -1.0]},
    "ripple": {"INP": 5e-3, "INN": 5e-3},
}


def told(said: tuple[str, ...] = ("yes",), **changed: Any) -> Answered:
    return answer(step_of(TEXT), Script(**{**GOOD, **changed}, said=said))


def outcomes(answered: Answered) -> dict[str, str]:
    return {f"{j.line.terminal} {j.line.name}": j.outcome.value for j in answered.judgements}


def test_a_good_supply_passes_every_line() -> None:
    assert outcomes(told()) == {
        "INP voltage without load": "Passed",
        f"INP {RIPPLE}": "Passed",
        "INN voltage without load": "Passed",
        f"INN {RIPPLE}": "Passed",
        "INN asymmetry": "Passed",
        "INP voltage left": "Passed",
        "INN voltage left": "Passed",
    }


def test_the_windows_are_worked_out_and_have_the_terminals_sign() -> None:
    """16 V x 1.4142 x 0.9 - 0.8 V less 13 mV of ripple; x 1.1 x 1.1 - 0.8 V. Ripple: 26 mV pp, 7.4 mV rms + 1 mV."""
    limits = {f"{line.terminal} {line.name}": str(line.limit) for line in step_of(TEXT).form.lines(step_of(TEXT).setup)}
    assert limits["INP voltage without load"] == "19.55 V .. 26.58 V"
    assert limits["INN voltage without load"] == "-26.58 V .. -19.55 V"
    assert limits[f"INP {RIPPLE}"] == "at most 8.42 mV"
    assert limits["INN asymmetry"] == "-3 % .. 3 %"


@pytest.mark.parametrize(
    ("changed", "line"),
    [
        ({"volts": {"INP": [15.0, 1.0], "INN": [-23.2, -1.0]}}, "INP voltage without load"),  # half a bridge open
        ({"volts": {"INP": [23.4, 1.0], "INN": [-21.0, -1.0]}}, "INN asymmetry"),
        ({"ripple": {"INP": 0.1, "INN": 5e-3}}, f"INP {RIPPLE}"),  # half-wave, or a reservoir gone
        ({"volts": {"INP": [23.4, 20.0], "INN": [-23.2, -1.0]}}, "INP voltage left"),  # no bleeder
    ],
)
def test_each_trouble_fails_its_line(changed: dict[str, Any], line: str) -> None:
    assert outcomes(told(**changed))[line] == "Failed"


def test_a_supply_that_is_not_switched_on_is_not_judged() -> None:
    answered = told(said=("no",))
    assert set(outcomes(answered).values()) == {"Aborted"}
    assert not answered.of(Read)


def test_a_supply_that_is_not_switched_off_is_told_and_not_waited_for() -> None:
    answered = told(said=("yes", "no"))
    found = outcomes(answered)
    assert (found["INP voltage without load"], found["INP voltage left"]) == ("Passed", "Aborted")
    assert answered.judgements[-1].cause == "the raw supply was not switched off"


def test_the_bench_feeds_nothing_and_waits_no_longer_than_the_bleeder_should_take() -> None:
    """2.2 kohm x 4700 uF x ln(26.6 V / 2 V) are 26.7 s, and half as long again is 41 looks."""
    answered = told(volts={"INP": 23.4, "INN": -1.0})
    assert not answered.of(Feed)
    assert sum(ask.seconds for ask in answered.of(Wait) if ask.seconds >= 1.0) == pytest.approx(2.0 + 41.0)
    assert [ask.answers for ask in answered.of(Question)] == [("yes", "no")] * 2


def test_the_caution_names_mains_rails_energy_and_time() -> None:
    """2 x 26.6 V; 2 x 4700 uF x 26.6² / 2 = 3.3 J."""
    step = step_of(TEXT)
    caution = step.form.caution(step.setup)
    for words in ("Mains side: leave it to people licensed", "up to 53 V", "hold 3.3 J", "about 27 s"):
        assert words in caution
    assert "hazardous" not in caution


def test_rails_that_add_up_above_60_volts_are_named() -> None:
    """RAW-11 and RAW-13: 25 V rms are 42.2 V a rail at 0.6 V of drop, 84.4 V from rail to rail."""
    rails = {name: {"board never above": "50 V"} for name in ("INP", "INN")}
    keys = {"secondary": "25 V", "diode drop": "0.6 V", "capacitance": "4700 µF", "bleeder": "2.2 kΩ"}
    form = RawSupplyStep.model_validate({**keys, **rails})
    assert "up to 84 V from rail to rail, above the 60 V d.c." in form.caution(step_of(TEXT).setup)


def test_the_asymmetry_is_a_share_of_the_mean_with_its_doubt() -> None:
    """23.4 V and -23.2 V: 0.2 / 23.3; each has about 1 / 23.3 of its doubt in it."""
    result = asymmetry(reading(23.4, 0.01), reading(-23.2, 0.01))
    assert result.value == pytest.approx(0.2 / 23.3)
    assert result.u == pytest.approx(0.01 * 2.0**0.5 / 23.3, rel=1e-3)
    assert asymmetry(reading(0.0), reading(0.0)).value == 1.0


@pytest.mark.parametrize(
    ("text", "what"),
    [
        (f"raw supply: {{{KEYS}}}", "the step tries no rail"),
        (TEXT.replace("27 V", "25 V"), "at the highest mains, INP reaches 26.58 V; the board must never see 25 V"),
        (TEXT.replace("16 V", "18 V").replace("27 V", "40 V"), "above its sheet's 'never above'"),
        (TEXT.replace("4700 µF", "0 F"), "capacitance"),
        (TEXT.replace("16 V", "0 V"), "secondary"),
    ],
)
def test_what_makes_no_sense_is_refused_before_mains(text: str, what: str) -> None:
    with pytest.raises(InputError, match=what):
        step_of(text)


def test_it_reads_each_quantity_where_it_judges_it() -> None:
    asked = {(ask.terminal, ask.quantity) for ask in told().of(Read)}
    assert asked == {(name, what) for name in ("INP", "INN") for what in (Quantity.VOLTAGE, Quantity.RIPPLE)}
    assert step_of(TEXT).form.stops_run
    assert Outcome.PASSED.settled
