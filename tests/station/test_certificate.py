import html
import re

from station.asks import Judged, SafeState
from station.judge import Rule
from station.lines import Judgement, Line, Outcome
from station.quantities import Limit
from station.record import begin
from station.report.certificate import certificate_html
from station.store import Store
from station.uncertainty import Result
from tests.station.boards import RAMP, profile_of

LINE = Line("no load", "voltage", "OUTP", Limit.parse("15 V ± 1 %", "V"))
GOOD = Rule(guard_factor=1.0).judge(LINE, Result(15.01, 0.01, 1.0))


def page(
    store: Store,
    *judgements: Judgement,
    outcome: Outcome = Outcome.PASSED,
    simulated: bool = False,
    safe: SafeState = SafeState(verified=True),  # noqa: B008  frozen
) -> str:
    """Return the page of a stored run as a reader sees it: its text, blanks joined."""
    facts = {"seed": 7, "faults": ["R1:open"], "instruments": {"meter": "ACME & SONS <meter>"}}
    record = begin(store, profile_of(RAMP), "SN1", simulated=simulated, bench=facts, software="railbench 0")
    for judgement in judgements:
        record.noted(Judged(judgement))
    record.ended(outcome, "", safe)
    stored = store.found("SN1")
    assert stored is not None
    text = re.sub(r"<style>.*</style>", "", certificate_html(stored, title="Twin", rule="guarded"), flags=re.S)
    return " ".join(html.unescape(re.sub(r"</?\w[^<>]*>", " ", text)).split())


def test_a_line_is_shown_with_reading_limit_guard_band_and_outcome(store: Store) -> None:
    assert "no load OUTP voltage 15.010 V ± 20 mV 15 V ± 1 % 20 mV > 99.99 % Passed" in page(store, GOOD)


def test_a_page_of_a_board_that_did_not_pass_is_no_certificate(store: Store) -> None:
    failed = Judgement(LINE, Outcome.FAILED, cause="the current limit of 1 A was reached at 2 V")
    text = page(store, failed, outcome=Outcome.FAILED)
    assert "Test report SN1 Failed : 0 of 1 lines passed" in text and "certificate" not in text
    assert "Failed : the current limit of 1 A was reached at 2 V" in text


def test_a_page_without_a_name_says_that(store: Store) -> None:
    assert "Operator not named Decision rule" in page(store, GOOD)
    assert "simulated hands answered" in page(store, GOOD, simulated=True)


def test_a_simulated_run_certifies_nothing_and_says_how_it_was_made(store: Store) -> None:
    text = page(store, GOOD, simulated=True)
    assert "SIMULATED: no board was measured; this page certifies nothing." in text
    assert "Simulated board seed 7, faults: R1:open" in text


def test_a_measured_board_is_not_called_simulated(store: Store) -> None:
    assert "imulated" not in page(store, GOOD).replace("SN1", "")


def test_a_bench_that_was_not_verified_safe_is_told(store: Store) -> None:
    text = page(store, GOOD, safe=SafeState(verified=False, problems=("OUTP still holds 9 V",)))
    assert "bench NOT verified safe: OUTP still holds 9 V" in text


def test_a_protection_that_had_tripped_is_told(store: Store) -> None:
    text = page(store, GOOD, safe=SafeState(verified=True, tripped=("INP: over-current",)))
    assert "bench verified safe; protections that had tripped: INP: over-current" in text


def test_what_others_wrote_is_text_and_never_markup(store: Store) -> None:
    assert "meter: ACME & SONS <meter>" in page(store, GOOD)
