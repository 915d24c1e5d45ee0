"""A board on its way that can't be followed: what is tried next, and where it then stands."""

from dataclasses import dataclass, field
from typing import cast

import numpy as np
import pytest

from simulated.circuit import Circuit, OperatingPoint, SupplyEnd, SupplySetting, Transient, read_netlist
from simulated.motion import Motion

CIRCUIT = Circuit(read_netlist("t\nR1 a 0 1k\n"), supplies=(SupplyEnd("S", "a", "0"),))
BEGUN = CIRCUIT.operating_point(supplies={"S": SupplySetting(1.0)})
GONE_ON = CIRCUIT.operating_point(supplies={"S": SupplySetting(2.0)})


@dataclass
class Follower:
    """A transient that gets on, or gets lost."""

    gets_on: bool
    at: OperatingPoint = field(default=BEGUN)

    def start_from(self, point: OperatingPoint) -> None:
        self.at = point

    def advance(self, seconds: float, **applied: object) -> None:
        self.at = GONE_ON
        if not self.gets_on:
            self.at = OperatingPoint(
                np.array([False]), BEGUN.layout, BEGUN.ends, BEGUN.unknowns, BEGUN.loads, BEGUN.modes, BEGUN.restless,
                BEGUN.knees,
            )  # fmt: skip

    def point(self) -> OperatingPoint:
        return self.at


@pytest.mark.parametrize(("tries", "volts", "lost"), [((True,), 2.0, False), ((False, True), 2.0, False),
                                                       ((False, False, True), 1.0, True)])  # fmt: skip
def test_a_board_that_gets_lost_is_tried_once_more_and_else_stands_where_it_stood(tries, volts, lost):
    followers = iter(tries)
    motion = Motion(lambda: cast(Transient, Follower(gets_on=next(followers))), BEGUN)

    motion.advance(0.1, {}, {})

    assert motion.point().volts("a")[0] == pytest.approx(volts)
    assert motion.lost is lost
