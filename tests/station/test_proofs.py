import html
import json
import re
from typing import Any

import pytest
from rich.console import Group

from station.coverage import Course
from station.proof import Advice, FaultFound, Healthy, Proof
from station.proportions import Estimate
from station.report.proof_document import proof_document
from station.report.proof_page import proof_html
from station.report.proof_pictures import class_bars, coverage_picture, fates
from station.report.proof_view import proof_view
from station.report.proof_words import share_text
from station.report.wording import seconds_text
from tests.render import shown, terminal
from tests.station.proofs import escape, found, made_up

TWENTY = [escape(f"R{number}:open", weight=number / 210) for number in range(1, 21)]
UNSOLVED = [found(f"Q{number}.c-b:short", unsolved=number) for number in range(1, 40)]
LONG = Advice("read the voltage at TP3 with no load, which would catch the most, " * 4, 0.031)
NO_HEALTHY = Healthy(0, 0, 0, 0, Estimate(0.0, 0.0, 1.0))


def screen(proof: Proof, width: int = 80, height: int = 24) -> list[str]:
    return shown(terminal(width, height), Group(*proof_view(proof)))


def text(proof: Proof) -> str:
    """Return the page as a reader sees it: its text, blanks joined."""
    plain = re.sub(r"<(style|svg).*?</\1>", "", proof_html(proof), flags=re.S)
    return " ".join(html.unescape(re.sub(r"</?\w[^<>]*>", " ", plain)).split())


def test_the_worst_case_fits_a_terminal_of_80_by_24_with_its_prompt() -> None:
    lines = screen(made_up(*TWENTY, *UNSOLVED, stopped=True, advice=(LONG, LONG)))
    assert len(lines) == 23
    assert max(map(len, lines)) <= 80


def test_a_terminal_of_140_by_40_is_used_and_not_overrun() -> None:
    proof = made_up(*TWENTY, *UNSOLVED, stopped=True, advice=(LONG,) * 6)
    lines = screen(proof, 140, 40)
    assert 23 < len(lines) < 40 and max(map(len, lines)) <= 140
    assert "ripple at OUTP above its rating" in "\n".join(lines)
    assert "ripple at OUTP" not in "\n".join(screen(proof))


def test_the_ten_worst_escapes_are_told_with_share_boards_and_reason_worst_first() -> None:
    rows = [line for line in screen(made_up(*TWENTY)) if re.match(r"R\d+:open", line)]
    assert [row.split(":")[0] for row in rows] == [f"R{number}" for number in range(20, 10, -1)]
    assert re.match(r"R20:open +9\.52 % +100 of 100 +within limits: OUTP", rows[0])


def test_an_escape_in_part_is_worse_than_a_rarer_one_in_whole() -> None:
    lines = screen(made_up(escape("R1:open", weight=0.01), escape("R2:open", weight=0.1, passed=20)))
    assert [line[:7] for line in lines if re.match(r"R\d", line)] == ["R2:open", "R1:open"]


def test_both_coverages_stand_side_by_side_with_their_intervals() -> None:
    lines = screen(made_up(*TWENTY, found("D1:open", caught=100, visible=False)))
    assert "SIMULATED twin/full revision A  coverage 86.1 %; 20 of 21 faults escape" in lines[0]
    assert re.search(r"whole universe: 21 faults +terminals show: 20 faults", lines[1])
    assert re.search(r"coverage +86\.1 % \(84\.9 \.\. 87\.2 %\) +93\.0 % \(92\.0 \.\. 94\.1 %\)", lines[2])


def test_false_fails_are_told_with_their_line_and_undecided_apart() -> None:
    told = "\n".join(screen(made_up(*TWENTY)))
    assert "2 of 5000 failed: 0.04 % (0.01 .. 0.14 %); 3 Undecided" in told
    assert "load sweep: OUTP load regulation (2)" in told


@pytest.mark.parametrize("shown_by", [text, lambda proof: "\n".join(screen(proof))], ids=["page", "screen"])
def test_a_proof_that_was_ended_early_says_so_and_of_how_many_boards_it_is(shown_by: Any) -> None:
    early = "ENDED EARLY: all figures are of the 312 boards done by then"
    assert early in shown_by(made_up(*TWENTY, stopped=True, boards=312))
    assert early not in shown_by(made_up(*TWENTY, boards=312))


