import io

import pytest
from rich.console import Console

from station.asks import Judged, Quantity, Read, StepStarted, Toward, Turn, Turned, Warned
from station.lines import Judgement, Line, Outcome
from station.quantities import Limit
from station.report.head import Head
from station.report.live import View
from station.report.screen import _Plain
from tests.render import shown, terminal
from tests.station.scripts import reading

LIMIT = Limit.parse("15 V ± 1 %", "V")
LINES = tuple(Line("no load", f"voltage {number}", "OUTP", LIMIT) for number in range(40))
HEAD = Head("SN1", "twin/test", "A", simulated=True, lines=LINES, steps=3, expected_seconds=60.0)


def judged(number: int, outcome: Outcome = Outcome.PASSED) -> Judged:
    return Judged(Judgement(LINES[number], outcome, 15.0, 0.001))


def viewed(*events: Judged | Warned, ended: bool = False) -> View:
    """Return the view in the middle of its second step, or at its end."""
    view = View(HEAD, lambda: 20.0)
    view.told(StepStarted(1, "no load", "Hot heatsinks."), None)
    for event in events:
        view.told(event, None)
    view.told(Read("OUTP", Quantity.VOLTAGE), reading(15.0))
    if ended:
        view.end()
    return view


def test_a_view_shows_what_is_tested_where_it_is_and_how_long_it_takes() -> None:
    lines = shown(terminal(), viewed(judged(1)))

    assert lines[:6] == [
        "SIMULATED  SN1  twin/test revision A",
        "step 2 of 3: no load",
        "Caution: Hot heatsinks.",
        "OUTP voltage 15 V",
        "  ·····├──────────────●──────────────┤·····  15 V ± 1 %",
        "Passed     ··├────●────┤··  no load: OUTP voltage 1   15.0000 V ± 2.0 mV",
    ]
    assert lines[5] == "Passed     ··├────●────┤··  no load: OUTP voltage 1   15.0000 V ± 2.0 mV"
    assert lines[-1].endswith("1 of 40 lines, about 40 s left")


def test_a_wide_view_has_room_for_the_limit_beside_each_line() -> None:
    lines = shown(terminal(140, 40), viewed(judged(1)))

    assert lines[5] == "Passed     ··├────●────┤··  no load: OUTP voltage 1   15.0000 V ± 2.0 mV   (15 V ± 1 %)"


def test_the_lines_to_come_are_told_with_how_many_follow() -> None:
    lines = shown(terminal(), viewed(judged(0)))

    assert lines[-5] == "to come    no load: OUTP voltage 1   (15 V ± 1 %)"
    assert lines[-2] == "to come    and 36 more lines of this step"


@pytest.mark.parametrize(("width", "height"), [(80, 24), (40, 12), (140, 40)])
def test_a_view_never_outgrows_its_terminal(width: int, height: int) -> None:
    lines = shown(terminal(width, height), viewed(*map(judged, range(40)), Warned("RV101: stuck")))

    assert len(lines) <= height
    assert "voltage 39" in "".join(lines) and lines[-1].strip()


def test_at_its_end_a_view_shows_every_line_and_nothing_that_is_over() -> None:
    text = "\n".join(shown(terminal(), viewed(*map(judged, range(40)), ended=True)))

    assert all(f"voltage {number}  " in text for number in range(40))
    assert "Caution" not in text and "left" not in text and "step 2" not in text


def test_lines_not_started_are_counted_so_that_what_failed_stays_in_view() -> None:
    events = [judged(0, Outcome.FAILED), *(judged(number, Outcome.NOT_STARTED) for number in range(1, 40))]
    lines = shown(terminal(), viewed(*events))

    assert any(line.startswith("Failed     ··├────●────┤··  no load: OUTP voltage 0") for line in lines)
    assert "NotStarted: 39 lines" in lines


def test_without_a_terminal_each_fact_is_a_line() -> None:
    written = io.StringIO()
    plain = _Plain(Console(file=written, width=80), HEAD)

    for event in (StepStarted(1, "no load", "Hot heatsinks."), judged(1, Outcome.FAILED), Warned("RV101: stuck")):
        plain.told(event, None)

    assert written.getvalue().splitlines() == [
        "SIMULATED  SN1  twin/test revision A: 40 lines, about 60 s of bench time",
        "step 2/3: no load",
        "  Caution: Hot heatsinks.",
        "  Failed     no load: OUTP voltage 1   15.0000 V ± 2.0 mV   (15 V ± 1 %)",
        "  Warning: RV101: stuck",
    ]


def trimming(volts: float, *, overshot: bool = False, width: int = 80, height: int = 24) -> list[str]:
    """Return the view while a trimmer is turned."""
    window = Limit.parse("15 V ± 0.2 %", "V")
    lines = (Line("trim", "before trim", "OUTP", LIMIT), Line("trim", "trimmed", "OUTP", window))
    view = View(Head("SN1", "twin/test", "A", True, lines, steps=3, expected_seconds=60.0), lambda: 20.0)
    view.told(StepStarted(1, "trim", "The board is live."), None)
    view.told(Judged(Judgement(lines[0], Outcome.PASSED, 14.7, 0.001)), None)
    view.told(Turn("RV101", Toward.CLOCKWISE, 0.173, "OUTP", 1.5, overshot), Turned.DONE)
    view.told(Read("OUTP", Quantity.VOLTAGE), reading(volts))
    return [line.rstrip() for line in shown(terminal(width, height), view)]


@pytest.mark.parametrize(("width", "height"), [(80, 24), (140, 40)])
def test_a_trim_shows_a_number_to_be_read_across_the_bench_its_place_and_the_way_to_turn(
    width: int, height: int
) -> None:
    assert trimming(14.827, width=width, height=height)[3:8] == [
        "          ╻ ╻ ╻   ┏━┓ ╺━┓ ╺━┓ ┏━┓",
        "  OUTP    ┃ ┗━┫   ┣━┫ ┏━┛   ┃ ┃ ┃",
        "          ╹   ╹ ▪ ┗━┛ ┗━╸   ╹ ┗━┛  V",
        "  14.97 V ·●···············├─────┤················· 15.03 V",
        "  Turn RV101 clockwise ↻: 173 mV to go, about 1.5 turns",
    ]


def test_a_rail_in_its_middle_is_to_be_left_alone() -> None:
    assert any("In the middle: hands off for a moment" in line for line in trimming(15.005))
    assert not any("In the middle" in line for line in trimming(15.02))


def test_a_rail_that_has_passed_says_so() -> None:
    assert any("Too far: back past the middle" in line for line in trimming(15.02, overshot=True))


def test_a_soak_shows_how_each_rail_has_moved_against_what_it_may() -> None:
    line = Line("soak", "drift", "OUTP", Limit.parse("at most 15 mV", "V"))
    view = View(Head("SN1", "twin/test", "A", True, (line,), steps=1, expected_seconds=7500.0), lambda: 0.0)
    view.told(StepStarted(0, "soak"), None)
    for volts in (15.0, 15.002, 15.005):
        view.told(Read("OUTP", Quantity.VOLTAGE), reading(volts))

    lines = [each.rstrip() for each in shown(terminal(), view)]

    assert lines[2] == "  OUTP  15.005 V   ▁▄█              5 mV     ────●───────┤·· at most 15 mV"
    assert lines[-1].endswith("0 of 1 lines, about 2 h 5 min left")
