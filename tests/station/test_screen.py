import io

import pytest
from rich.console import Console

from station.asks import Judged, Quantity, Read, StepStarted, Warned
from station.lines import Judgement, Line, Outcome
from station.quantities import Limit
from station.report.screen import Head, _Plain, _View
from tests.render import shown, terminal
from tests.station.scripts import reading

HEAD = Head("SN1", "twin/test", "A", simulated=True, lines=40, steps=3, expected_seconds=60.0)
LIMIT = Limit.parse("15 V ± 1 %", "V")


def judged(number: int, outcome: Outcome = Outcome.PASSED) -> Judged:
    return Judged(Judgement(Line("no load", f"voltage {number}", "OUTP", LIMIT), outcome, 15.0, 0.001))


def viewed(*events: Judged | Warned, ended: bool = False) -> _View:
    """Return the view in the middle of its second step, or at its end."""
    view = _View(HEAD, lambda: 20.0)
    view.told(StepStarted(1, "no load", "Hot heatsinks."), None)
    for event in events:
        view.told(event, None)
    view.told(Read("OUTP", Quantity.VOLTAGE), reading(15.0))
    if ended:
        view.end()
    return view


def test_a_view_shows_what_is_tested_where_it_is_and_how_long_it_takes() -> None:
    lines = shown(terminal(), viewed(judged(1)))

    assert lines[:4] == [
        "SIMULATED  SN1  twin/test revision A",
        "step 2 of 3: no load",
        "Caution: Hot heatsinks.",
        "OUTP voltage 15 V",
    ]
    assert lines[4].startswith("Passed     no load: OUTP voltage 1   15.0000 V ± 2.0 mV")
    assert lines[-1].endswith("1 of 40 lines, about 40 s left")


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

    assert any(line.startswith("Failed     no load: OUTP voltage 0") for line in lines)
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