@pytest.mark.parametrize("shown_by", [text, lambda proof: "\n".join(screen(proof))], ids=["page", "screen"])
def test_boards_without_a_solution_are_told_by_the_name_of_their_fault(shown_by: Any) -> None:
    healthy = Healthy(10, 0, 0, 1, Estimate(0.0, 0.0, 0.3))
    proof = made_up(found("R1:short", unsolved=4), found("D9:open", unsolved=30), healthy=healthy)
    assert re.search(r"35 boards: +D9:open \(30\), R1:short \(4\), no fault \(1\)", shown_by(proof))


@pytest.mark.parametrize("shown_by", [text, lambda proof: "\n".join(screen(proof))], ids=["page", "screen"])
def test_a_proof_with_nothing_to_complain_of_is_told_in_words(shown_by: Any) -> None:
    told = shown_by(made_up(found("R1:open", caught=100), advice=(), coverage=Estimate(1.0, 0.96, 1.0)))
    assert "100 % (96.0 .. 100 %)" in told and "none of 1 fault escapes" in told


def test_no_healthy_boards_leave_false_fails_unknown_rather_than_none() -> None:
    told = "\n".join(screen(made_up(*TWENTY, healthy=NO_HEALTHY)))
    assert "none simulated, so nothing is known of false fails" in told


def test_square_brackets_in_a_fault_are_text_on_the_terminal() -> None:
    assert any(line.startswith("[red]R1:open") for line in screen(made_up(escape("[red]R1:open"))))


def test_the_document_keeps_its_contract() -> None:
    document = json.loads(json.dumps(proof_document(made_up(*TWENTY, *UNSOLVED[:2])), allow_nan=False))
    assert document["coverage"] == {"value": 0.861, "low": 0.849, "high": 0.872}
    assert document["coverage_of_visible"]["value"] == 0.93
    counts = {key: document[key] for key in ("healthy", "false_fails", "undecided", "unsolved")}
    assert counts == {"healthy": 5000, "false_fails": 2, "undecided": 3, "unsolved": 3}
    assert document["profile"] == "twin/full" and document["seconds"] == 183.0 and document["stopped"] is False
    worst = {key: document["escapes"][0][key] for key in ("fault", "weight", "passed", "reason")}
    assert worst == {"fault": "R20:open", "weight": 20 / 210, "passed": 100, "reason": TWENTY[-1].reason}


def test_the_document_tells_each_fault_and_each_step() -> None:
    document = proof_document(made_up(found("R1:open", caught=60, passed=40, visible=False)))
    (fault,) = document["faults"]
    assert fault["class"] == "open or missing joint" and fault["visible"] is False
    assert fault["first_failed"] == [{"step": "no load", "boards": 60}]
    assert document["fastest"][0] == {"step": "no load", "bench_seconds": 2.5, "coverage": 0.70}


def test_the_page_tells_figures_escapes_harm_and_advice() -> None:
    told = text(made_up(*TWENTY))
    assert "SIMULATED boards only: no board was built or measured for this page." in told
    assert "86.1 % (84.9 .. 87.2 %) of the whole universe; 20 of 20 faults escape" in told
    assert f"R20:open 9.52 % 100 of 100 {TWENTY[-1].reason} ripple at OUTP above its rating" in told
    assert "+3.1 %: read the voltage at TP3 with no load TP3: {voltage: 5.1 V .. 5.9 V}" in told


def test_shares_of_chosen_faults_are_not_told_as_those_of_the_whole_universe() -> None:
    chosen = made_up(*TWENTY, universe=455)
    assert "of 20 of the universe's 455 faults; 20 of 20 faults escape" in text(chosen)
    assert "whole universe" not in text(chosen)


def test_the_page_tells_what_each_step_adds_and_costs_in_either_order() -> None:
    assert "2 no load 2.5 s 38.0 % 78.0 % 1 70.0 %" in text(made_up(*TWENTY))


def test_the_page_tells_what_the_proof_can_not_see() -> None:
    told = text(made_up(*TWENTY))
    assert "what these steps would catch by their waiting: soak." in told
    assert "insulator missing: 2.00 %" in told
    assert "Lines that no fault ever failed load sweep: OUTN load regulation" in told


def test_every_fault_is_on_the_page_caught_or_not() -> None:
    partly = found("R1:open", caught=60, passed=40)
    lost = found("R2:open", unsolved=100, visible=False)
    told = text(made_up(partly, lost))
    assert "R1:open 10.00 % 60.0 % 40 of 100 – – no load (60) yes" in told
    assert "R2:open 10.00 % – – – 100 – no" in told


