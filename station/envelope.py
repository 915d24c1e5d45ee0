"""Hold the board's absolute limits around every ask, and notice when the board itself ends a step.

One place for both, whatever the step and whoever performs: an ask beyond the board sheet is refused before it
reaches an instrument, and an answer that shows the board misbehaving stops the step as Failed.
"""

import math
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from station.asks import GND, Ask, Draw, Fed, Feed, Mode, Quantity, Read, Reading
from station.board import Board
from station.errors import BoardStopped, InputError
from station.quantities import format_value

__all__ = ["Envelope"]

NOTHING_FED: Mapping[str, float] = MappingProxyType({})
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

    def refuse_beyond(self, ask: Ask[Any], fed: Mapping[str, float] = NOTHING_FED) -> None:
        """Raise InputError for an ask beyond the board's absolute limits, before anybody answers it.

        `fed` are the volts that stand at each input: an ohmmeter goes on a board without power only.
        """
        if isinstance(ask, Feed):
            self._check_feed(ask)
        elif isinstance(ask, Read) and ask.quantity is Quantity.RESISTANCE:
            self._check_unfed(ask, fed)
        elif isinstance(ask, Draw):
            rated = self._terminals[ask.terminal].rated
            if not 0.0 <= ask.amps <= (math.inf if rated is None else 2.0 * rated):
                known = "no rating is known" if rated is None else f"it is rated for {rated:g} A"
                raise InputError.about(f"{ask.terminal} was to carry {ask.amps:g} A", known)

    def _check_feed(self, ask: Feed) -> None:
        form = self._terminals[ask.terminal]
        if form.kind != "input":
            raise InputError.about(f"{ask.terminal} was to be fed", f"it is an {form.kind}, no input")
        # `not 0 <= x <= top` rather than `x > top`: a NaN fails every comparison and must not get through
        if not 0.0 <= ask.volts * form.sign <= (form.never_above or 0.0):
            allowed = f"0 V to {form.sign * (form.never_above or 0.0):g} V"
            raise InputError.about(f"{ask.terminal} was to be fed {ask.volts:g} V", f"the sheet allows {allowed}")
        if ask.volts and not 0.0 < ask.amps_limit < math.inf:
            what = f"{ask.terminal} was to be fed {ask.volts:g} V under a limit of {ask.amps_limit:g} A"
            raise InputError.about(what, "give the step a current limit")

    def _check_unfed(self, ask: Read, fed: Mapping[str, float]) -> None:
        live = [f"{name} is fed {volts:g} V" for name, volts in fed.items() if volts]
        if live:
            at = ask.against if ask.terminal == GND else ask.terminal
            what = f"ohms were to be read at {at} while {live[0]}"
            raise InputError.about(what, "put the step before the ramp, or behind a discharge")

    def stop_on(self, ask: Ask[Any], reply: object) -> None:
        """Raise BoardStopped where an answer shows that the board must not be taken further."""
        if isinstance(ask, Feed):
            if isinstance(reply, Fed) and reply.mode is not Mode.CV:
                raise BoardStopped(ask.terminal, _limited(ask, reply))
            return
        if not (isinstance(ask, Read) and isinstance(reply, Reading)):
            return
        if ask.quantity is Quantity.VOLTAGE and ask.against == GND and ask.terminal in self._rails:
            self._check_rail(ask.terminal, reply.value)

    def _check_rail(self, terminal: str, volts: float) -> None:
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
