"""What the instruments are wired to in these tests: ports that need no circuit, and a talker without a socket."""

import math
from dataclasses import dataclass, field

from simulated.instruments.scpi import Connection
from simulated.ports import LoadState, Regulation, SupplyState


@dataclass
class ResistorOnSupply:
    """A resistor on a supply channel; `ohms` may be changed at any time."""

    ohms: float = 1e9
    volts: float = 0.0
    limit_amps: float = 0.0
    on: bool = False

    def apply(self, *, volts: float, limit_amps: float, on: bool) -> None:
        self.volts, self.limit_amps, self.on = volts, limit_amps, on

    def state(self) -> SupplyState:
        if not self.on:
            return SupplyState(0.0, 0.0, Regulation.OFF)
        if self.volts / self.ohms > self.limit_amps:
            return SupplyState(self.limit_amps * self.ohms, self.limit_amps, Regulation.CURRENT)
        return SupplyState(self.volts, self.volts / self.ohms, Regulation.VOLTAGE)


@dataclass
class StiffRailOnLoad:
    """A rail of fixed volts at a load's input."""

    volts: float = 15.0
    amps: float = 0.0
    on: bool = False

    def apply(self, *, amps: float, on: bool) -> None:
        self.amps, self.on = amps, on

    def state(self) -> LoadState:
        return LoadState(self.volts, self.amps if self.on else 0.0)


@dataclass
class KnownVolts:
    """Fixed volts at each input of a meter, and a resistor across it where one is given."""

    at_inputs: dict[int, float] = field(default_factory=dict)
    alternating: dict[int, float] = field(default_factory=dict)
    resistors: dict[int, float] = field(default_factory=dict)
    driven: tuple[int | None, float] = (None, 0.0)  # channel, test current (A)

    def volts(self, channel: int) -> float:
        own, (driven, amps) = self.at_inputs.get(channel, 0.0), self.driven
        return own + min(amps * self.resistors.get(channel, math.inf), 5.0) if driven == channel else own

    def ripple_volts(self, channel: int) -> float:
        return self.alternating.get(channel, 0.0)

    def drive(self, channel: int | None, *, amps: float, most_volts: float) -> None:
        assert most_volts == 5.0
        self.driven = channel, amps


class Talk:
    """Sends lines to an instrument without a socket."""

    def __init__(self, connection: Connection) -> None:
        self.connection = connection

    def tell(self, *messages: str) -> None:
        for message in messages:
            answer = self.connection.receive(message.encode() + b"\n")
            assert answer == b"", f"{message!r} was answered {answer!r}"

    def ask(self, message: str) -> str:
        answer = self.connection.receive(message.encode() + b"\n").decode()
        assert answer.endswith("\n"), f"{message!r} was answered {answer!r}; errors: {self.errors()}"
        return answer[:-1]

    def number(self, message: str) -> float:
        return float(self.ask(message))

    def errors(self) -> list[int]:
        codes = []
        while code := int(self.ask("SYST:ERR?").split(",")[0]):
            codes.append(code)
        return codes