def test_pictures_have_a_text_alternative_with_the_figures() -> None:
    page = proof_html(made_up(*TWENTY))
    assert page.count('<svg viewBox="0 0 460') == page.count('role="img"') == page.count("<desc id=") == 2
    assert "As written: 40.0 % after ramp (6 s), 78.0 % after no load (8.5 s), 86.1 % after load sweep (40 s)." in page
    assert "Share of the universe: open or missing joint 100 %, caught 0 %." in page


def test_the_page_asks_for_nothing_from_elsewhere_and_runs_nothing() -> None:
    page = proof_html(made_up(*TWENTY))
    assert not re.search(r"https?:|//|<script|<link|<img|@import|src=", page)


def test_what_others_wrote_is_text_on_the_page_and_never_markup() -> None:
    evil = found("R1<b>:open", passed=9, reason="<script>1</script>", harm=("a & b",))
    page = proof_html(made_up(evil, profile="<i>", title='"x"', idle_lines=("<u>",), waiting_steps=("<s>",)))
    assert not re.search(r"<script|R1<b>|<i>|<u>|<s>", page)
    assert "R1<b>:open" in text(made_up(evil)) and "a & b" in text(made_up(evil))


def test_a_proof_ended_before_its_first_fault_still_has_its_page() -> None:
    none = Course((), (), ())
    proof = made_up(stopped=True, boards=0, healthy=NO_HEALTHY, as_written=none, fastest=none)
    assert "<svg" not in proof_html(proof)
    assert "no escapes" in "\n".join(screen(proof))


@pytest.mark.parametrize(
    ("fault", "expected"),
    [
        (
            FaultFound("R1:open", "", 0.1, 50, 30, 20, 900, (), visible=True),
            {"caught": 5, "Undecided": 2, "escapes": 3},
        ),
        (found("R1:open", passed=3, visible=False), {"escapes: no terminal shows it": 10}),
        (found("R1:open", unsolved=3), {"no solution": 10}),  # only where not one board had a solution
        (found("R1:open"), {"not simulated": 10}),
    ],
)
def test_what_became_of_a_fault_shares_out_its_whole_weight(fault: FaultFound, expected: dict[str, float]) -> None:
    told = {fate: round(weight * 100, 9) for fate, weight in fates(fault).items() if weight}
    assert told == expected


def test_bars_are_as_long_as_their_class_is_heavy_and_without_gaps() -> None:
    heavy, light = found("R1:open", weight=0.2, caught=50, passed=50), found("D1:short", weight=0.05, caught=1)
    bars = class_bars(made_up(light, heavy))
    assert bars is not None
    first, second = ([(part.x, part.width) for part in bar.parts] for bar in bars.bars)
    assert first == [(4.0, 224.0), (228.0, 224.0)] and second == [(4.0, 112.0)]


def test_a_curve_rises_where_its_step_ends() -> None:
    picture = coverage_picture(made_up(*TWENTY))
    assert picture is not None
    assert picture.written.path == "M44.0 214.0 H103.4 V134.0 H128.2 V58.0 H440.0 V41.8"


def test_the_ceiling_is_drawn_only_where_a_fault_shows_nowhere() -> None:
    hidden = made_up(found("R1:open", caught=1), found("R2:open", passed=1, visible=False))
    seen = made_up(found("R1:open", caught=1))
    assert "all that terminals show: 50.0 %" in proof_html(hidden)
    assert "all that terminals show" not in proof_html(seen)


@pytest.mark.parametrize(
    ("fraction", "expected"),
    [
        (0.0, "0 %"),
        (1.0, "100 %"),
        (0.8612, "86.1 %"),
        (0.99999, "> 99.9 %"),
        (0.00001, "< 0.1 %"),
        (1.0 - 1e-15, "100 %"),
        (-1e-16, "0 %"),
    ],
)
def test_a_share_is_rounded_but_never_to_none_or_all(fraction: float, expected: str) -> None:
    assert share_text(fraction) == expected


@pytest.mark.parametrize(
    ("seconds", "expected"),
    [(2.54, "2.5 s"), (89.6, "90 s"), (183.2, "3 min 3 s"), (120, "2 min"), (7500, "2 h 5 min")],
)
def test_times_are_told_in_seconds_minutes_and_hours(seconds: float, expected: str) -> None:
    assert seconds_text(seconds) == expected
