"""The person at the keyboard."""

import io
import queue
import time

import pytest
from rich.console import Console

from station.asks import Question, Toward, Turn, Turned
from station.errors import Interrupted
from station.interrupts import Interrupts
from station.operators import Keyboard, Person


def person(typed: str, *, more: bool = False) -> tuple[Person, io.StringIO]:
    """Return somebody who types some lines, and then ends their input, or sits there."""
    lines = iter(typed.splitlines(keepends=True))

    def read_line() -> str:
        line = next(lines, "")
        if not line and more:
            time.sleep(60.0)
        return line

    shown = io.StringIO()
    return Person(Console(file=shown, width=80), Interrupts(), Keyboard(read_line)), shown


@pytest.mark.parametrize(("typed", "meant"), [("yes\n", "yes"), ("y\n", "yes"), ("NO\n", "no"), ("maybe\nn\n", "no")])
def test_an_answer_is_one_of_the_choices_or_its_beginning(typed: str, meant: str) -> None:
    someone, _ = person(typed)
    assert someone.answer(Question("All shiny?")) == meant


def test_what_is_no_answer_is_asked_again() -> None:
    someone, shown = person("perhaps\n\nyes\n")
    someone.answer(Question("All shiny?", caution="Leads off."))
    assert shown.getvalue().count("please type one of: yes / no") == 2
    assert shown.getvalue().startswith("Caution: Leads off.\nAll shiny?  [yes / no]")


def test_enter_will_do_where_there_is_one_answer() -> None:
    assert person("\n")[0].answer(Question("Hold the probe to TP1, then say so", ("there",))) == "there"


def test_a_beginning_that_two_answers_share_is_no_answer() -> None:
    assert person("n\nnone\n")[0].answer(Question("Which?", ("no", "none"))) == "none"


def test_nobody_at_the_keyboard_ends_the_run() -> None:
    with pytest.raises(Interrupted, match="nobody answers"):
        person("")[0].answer(Question("All shiny?"))


def test_ctrl_c_is_noticed_while_nobody_types() -> None:
    someone, _ = person("", more=True)
    someone._interrupts.ask_to_end("stopped by Ctrl-C")
    with pytest.raises(Interrupted, match=r"stopped by Ctrl-C"):
        someone.answer(Question("All shiny?"))


TURN = Turn("RV101", Toward.CLOCKWISE, 0.1)


def at_the_trimmer() -> tuple[Person, "queue.Queue[str]"]:
    """Return somebody who has been told which trimmer it is, and what they type from now on."""
    lines: queue.Queue[str] = queue.Queue()
    someone = Person(Console(file=io.StringIO()), Interrupts(), Keyboard(lines.get))
    assert someone.turn(TURN) is Turned.DONE
    return someone, lines


@pytest.mark.parametrize(
    ("typed", "turned"), [("\n", Turned.ENOUGH), ("end\n", Turned.STUCK), ("stuck\n", Turned.STUCK)]
)
def test_a_key_ends_the_turning(typed: str, turned: Turned) -> None:
    someone, lines = at_the_trimmer()
    lines.put(typed)
    assert someone.turn(TURN) is turned


def test_what_was_typed_before_a_trimmer_was_named_does_not_end_its_trim() -> None:
    someone, lines = at_the_trimmer()
    lines.put("\n")
    while not someone._keyboard._lines.qsize():
        time.sleep(0.001)
    assert someone.turn(Turn("RV201", Toward.CLOCKWISE, 0.1)) is Turned.DONE


def test_a_turn_takes_its_moment_where_nothing_is_typed() -> None:
    assert person("", more=True)[0].turn(Turn("RV101", Toward.CLOCKWISE, 0.1)) is Turned.DONE
