"""Follow several terminals side by side where the bench can read them at once, else one after the other."""

from collections.abc import Coroutine, Mapping, Sequence
from typing import Any, TypeVar

from station.abreast import Abreast, ReadTogether
from station.asks import Ask, Quantity, Read, Wait

__all__ = ["abreast", "followed"]

Told = TypeVar("Told")


async def abreast(terminals: Sequence[str]) -> bool:
    """Return whether several terminals can be read at once."""
    return len(set(terminals)) > 1 and await Abreast(tuple(terminals))


async def followed(side_by_side: bool, programs: Sequence[Coroutine[Any, Any, Told]]) -> list[Told]:
    """Return what programs of asks come to, each of another terminal: side by side, or one after the other.

    Side by side their readings are taken at once, and of what they wait for the longest is waited.
    """
    try:
        return await _at_once(programs) if side_by_side else [await each for each in programs]
    finally:
        for each in programs:
            each.close()


async def _at_once(programs: Sequence[Coroutine[Any, Any, Told]]) -> list[Told]:
    told, answers = dict[int, Told](), dict[int, Any](dict.fromkeys(range(len(programs))))
    while answers:
        asked = dict[int, Ask[Any]]()
        for at, answer in answers.items():
            try:
                asked[at] = programs[at].send(answer)
            except StopIteration as end:
                told[at] = end.value
        answers = await _answered(asked)
    return [told[at] for at in range(len(programs))]


async def _answered(asked: Mapping[int, Ask[Any]]) -> dict[int, Any]:
    """Return the answers to what several programs ask now: readings at once, one wait for all, the rest singly."""
    reads = {at: ask for at, ask in asked.items() if isinstance(ask, Read) and ask.quantity is Quantity.VOLTAGE}
    waits = {at: ask for at, ask in asked.items() if isinstance(ask, Wait)}
    answers = dict[int, Any](dict.fromkeys(waits))
    if len(reads) > 1:
        answers |= zip(reads, await ReadTogether(tuple(reads.values())), strict=True)
    for at, ask in asked.items():
        if at not in answers:
            answers[at] = await ask
    if waits:
        await Wait(max(ask.seconds for ask in waits.values()))
    return answers
