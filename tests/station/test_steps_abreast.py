"""Programs of several terminals side by side: what is asked of the bench, and what each is told."""

from collections.abc import Callable
from typing import Any

from station.abreast import ReadTogether
from station.asks import Ask, Draw, Drawn, Quantity, Read, Wait
from station.steps.abreast import followed


async def looked(terminal: str, seconds: float, amps: float) -> tuple[str, Any, Any]:
    drawn = await Draw(terminal, amps)
    await Wait(seconds)
    return terminal, drawn, await Read(terminal, Quantity.VOLTAGE)


def driven(side_by_side: bool, answer: Callable[[Ask[Any]], Any]) -> tuple[list[Ask[Any]], list[Any]]:
    """Return what two programs asked, and what they came to."""
    both = followed(side_by_side, [looked("OUTP", 1.0, 0.1), looked("OUTN", 3.0, 0.2)])
    asked, reply = list[Ask[Any]](), None
    while True:
        try:
            asked.append(both.send(reply))
        except StopIteration as end:
            return asked, end.value
        reply = answer(asked[-1])


def told(ask: Ask[Any]) -> Any:
    """Answer with what shows whose answer it is."""
    if isinstance(ask, ReadTogether):
        return tuple(each.terminal for each in ask.reads)
    return ask.terminal if isinstance(ask, Read) else Drawn(ask.amps) if isinstance(ask, Draw) else None


READS = Read("OUTP", Quantity.VOLTAGE), Read("OUTN", Quantity.VOLTAGE)
TOLD = [("OUTP", Drawn(0.1), "OUTP"), ("OUTN", Drawn(0.2), "OUTN")]


def test_side_by_side_the_longest_is_waited_for_and_readings_are_taken_at_once():
    asked, came_to = driven(True, told)
    assert asked == [Draw("OUTP", 0.1), Draw("OUTN", 0.2), Wait(3.0), ReadTogether(READS)]
    assert came_to == TOLD


def test_one_after_the_other_each_asks_as_if_it_were_alone():
    asked, came_to = driven(False, told)
    assert asked == [Draw("OUTP", 0.1), Wait(1.0), READS[0], Draw("OUTN", 0.2), Wait(3.0), READS[1]]
    assert came_to == TOLD
