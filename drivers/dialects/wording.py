"""How one thing is said to an instrument, and how its reply is read: settings, questions, status bits, selection.

Templates take `{value}` (what is set), `{channel}` (the channel's number) and `{name}` (its name).
"""

from dataclasses import dataclass
from enum import Enum
from typing import Literal

from drivers import scpi

__all__ = ["Bit", "Closeness", "Compare", "Question", "Regulation", "Selection", "Setting", "Value"]

Value = float | bool | str


class Compare(Enum):
    """How a setting's read-back is held against what was sent."""

    EQUAL = "within the resolution"
    AT_LEAST = "the same or the next one up"
    AS_REPORTED = "whatever the instrument says it took"


@dataclass(frozen=True)
class Setting:
    """How one setting is sent and asked for; `resolution` is in `unit`.

    `settle_seconds` is how long after the set the terminals have followed. `decimals` is how many a number is sent
    with (None: as many as it needs), `words` what a switch is sent as, on and off. With an empty `ask` the setting
    can't be read back.
    """

    send: str
    ask: str
    form: Literal["number", "switch", "word"] = "number"
    unit: str = ""
    resolution: float = 0.0
    compare: Compare = Compare.EQUAL
    settle_seconds: float = 0.0
    decimals: int | None = None
    words: tuple[str, str] = ("ON", "OFF")

    def worded(self, value: Value) -> str:
        """Return the value as it is sent."""
        if self.form == "switch":
            return self.words[0 if value else 1]
        return value if isinstance(value, str) else scpi.format_number(value, self.decimals)

    def parse(self, reply: str) -> Value:
        """Return the value in a reply; raises scpi.Unreadable."""
        if self.form == "switch":
            return scpi.parse_boolean(reply)
        return reply.strip('"').upper() if self.form == "word" else scpi.parse_number(reply, self.unit)

    def fits(self, sent: Value, stands: Value) -> bool:
        """Return whether what stands is what was sent, as far as the instrument resolves it."""
        if self.form == "word":
            # CURR, CURRENT and CURR:DC are one function: the short form decides.
            return str(stands)[:4] == str(sent).upper()[:4]
        if self.compare is Compare.AS_REPORTED or self.form == "switch":
            return self.compare is Compare.AS_REPORTED or sent == stands
        allowed = self.resolution * (1.0 + 1e-6) + 1e-12
        short = float(sent) - float(stands)
        return short <= allowed and (self.compare is Compare.AT_LEAST or short >= -allowed)


@dataclass(frozen=True)
class Question:
    """How a measured value is asked for, its unit, and which value of the reply it is, from 1; 0: the only one."""

    ask: str
    unit: str
    place: int = 0

    def parse(self, reply: str) -> float:
        """Return the value in a reply; raises scpi.Unreadable."""
        return scpi.parse_number(scpi.value_at(reply, self.place) if self.place else reply, self.unit)


@dataclass(frozen=True)
class Bit:
    """One bit of a status register: the query that reads the register, and the bit's number for channel 1.

    `stride` is how much further each further channel's bit is, where one register serves all. The bit says yes when
    it is set, or with `when_clear` when it is not.
    """

    register: str
    number: int
    stride: int = 0
    when_clear: bool = False

    def says(self, register: int, channel: int) -> bool:
        """Return what the bit says in a register that was read."""
        is_set = bool(register >> self.number + self.stride * (channel - 1) & 1)
        return is_set is not self.when_clear


@dataclass(frozen=True)
class Closeness:
    """How near a measured value must be to its setting to count as held there: a share of it plus volts or amps."""

    share: float = 0.005
    volts: float = 0.05
    amps: float = 0.005


@dataclass(frozen=True)
class Regulation:
    """Where a supply shows what holds its output, and which protections have tripped (by name).

    SCPI does not settle it: CV and CC are found in different registers, and crossed in some. Without both bits the
    mode is told from what is measured, held against what was set as close as `within`.
    """

    constant_voltage: Bit | None
    constant_current: Bit | None
    trips: tuple[tuple[str, Bit], ...] = ()
    within: Closeness = Closeness()

    def __post_init__(self) -> None:
        if (self.constant_voltage is None) != (self.constant_current is None):
            raise ValueError("a supply shows one of CV and CC, but not the other; write both bits or none")

    @property
    def bits(self) -> tuple[Bit, ...]:
        """Every bit that is read."""
        shown = (self.constant_voltage, self.constant_current, *(bit for _, bit in self.trips))
        return tuple(bit for bit in shown if bit is not None)


@dataclass(frozen=True)
class Selection:
    """How the channel is selected that all further messages act on, and how it is asked which one that is.

    `replies` holds, channel by channel, how the answer may be spelt otherwise: OUTP1 where OUT1 was sent.
    """

    send: str
    ask: str
    replies: tuple[str, ...] = ()

    def names(self, reply: str, sent: str, channel: int) -> bool:
        """Return whether a reply names the channel that was sent as `sent`."""
        told = reply.strip().strip("\"'").upper()
        if told in (sent.upper(), *(other.upper() for other in self.replies[channel - 1 : channel])):
            return True
        try:
            return sent.isdigit() and scpi.parse_number(told) == float(sent)
        except scpi.Unreadable:
            return False
