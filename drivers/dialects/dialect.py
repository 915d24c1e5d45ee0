"""Say how one family of instruments words each step, as data: nothing here talks to an instrument.

Templates take numbers, ON/OFF and channel numbers only, so no profile can smuggle a message into one. `{value}` is
what is set, `{channel}` the channel's number.
"""

import re
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import Enum, StrEnum
from types import MappingProxyType
from typing import Literal

from drivers import scpi
from drivers.link import Manners

__all__ = [
    "Bit",
    "Compare",
    "Dialect",
    "InstrumentKind",
    "MeterTraits",
    "OhmsRange",
    "Question",
    "Regulation",
    "Setting",
    "Step",
    "Value",
]

InstrumentKind = Literal["supply", "load", "meter"]
Value = float | bool | str


class Step(StrEnum):
    """What a driver wants done; a dialect words it."""

    OUTPUT = "output"
    VOLTAGE = "voltage"
    CURRENT_LIMIT = "current limit"
    OVER_VOLTAGE = "over-voltage level"
    OVER_CURRENT = "over-current protection"
    OVER_CURRENT_DELAY = "over-current delay"
    CLEAR_TRIPS = "clear trips"
    MEASURED_VOLTS = "measured volts"
    MEASURED_AMPS = "measured amps"
    INPUT = "input"
    FUNCTION = "function"
    CURRENT = "current"
    CONFIGURE = "configure"
    CHANNEL = "channel"
    RANGE = "range"
    INTEGRATION = "integration"
    READING = "reading"
    OHMS_CONFIGURE = "configure for resistance"
    OHMS_RANGE = "resistance range"
    OHMS_INTEGRATION = "resistance integration"
    RIPPLE = "ripple"


class Compare(Enum):
    """How a setting's read-back is held against what was sent."""

    EQUAL = "within the resolution"
    AT_LEAST = "the same or the next one up"
    AS_REPORTED = "whatever the instrument says it took"


@dataclass(frozen=True)
class Setting:
    """How one setting is sent and asked for; `resolution` is in `unit`.

    `settle_seconds` is how long after the set the terminals have followed.
    """

    send: str
    ask: str
    form: Literal["number", "switch", "word"] = "number"
    unit: str = ""
    resolution: float = 0.0
    compare: Compare = Compare.EQUAL
    settle_seconds: float = 0.0

    def worded(self, value: Value) -> str:
        """Return the value as it is sent."""
        if self.form == "switch":
            return "ON" if value else "OFF"
        return value if isinstance(value, str) else scpi.format_number(value)

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
    """How a measured value is asked for, and its unit."""

    ask: str
    unit: str


@dataclass(frozen=True)
class Bit:
    """One bit of a status register: the query that reads the register, and the bit's number."""

    register: str
    number: int


@dataclass(frozen=True)
class Regulation:
    """Where a supply shows what holds its output, and which protections have tripped (by name).

    SCPI does not settle it: CV and CC are found in different registers, and crossed in some.
    """

    constant_voltage: Bit
    constant_current: Bit
    trips: tuple[tuple[str, Bit], ...]


@dataclass(frozen=True)
class OhmsRange:
    """A resistance range, and the test current that the meter sends through what it measures there."""

    ohms: float
    test_amps: float


@dataclass(frozen=True)
class MeterTraits:
    """What a meter can be set to: ranges in volts and ohms, and integration in power-line cycles, all rising."""

    ranges_volts: tuple[float, ...]
    power_line_cycles: tuple[float, ...]
    ranges_ohms: tuple[OhmsRange, ...] = ()
    over_range: float = 1.2  # a range reads to this share of its name
    ripple_seconds: float = 8.0  # the longest that the filter for what alternates takes to settle
    conversions_per_reading: int = 2  # autozero takes a second one, of the meter's own zero
    channel_offset: int = 100  # channel 1 of the scanner card in slot 1 is 101


