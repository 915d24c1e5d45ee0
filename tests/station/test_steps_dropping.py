"""The dropout step: what the input must have above the output, and what is refused."""

from dataclasses import dataclass, field

import pytest

from station.asks import Draw, Fed, Feed, Read
from station.errors import InputError
from station.lines import Outcome
from tests.station.boards import step_of
from tests.station.scripts import Script, answer

dropout = step_of("dropout: {load: 0.5 A, current limit: 1 A, OUTP: {dropout: at most 3 V}}")


@dataclass
class Regulator(Script):
    """An output at 15 V while its input is `needs` volts above it, and that much below its input otherwise."""

    needs: float = 2.0
    inputs: dict[str, float] = field(default_factory=dict)

    def __post_init__(self) -> None:
        self.volts = {"INP": lambda: self.inputs["INP"], "OUTP": lambda: min(15.0, self.inputs["INP"] - self.needs)}

    def feed(self, ask: Feed) -> Fed:
        self.inputs[ask.terminal] = ask.volts
        return super().feed(ask)


@pytest.mark.parametrize(("needs", "outcome"), [(2.0, Outcome.PASSED), (2.9, Outcome.PASSED), (3.4, Outcome.FAILED)])
def test_the_dropout_is_what_the_input_has_above_the_output_where_that_has_fallen(
    needs: float, outcome: Outcome
) -> None:
    told = answer(dropout, Regulator(needs=needs)).judged("dropout")
    # between the last step that holds 15 V and the first below it the line may leave the knee by half a step at most
    assert told.value == pytest.approx(needs, abs=0.13)
    assert told.outcome is outcome


def test_the_search_ends_where_the_output_has_fallen_by_two_percent() -> None:
    """15 V less 2 % are 14.7 V: held by 16.75 V in, not by 16.5 V."""
    fed = [ask.volts for ask in answer(dropout, Regulator(needs=2.0)).of(Feed) if ask.terminal == "INP"]
    assert min(fed) == pytest.approx(16.5)


def test_the_load_is_off_and_the_input_nominal_again_afterwards() -> None:
    script = Regulator()
    asks = answer(dropout, script).asks
    assert [ask.amps for ask in asks if isinstance(ask, Draw)] == [0.5, 0.0]
    assert script.inputs == {"INP": 22.0, "INN": -22.0}


def test_an_output_that_never_falls_ends_the_search() -> None:
    told = answer(dropout, Script())
    assert len(told.of(Feed)) < 150
    assert told.judged("dropout").value == pytest.approx(7.0 - 14.995)  # 60 steps of 0.25 V below 22 V


def test_an_input_that_stays_at_the_same_digits_is_not_settled() -> None:
    told = answer(dropout, Script(volts={"INP": 21.75}))
    assert told.judged("dropout").outcome is Outcome.FAILED
    assert told.judged("dropout").cause == "INP not settled within 2 s: still exactly 21.75 V, as before the change"
    assert min(ask.volts for ask in told.of(Feed, "INP")) == 21.5  # the search does not go on blindly


def test_doubt_about_a_dropout_is_met_with_longer_looks_at_the_two_steps_around_it() -> None:
    """At 2.9 V under a limit of 3 V: looks with u = 0.1 V decide nothing, longer ones do."""
    doubts = {0.02: 0.1, 1.0: 0.01, 10.0: 0.001}
    told = answer(dropout, Regulator(needs=2.9, u=doubts.__getitem__))
    fed = [ask.volts for ask in told.of(Feed, "INP")]
    assert fed[-3:] == [17.75, 17.5, 22.0]
    assert {ask.effort for ask in told.of(Read, "OUTP")} == {0.02, 1.0}
    assert told.judged("dropout").outcome is Outcome.PASSED


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("load: 0.5 A, OUTP: {dropout: at least 1 V}", "is no most; write for example 'at most 3 V'"),
        ("load: 2 A, OUTP: {dropout: at most 3 V}", "2 A is above the 1 A of a rating"),
        ("load: 0.5 A", "the step judges nothing"),
        ("OUTP: {dropout: at most 3 V}", "load"),
    ],
)
def test_what_makes_no_sense_is_refused_before_power(text: str, what: str) -> None:
    with pytest.raises(InputError, match=what):
        step_of(f"dropout: {{current limit: 4 A, {text}}}")
