"""Hold the board's absolute limits around every ask, and notice when the board itself ends a step.

One place for both, whatever the step and whoever performs: an ask beyond the board sheet is refused before it
reaches an instrument, and an answer that shows the board misbehaving stops the step as Failed.
"""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any, NoReturn

from station.asks import GND, Ask, Draw, Fed, Feed, Mode, Quantity, Read, Reading
from station.board import Board
from station.errors import BoardStopped, InputError
from station.quantities import format_value

__all__ = ["Envelope"]

NOTHING_FED: Mapping[str, float] = MappingProxyType({})
# By name a member of an Enum takes a tenth of what a reading does in lockstep.
VOLTAGE, RESISTANCE, HOLDS_VOLTS = Quantity.VOLTAGE, Quantity.RESISTANCE, Mode.CV
WRONG_SIGN_VOLTS = 1.0  # more than a clamping diode allows at the currents of a first power-up


class Envelope:
    """What one board must never see, and what it must never show."""

    def __init__(self, board: Board) -> None:
        self._terminals = board.form.terminals
        # Of what can be read as a rail: which way it goes, and the magnitude it must never exceed.
        self._rails = {
            name: (form.sign, math.inf if form.never_above is None else form.never_above)
            for name, form in self._terminals.items()
            if form.kind != "probe"
        }
        self._inputs = {
            name: (form.sign, form.never_above or 0.0) for name, form in self._terminals.items() if form.kind == "input"
        }

    def refuse_beyond(self, ask: Ask[Any], fed: Mapping[str, float] = NOTHING_FED) -> None:
        """Raise InputError for an ask beyond the board's absolute limits, before anybody answers it.

        `fed` are the volts that stand at each input: an ohmmeter goes on a board without power only.
        """
        if isinstance(ask, Feed):
            self.refuse_feed(ask)
        elif isinstance(ask, Read):
            self.refuse_read(ask, fed)
        elif isinstance(ask, Draw):
            self.refuse_draw(ask)

    def refuse_feed(self, ask: Feed) -> None:
        """Raise InputError for a feed beyond the board's absolute limits."""
        sign, most = self._inputs.get(ask.terminal) or self._no_input(ask.terminal)
        # `not 0 <= x <= top` rather than `x > top`: a NaN fails every comparison and must not get through
        if not 0.0 <= ask.volts * sign <= most:
            allowed = f"0 V to {sign * most:g} V"
            raise InputError.about(f"{ask.terminal} was to be fed {ask.volts:g} V", f"the sheet allows {allowed}")
        if ask.volts and not 0.0 < ask.amps_limit < math.inf:
            what = f"{ask.terminal} was to be fed {ask.volts:g} V under a limit of {ask.amps_limit:g} A"
            raise InputError.about(what, "give the step a current limit")

    def _no_input(self, terminal: str) -> NoReturn:
        raise InputError.about(f"{terminal} was to be fed", f"it is an {self._terminals[terminal].kind}, no input")

    def refuse_draw(self, ask: Draw) -> None:
        """Raise InputError for a load beyond what the sheet rates the terminal for."""
        rated = self._terminals[ask.terminal].rated
        if not 0.0 <= ask.amps <= (math.inf if rated is None else 2.0 * rated):
            known = "no rating is known" if rated is None else f"it is rated for {rated:g} A"
            raise InputError.about(f"{ask.terminal} was to carry {ask.amps:g} A", known)

    def refuse_read(self, ask: Read, fed: Mapping[str, float]) -> None:
        """Raise InputError for ohms on a board that has power; `fed` as of `refuse_beyond`."""
        if ask.quantity is not RESISTANCE:
            return
        live = [f"{name} is fed {volts:g} V" for name, volts in fed.items() if volts]
        if live:
            at = ask.against if ask.terminal == GND else ask.terminal
            what = f"ohms were to be read at {at} while {live[0]}"
            raise InputError.about(what, "put the step before the ramp, or behind a discharge")

    def stop_on(self, ask: Ask[Any], reply: object) -> None:
        """Raise BoardStopped where an answer shows that the board must not be taken further."""
        if isinstance(ask, Feed):
            if isinstance(reply, Fed):
                self.stop_on_fed(ask, reply)
        elif isinstance(ask, Read) and isinstance(reply, Reading):
            self.stop_on_reading(ask, reply)

    def stop_on_fed(self, ask: Feed, reply: Fed) -> None:
        """Raise BoardStopped where a supply could not hold its voltage."""
        if reply.mode is not HOLDS_VOLTS:
            raise BoardStopped(ask.terminal, _limited(ask, reply))

    def stop_on_reading(self, ask: Read, reply: Reading) -> None:
        """Raise BoardStopped where a rail is where it must never be."""
        if ask.quantity is not VOLTAGE or ask.against != GND or ask.terminal not in self._rails:
            return
        terminal, volts = ask.terminal, reply.value
        sign, never_above = self._rails[terminal]
        if sign * volts < -WRONG_SIGN_VOLTS:
            shown, due = format_value(volts, "V", digits=4), self._terminals[terminal].nominal
            raise BoardStopped(terminal, f"wrong sign: {shown} where {due:g} V is due", volts)
        if sign * volts > never_above:
            shown = format_value(volts, "V", digits=4)
            raise BoardStopped(terminal, f"{shown} is beyond the {never_above:g} V it must never exceed", volts)


def _limited(ask: Feed, reply: Fed) -> str:
    fed = format_value(ask.volts, "V", digits=4)
    if reply.mode is Mode.TRIPPED:
        which = " and ".join(reply.trips) + " " if reply.trips else ""
        return f"the supply's {which}protection tripped at {fed}"
    return f"the current limit of {format_value(ask.amps_limit, 'A')} was reached at {fed}"
