"""The resistance step: both ways round, watched while it settles, and nothing is powered after a short."""

import math
from collections.abc import Sequence

import pytest

from station.asks import Feed, Quantity, Read, Wait
from station.envelope import Envelope
from station.errors import Beyond, InputError, NotHere, Unreadable
from station.lines import Judgement, Outcome
from station.run import NoRecord, run
from tests.station.boards import RAMP, program_of, step_of, twin
from tests.station.scripts import Script, Scripted, answer

PLAIN = "resistance: {test current: 1 mA, OUTP: {at least: 1 kΩ}}"
COLD = {"OUTP": 0.0, "OUTN": 0.0}
MORE = Beyond("beyond the range", 1200.0)
AGAINST = Beyond("beyond the range", -1200.0)
RISING = [100.0, 400.0, 900.0, 1100.0, 1150.0]


def own(ohms: Scripted, text: str = PLAIN) -> Judgement:
    """What OUTP is judged in its own polarity."""
    return answer(step_of(text), Script(volts=COLD, ohms={"OUTP": ohms})).judged("resistance", "OUTP")


def turned(ohms: Scripted, text: str = PLAIN) -> Judgement:
    return answer(step_of(text), Script(volts=COLD, ohms={"OUTP turned": ohms})).judged("resistance, leads turned")


@pytest.mark.parametrize(
    ("ohms", "outcome"),
    [(1500.0, Outcome.PASSED), (999.0, Outcome.FAILED), (0.2, Outcome.FAILED), (-0.001, Outcome.FAILED)],
)
def test_at_least_is_judged_on_what_has_settled(ohms: float, outcome: Outcome) -> None:
    told = own(ohms)
    assert (told.outcome, told.value) == (outcome, ohms)


def test_a_reading_that_rises_is_watched_until_it_has_passed_and_no_longer() -> None:
    script = Script(volts=COLD, ohms={"OUTP": RISING})
    told = answer(step_of(PLAIN), script)
    judgement = told.judged("resistance")
    assert (judgement.outcome, judgement.value, judgement.cause) == (
        Outcome.PASSED,
        1100.0,
        "passed while it still moved",
    )
    reads = [ask for ask in told.of(Read, "OUTP") if ask.quantity is Quantity.RESISTANCE]
    assert len(reads) == 4


def test_a_reading_that_falls_has_not_passed_yet() -> None:
    """1300 and 1200 ohm lie above 1 kohm, but 10 s on at that pace would not."""
    told = own([1300.0, 1200.0, 1120.0, 1060.0, 1000.0, 900.0, 900.0, 900.0])
    assert (told.outcome, told.value) == (Outcome.FAILED, 900.0)


def test_a_diode_is_accepted_once_its_pace_keeps_it_inside() -> None:
    told = turned([300.0, 470.0, 500.0, 501.0, 502.0, 520.0], PLAIN.replace("1 kΩ", "1 kΩ, turned: 450 Ω .. 600 Ω"))
    assert (told.outcome, told.value) == (Outcome.PASSED, 501.0)


def test_a_reading_that_settles_below_fails_as_soon_as_it_has_settled() -> None:
    told = answer(step_of(PLAIN), Script(volts=COLD, ohms={"OUTP": [100.0, 400.0, 540.0, 540.0, 540.0, 2000.0]}))
    assert (told.judged("resistance").outcome, told.judged("resistance").value) == (Outcome.FAILED, 540.0)


def test_beyond_the_range_is_above_the_limit_and_no_number() -> None:
    told = own(MORE)
    assert (told.outcome, told.value) == (Outcome.PASSED, None)
    assert told.cause == "more than 1.2 kΩ, where the range of this test current ends"


def test_beyond_a_range_that_ends_below_the_limit_nothing_is_known() -> None:
    assert own(MORE, PLAIN.replace("1 kΩ", "2 kΩ")).outcome is Outcome.UNDECIDED


def test_a_charge_against_the_test_current_is_waited_for() -> None:
    told = own([AGAINST, AGAINST, -800.0, 200.0, 1100.0])
    assert (told.outcome, told.value) == (Outcome.PASSED, 1100.0)


@pytest.mark.parametrize(
    ("ohms", "cause"),
    [
        ([10.0 * at for at in range(20)], "still moving after 3 s"),
        ([AGAINST], "a charge drove the reading for all 3 s"),
    ],
)
def test_what_never_settles_is_undecided_with_a_reason(ohms: Sequence[float | Exception], cause: str) -> None:
    told = own(ohms, PLAIN.replace("1 mA,", "1 mA, within: 3 s,"))
    assert (told.outcome, told.cause) == (Outcome.UNDECIDED, cause)


@pytest.mark.parametrize(
    ("ohms", "outcome"),
    [
        (540.0, Outcome.PASSED),  # a silicon diode at 1 mA
        (210.0, Outcome.PASSED),  # a Schottky diode
        (150.0, Outcome.FAILED),
        (MORE, Outcome.PASSED),
    ],
)
def test_turned_round_a_diode_or_more_is_enough(ohms: Scripted, outcome: Outcome) -> None:
    assert turned(ohms).outcome is outcome


def test_turned_round_no_more_is_asked_than_in_the_terminals_own_polarity() -> None:
    line = turned(120.0, PLAIN.replace("1 kΩ", "100 Ω"))
    assert (str(line.line.limit), line.outcome) == ("at least 100 Ω", Outcome.PASSED)


