import pytest

from station.lines import Judgement, Line, Outcome, not_here
from station.quantities import Limit
from station.report.wording import conformity_text, first_bad, reading_text, row_of, sentence

LINE = Line("no load", "voltage", "OUTP", Limit.parse("15 V ± 1 %", "V"))
ASKED = Line("inspect", "Joints shiny?", "", None)


def judged(outcome: Outcome, cause: str = "", line: Line = LINE) -> Judgement:
    return Judgement(line, outcome, 15.2, 0.00123, cause=cause)


@pytest.mark.parametrize(
    ("value", "u", "unit", "text"),
    [
        (15.00123456, 0.00076, "V", "15.0012 V ± 1.5 mV"),  # U = 2 u, in two digits; the value ends where U does
        (-15.2, 0.001, "V", "-15.2000 V ± 2.0 mV"),
        (0.0185, 0.0003, "A", "18.50 mA ± 600 µA"),
        (0.0, 0.001, "V", "0.0000 V ± 2.0 mV"),
        (1.8e-5, 1.4e-6, "1/V", "0.00180 %/V ± 0.00028 %/V"),
        (12.0, 6.0, "V", "12 V ± 12 V"),
        (1.0, 0.0, "1", "100 %"),  # a dead rail's regulation is known without doubt
        (15.0, None, "V", "15 V"),
        (None, None, "V", "–"),
    ],
)
def test_a_reading_is_shown_with_its_expanded_uncertainty(
    value: float | None, u: float | None, unit: str, text: str
) -> None:
    assert reading_text(value, u, unit) == text


@pytest.mark.parametrize(
    ("conformity", "text"),
    [
        (None, "–"),
        (1.0, "> 99.99 %"),
        (0.99991, "> 99.99 %"),
        (0.98758, "98.76 %"),
        (0.5, "50 %"),
        (0.0, "< 0.01 %"),
    ],
)
def test_a_probability_is_never_a_certainty(conformity: float | None, text: str) -> None:
    assert conformity_text(conformity) == text


def test_a_line_that_a_person_answered_shows_the_answer() -> None:
    row = row_of(judged(Outcome.FAILED, "answered no", ASKED))
    assert (row.title, row.reading, row.limit, row.cause) == (
        "inspect: Joints shiny?",
        "answered no",
        "answer yes",
        "",
    )


@pytest.mark.parametrize(
    ("outcomes", "first"),
    [
        ([Outcome.PASSED, Outcome.UNDECIDED, Outcome.FAILED, Outcome.NOT_STARTED], 2),
        ([Outcome.PASSED, Outcome.ABORTED, Outcome.NOT_STARTED], 1),
        ([Outcome.PASSED], None),
    ],
)
def test_what_failed_is_told_before_what_is_otherwise_not_passed(outcomes: list[Outcome], first: int | None) -> None:
    judgements = [judged(outcome) for outcome in outcomes]
    assert first_bad(judgements) is (None if first is None else judgements[first])


def test_a_line_that_this_bench_can_not_start_is_named_and_is_no_bad_one() -> None:
    missing = not_here(LINE, "nothing ripples in front")
    judgements = judged(Outcome.PASSED), missing
    assert first_bad(judgements) is None
    words = "Passed: 1 of 2 lines; not started: no load: OUTP voltage: nothing ripples in front"
    assert sentence(Outcome.PASSED, judgements) == words


@pytest.mark.parametrize(
    ("outcome", "judgement", "cause", "words"),
    [
        (Outcome.PASSED, judged(Outcome.PASSED), "", "Passed: all 1 lines"),
        (
            Outcome.FAILED,
            judged(Outcome.FAILED),
            "",
            "Failed: no load: OUTP voltage: 15.2000 V ± 2.5 mV, limit 15 V ± 1 % (0 of 1 lines passed)",
        ),
        (
            Outcome.FAILED,
            judged(Outcome.FAILED, "the current limit of 1 A was reached at 2 V"),
            "stopped by Ctrl-C",
            "Failed: no load: OUTP voltage: the current limit of 1 A was reached at 2 V (0 of 1 lines passed)",
        ),
        (Outcome.ABORTED, judged(Outcome.ABORTED), "stopped by Ctrl-C", "Aborted: stopped by Ctrl-C"),
    ],
)
def test_a_run_is_one_sentence(outcome: Outcome, judgement: Judgement, cause: str, words: str) -> None:
    assert sentence(outcome, (judgement,), cause) == words
