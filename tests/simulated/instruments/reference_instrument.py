"""The instrument that the head of tests/reference/scpi_conformance.yaml describes, built from the parts of scpi."""

from simulated.clock import VirtualClock
from simulated.instruments.answers import joined, nr1, nr3, quoted
from simulated.instruments.parameters import Boolean, ChannelList, Choice, Integer, Limit, Numeric, Text, WhenGiven
from simulated.instruments.scpi import Connection, Interpreter
from simulated.instruments.status import Status
from simulated.instruments.tree import Command, command

VOLTS = Numeric(0.0, 30.0, 0.0, 0.001, "V")
AMPS = Numeric(0.0, 3.0, 0.1, 0.0001, "A")
PROTECTION = Numeric(1.0, 33.0, 33.0, 0.001, "V")
RELAYS = ChannelList(1, 8)


class ReferenceInstrument:
    """One supply output into an open circuit, with a display and eight relays."""

    def __init__(self) -> None:
        self.state: dict[str, float | str | bool] = {}
        self.closed: set[int] = set()
        self.reset()
        self._interpreter = Interpreter(
            "RAILBENCH,REFERENCE,0,1.0",
            [*self._source(), *self._output(), *self._panel()],
            clock=VirtualClock(),
            status=Status(queue_depth=10),
            reset=self.reset,
        )

    def connection(self) -> Connection:
        return self._interpreter.connection()

    def reset(self) -> None:
        self.state = {"VOLT": 0.0, "CURR": 0.1, "PROT": 33.0, "ovp": True, "on": False, "source": "IMM", "text": ""}
        self.closed.clear()

    def _number(self, header: str, key: str, numeric: Numeric) -> tuple[Command, Command]:
        def put(value: float) -> None:
            self.state[key] = value

        def get(limit: float | None) -> str:
            return nr3(float(self.state[key]) if limit is None else limit)

        return command(header, put, numeric), command(f"{header}?", get, WhenGiven(Limit(numeric)))

    def _switch(self, header: str, key: str) -> tuple[Command, Command]:
        def put(value: bool) -> None:
            self.state[key] = value

        return command(header, put, Boolean()), command(f"{header}?", lambda: nr1(bool(self.state[key])))

    def _source(self) -> list[Command]:
        return [
            *self._number("[SOURce]:VOLTage[:LEVel][:IMMediate][:AMPLitude]", "VOLT", VOLTS),
            *self._number("[SOURce]:VOLTage:PROTection[:LEVel]", "PROT", PROTECTION),
            *self._switch("[SOURce]:VOLTage:PROTection:STATe", "ovp"),
            command("[SOURce]:VOLTage:PROTection:TRIPped?", lambda: "0"),
            command("[SOURce]:VOLTage:PROTection:CLEar", lambda: None),
            *self._number("[SOURce]:CURRent[:LEVel][:IMMediate][:AMPLitude]", "CURR", AMPS),
        ]

    def _output(self) -> list[Command]:
        return [
            *self._switch("OUTPut<1:1>[:STATe]", "on"),
            command("OUTPut<1:1>:PROTection:CLEar", lambda: None),
            command("MEASure[:SCALar]:VOLTage[:DC]?", lambda: nr3(float(self.state["VOLT"]) * bool(self.state["on"]))),
            command("MEASure[:SCALar]:CURRent[:DC]?", lambda: nr3(0.0)),
        ]

    def _panel(self) -> list[Command]:
        def show(text: str) -> None:
            self.state["text"] = text

        def trigger(source: str) -> None:
            self.state["source"] = source

        return [
            command("INSTrument[:SELect]", lambda name: None, Choice(("OUTP1",))),
            command("INSTrument[:SELect]?", lambda: "OUTP1"),
            command("INSTrument:NSELect", lambda number: None, Integer(1, 1)),
            command("INSTrument:NSELect?", lambda: "1"),
            command("TRIGger[:SEQuence]:SOURce", trigger, Choice(("IMMediate", "BUS", "EXTernal"))),
            command("TRIGger[:SEQuence]:SOURce?", lambda: str(self.state["source"])),
            command("DISPlay[:WINDow]:TEXT[:DATA]", show, Text()),
            command("DISPlay[:WINDow]:TEXT[:DATA]?", lambda: quoted(str(self.state["text"]))),
            command("ROUTe:CLOSe", lambda channels: self.closed.update(channels), RELAYS),
            command("ROUTe:OPEN", lambda channels: self.closed.difference_update(channels), RELAYS),
            command("ROUTe:CLOSe?", lambda channels: joined(nr1(c in self.closed) for c in channels), RELAYS),
        ]
