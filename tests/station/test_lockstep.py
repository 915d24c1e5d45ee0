"""Programs on many boards at once: each lane's run is its own, and what has no solution is never a number."""

from collections.abc import Coroutine
from dataclasses import dataclass
from typing import Any

import pytest

from station.asks import Draw, Fed, Feed, Mode, Quantity, Question, Read, Reading, StepEnded, StepStarted, Wait
from station.errors import BoardStopped, InputError, NotSolved, Unreadable
from station.lines import Outcome
from station.lockstep import LaneBoard, LaneEnded, in_lockstep
from station.profile import Profile
from station.program import compiled
from station.rehearsal import highest_volts
from tests.dividers import NETLIST, PROFILE, SHEET, divider
from tests.station.proving import adj3t, of, prove

# 10 V straight across a diode, once OUTP stands above 6 V.
BURNING = NETLIST + "V1 ref 0 6\nE1 z 0 outp ref 10\nD1 z 0 DX\n.model DX D(IS=1e-14)\n"
HIGH = LaneBoard(2, ("R2:open",))  # its OUTP is the input


@dataclass
class Told:
    """A program made of one coroutine, which remembers what it was told."""

    replies: list[object]

    def run(self) -> Coroutine[Any, Any, object]:
        return self._asking()

    async def _asking(self) -> None:
        await StepStarted(0, "look")
        self.replies.append(await Feed("INP", 10.0, 0.05))
        self.replies.append(await Read("OUTP", Quantity.VOLTAGE, 1.0))
        await StepEnded(0, "look", ())


def lockstep(profile: Profile, *boards: LaneBoard) -> list[LaneEnded]:
    return in_lockstep(compiled(profile), profile.board, highest_volts(profile), boards)


def asked(told: Told, *boards: LaneBoard, netlist: str = NETLIST, sheet: str = SHEET) -> list[LaneEnded]:
    profile = divider(netlist=netlist, sheet=sheet)
    return in_lockstep(told, profile.board, highest_volts(profile), boards)