_REQUIRED: Mapping[str, frozenset[Step]] = {
    "supply": frozenset(
        {
            Step.OUTPUT,
            Step.VOLTAGE,
            Step.CURRENT_LIMIT,
            Step.OVER_VOLTAGE,
            Step.OVER_CURRENT,
            Step.OVER_CURRENT_DELAY,
            Step.CLEAR_TRIPS,
            Step.MEASURED_VOLTS,
            Step.MEASURED_AMPS,
        }
    ),
    "load": frozenset({Step.INPUT, Step.FUNCTION, Step.CURRENT, Step.MEASURED_VOLTS, Step.MEASURED_AMPS}),
    "meter": frozenset(
        {
            Step.CONFIGURE,
            Step.CHANNEL,
            Step.RANGE,
            Step.INTEGRATION,
            Step.READING,
            Step.OHMS_CONFIGURE,
            Step.OHMS_RANGE,
            Step.OHMS_INTEGRATION,
            Step.RIPPLE,
        }
    ),
}
_PLACES = frozenset({"value", "channel"})


@dataclass(frozen=True)
class Dialect:
    """How one family of instruments words each step, and what it needs besides words.

    `joins_units` says whether several questions may share a message (`A?;:B?`), `has_operation_complete` whether
    `*OPC?` is answered. Raises ValueError when made with a step missing or a place in a template unknown.
    """

    name: str
    instrument: InstrumentKind
    settings: Mapping[Step, Setting]
    questions: Mapping[Step, Question]
    actions: Mapping[Step, str] = field(default_factory=lambda: MappingProxyType({}))
    regulation: Regulation | None = None
    meter: MeterTraits | None = None
    one_channel: bool = False
    joins_units: bool = True
    has_operation_complete: bool = True
    manners: Manners = field(default_factory=Manners)

    def __post_init__(self) -> None:
        if missing := _REQUIRED[self.instrument] - {*self.settings, *self.questions, *self.actions}:
            raise ValueError(f"the dialect '{self.name}' has no words for {', '.join(sorted(missing))}; write them")
        for template in self._templates():
            if wrong := set(re.findall(r"\{(.*?)\}", template)) - _PLACES:
                raise ValueError(f"'{template}' in '{self.name}' has a place {wrong}; write {{value}} or {{channel}}")
            if "\n" in template or not template.isascii():
                raise ValueError(f"'{template}' in '{self.name}' is not one line of ASCII")
        if (self.instrument == "supply") != (self.regulation is not None):
            raise ValueError(f"the dialect '{self.name}' needs a regulation if, and only if, it is for a supply")
        if (self.instrument == "meter") != (self.meter is not None):
            raise ValueError(f"the dialect '{self.name}' needs meter traits if, and only if, it is for a meter")

    def command(self, step: Step, channel: int, value: Value = "") -> str:
        """Return the message that sets `step` to `value`, or that does it where it is an action."""
        if step in self.actions:
            return self._fill(self.actions[step], channel)
        setting = self.settings[step]
        return self._fill(setting.send, channel, setting.worded(value))

    def asking(self, step: Step, channel: int) -> str:
        """Return the message that asks for a setting or a measured value."""
        return self.asking_for((self.settings.get(step) or self.questions[step]).ask, channel)

    def asking_for(self, template: str, channel: int) -> str:
        """Return a question's template, a status register's say, for one channel."""
        return self._fill(template, channel)

    def _fill(self, template: str, channel: int, value: str = "") -> str:
        if channel < 1 or (self.one_channel and channel != 1):
            allowed = "1, the only one" if self.one_channel else "1 or more"
            raise ValueError(f"the dialect '{self.name}' was asked for channel {channel}; write {allowed}")
        return template.format(channel=channel, value=value)

    def _templates(self) -> tuple[str, ...]:
        bits = (self.regulation.constant_voltage, self.regulation.constant_current) if self.regulation else ()
        trips = tuple(bit for _, bit in self.regulation.trips) if self.regulation else ()
        sent = tuple(setting.send for setting in self.settings.values())
        read_back = tuple(setting.ask for setting in self.settings.values())
        asked = tuple(question.ask for question in self.questions.values())
        return (*sent, *read_back, *asked, *self.actions.values(), *(bit.register for bit in (*bits, *trips)))