@pytest.mark.parametrize(
    ("ohms", "outcome"),
    [
        ([200.0, 500.0, 541.0, 541.0, 541.0], Outcome.PASSED),
        (900.0, Outcome.FAILED),
        (MORE, Outcome.FAILED),  # the diode is missing
        ([500.0, 550.0, 590.0, 640.0, 640.0, 640.0], Outcome.FAILED),  # inside on its way only
    ],
)
def test_a_diode_that_is_asked_for_has_to_be_there(ohms: Scripted, outcome: Outcome) -> None:
    assert turned(ohms, PLAIN.replace("1 kΩ", "1 kΩ, turned: 450 Ω .. 600 Ω")).outcome is outcome


def test_a_negative_terminal_has_its_own_polarity_with_the_plus_at_ground() -> None:
    told = answer(step_of(PLAIN.replace("OUTP", "OUTN")), Script(volts=COLD))
    assert told.judged("resistance").value == 1500.0
    assert told.judged("resistance, leads turned").value == 540.0
    asked = [(ask.terminal, ask.against) for ask in told.of(Read) if ask.quantity is Quantity.RESISTANCE]
    assert asked[0] == ("OUTN", "GND") and asked[-1] == ("GND", "OUTN")


def test_the_leads_are_taken_off_and_their_doubt_is_carried() -> None:
    """0.05 ohm, rectangular, beside 0.1 mohm of noise: 0.0289 ohm."""
    told = own(1000.15, PLAIN.replace("1 mA,", "1 mA, leads: 0.15 Ω ± 0.05 Ω,"))
    assert told.value == pytest.approx(1000.0)
    assert told.u == pytest.approx(math.hypot(0.05 / math.sqrt(3.0), 1e-4))
    assert told.outcome is Outcome.UNDECIDED


def test_a_charged_board_is_waited_for_before_any_test_current_flows() -> None:
    script = Script(volts={"OUTP": [5.0, 2.0, 0.7, 0.5]})
    told = answer(step_of(PLAIN), script)
    kinds = [ask.quantity if isinstance(ask, Read) else "wait" for ask in told.asks]
    volts = Quantity.VOLTAGE
    assert kinds[:8] == [volts, "wait", volts, "wait", volts, "wait", volts, Quantity.RESISTANCE]


def test_a_board_that_stays_charged_is_not_tested_and_nothing_follows() -> None:
    step = step_of(PLAIN.replace("1 mA,", "1 mA, within: 2 s,"))
    told = answer(step, Script(volts={"OUTP": -4.0}))
    assert {judgement.outcome for judgement in told.judgements} == {Outcome.ABORTED}
    assert told.judgements[0].cause == "OUTP is charged to more than 600 mV: find what feeds it, or discharge it"
    assert all(ask.quantity is Quantity.VOLTAGE for ask in told.of(Read))
    assert sum(ask.seconds for ask in told.of(Wait)) == pytest.approx(2.0)
    assert step.form.stops_run


def test_a_bench_that_can_not_turn_its_leads_starts_no_such_line() -> None:
    told = turned(NotHere("no scanner channel reads ohms at OUTP with its leads turned round"))
    assert (told.outcome, told.counts) == (Outcome.NOT_STARTED, False)
    assert "no scanner channel" in told.cause


def test_what_can_not_be_read_is_the_sequencers() -> None:
    with pytest.raises(Unreadable, match="no answer"):
        own(Unreadable("no answer"))


def test_the_step_feeds_nothing_and_warns() -> None:
    step = step_of(PLAIN)
    assert step.form.highest_volts(step.setup) == {}
    assert "unpowered and discharged" in step.form.caution(step.setup)


@pytest.mark.parametrize(
    ("text", "what"),
    [
        ("resistance: {test current: 1 mA}", "the step reads nothing"),
        ("resistance: {OUTP: {at least: 0 Ω}}", "zero ohms are a short"),
        ("resistance: {OUTP: {at least: 1 V}}", "write a value in Ω"),
        ("resistance: {test current: 0 A, OUTP: {at least: 1 kΩ}}", "test current"),
        (
            "resistance: {leads: at most 1 Ω, OUTP: {at least: 1 kΩ}}",
            "is no lead resistance; write for example",
        ),
        ("resistance: {OUTP: {turned: 500 Ω}}", "the key 'at least' is missing"),
    ],
)
def test_what_makes_no_sense_is_refused_before_power(text: str, what: str) -> None:
    with pytest.raises(InputError, match=what):
        step_of(text)


@pytest.mark.parametrize(
    ("script", "outcome", "cause"),
    [
        (Script(volts=COLD, ohms={"OUTP": 0.2}), Outcome.FAILED, "'resistance' failed"),
        (Script(volts={"OUTP": 5.0}), Outcome.ABORTED, "'resistance' was aborted"),
    ],
)
def test_a_short_or_a_charge_stops_the_run_before_power(script: Script, outcome: Outcome, cause: str) -> None:
    ended = run(program_of(PLAIN, RAMP), script, NoRecord(), envelope=Envelope(twin()))
    assert ended.outcome is outcome
    later = [judgement for judgement in ended.judgements if judgement.line.step == "ramp"]
    assert {(each.outcome, each.cause) for each in later} == {(Outcome.NOT_STARTED, cause)}
    assert not any(isinstance(ask, Feed) for ask in script.asks)


def test_ohms_behind_the_ramp_are_refused() -> None:
    script = Script(volts=COLD)
    ended = run(program_of(RAMP, PLAIN), script, NoRecord(), envelope=Envelope(twin()))
    assert str(ended.trouble).startswith("ohms were to be read at OUTP while INP is fed 22 V")
    assert not any(isinstance(ask, Read) and ask.quantity is Quantity.RESISTANCE for ask in script.asks)
