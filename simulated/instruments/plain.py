"""Run the messages of instruments that speak no SCPI: fixed words with numbers in them, one a line.

What is not understood is ignored without a word: there is no error queue.
"""

import re
import threading
from collections.abc import Callable, Sequence
from dataclasses import dataclass

from simulated.clock import VirtualClock
from simulated.instruments.hearing import Hearing
from simulated.instruments.scpi import QUERY_SECONDS, Connection

__all__ = ["PlainInterpreter", "Rule", "rule"]

_PLACES = {"channel": r"(?P<channel>[0-9])", "value": r"(?P<value>[0-9]+(?:\.[0-9]*)?)", "switch": r"(?P<switch>[01])"}


@dataclass(frozen=True)
class Rule:
    """A form of message and what it does; `run` is told the channel and the number, and answers a question."""

    form: re.Pattern[str]
    run: Callable[[int, float], str | None]


def rule(form: str, run: Callable[[int, float], str | None]) -> Rule:
    """Return the rule for a form such as `VSET{channel}:{value}`; `{switch}` is 1 or 0."""
    parts = re.split(r"\{(\w+)\}", form)
    pattern = "".join(_PLACES[part] if at % 2 else re.escape(part) for at, part in enumerate(parts))
    return Rule(re.compile(pattern), run)


class PlainInterpreter:
    """One instrument: what its messages are, and when it hears them."""

    def __init__(
        self,
        rules: Sequence[Rule],
        *,
        clock: VirtualClock,
        refresh: Callable[[], None],
        channels: int,
        hearing: Hearing,
    ) -> None:
        self.lock = threading.RLock()
        self._rules = tuple(rules)
        self._clock = clock
        self._refresh = refresh
        self._channels = channels
        self._hearing = hearing

    def connection(self) -> Connection:
        """Return a new talker; the instrument keeps its state when it goes."""
        return Connection(self)

    def run(self, message: str) -> str | None:
        """Run one message and return its answer, None if nothing was asked or understood."""
        with self.lock:
            if not self._hearing.takes(message):
                return None
            if message.rstrip().endswith("?"):
                self._clock.advance(QUERY_SECONDS)
            self._refresh()
            answer = self._answer(message.strip().upper())
            self._hearing.done()
            return answer

    def overrun(self) -> None:
        """Ignore a message that was too long to be run."""

    def _answer(self, message: str) -> str | None:
        for each in self._rules:
            found = each.form.fullmatch(message)
            if found is None:
                continue
            given = found.groupdict()
            channel = int(given.get("channel", 1))
            if 1 <= channel <= self._channels:
                return each.run(channel, float(given.get("value", given.get("switch", 0.0))))
        return None
