"""Say how one family of instruments words each step, as data: nothing here talks to an instrument.

Templates take numbers, switch words and channels only, so no profile can smuggle a message into one.
"""

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from types import MappingProxyType
from typing import Literal

from drivers.dialects.wording import Question, Regulation, Selection, Setting, Value
from drivers.link import Manners

__all__ = ["Dialect", "InstrumentKind", "MeterTraits", "OhmsRange", "Step"]

InstrumentKind = Literal["supply", "load", "meter", "scanner"]


class Step(StrEnum):
    """What a driver wants done; a dialect words it."""

    OUTPUT = "output"
    VOLTAGE = "voltage"
    CURRENT_LIMIT = "current limit"
    OVER_VOLTAGE = "over-voltage level"
    OVER_VOLTAGE_ON = "over-voltage protection"
    OVER_CURRENT = "over-current protection"
    OVER_CURRENT_DELAY = "over-current delay"
    CLEAR_TRIPS = "clear trips"
    WATCHDOG = "watchdog"
    WATCHDOG_DELAY = "watchdog delay"
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
    TRIGGER = "trigger"
    FETCH = "fetch"
    OHMS_CONFIGURE = "configure for resistance"
    OHMS_RANGE = "resistance range"
    OHMS_INTEGRATION = "resistance integration"
    RIPPLE = "ripple"


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
    "supply": frozenset({Step.OUTPUT, Step.VOLTAGE, Step.CURRENT_LIMIT, Step.MEASURED_VOLTS, Step.MEASURED_AMPS}),
    "load": frozenset({Step.INPUT, Step.FUNCTION, Step.CURRENT, Step.MEASURED_VOLTS, Step.MEASURED_AMPS}),
    "scanner": frozenset({Step.CHANNEL}),
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
_PLACES = frozenset({"value", "channel", "name"})
# Without one of these a supply can feed a board for longer, or higher, than the board stands.
_PROTECTIONS = (Step.OVER_VOLTAGE, Step.OVER_CURRENT)
# Whether an output is on shows in what is measured too; for anything else only its read-back says that it stands.
_MAY_BE_SILENT = frozenset({Step.OUTPUT})


@dataclass(frozen=True)
class Dialect:
    """How one family of instruments words each step, and what it needs besides words.

    `joins_units` says whether several units may share a message (`A;:B?`), `has_operation_complete` whether `*OPC?`
    is answered. `selection` is for families whose messages act on the channel selected before, `channel_names` for
    those that name it. `common_switch` is the number of channels that go on and off together, 0 where each has a
    switch of its own. Raises ValueError when made with a step missing or a place in a template unknown.
    """

    name: str
    instrument: InstrumentKind
    settings: Mapping[Step, Setting]
    questions: Mapping[Step, Question]
    actions: Mapping[Step, str] = field(default_factory=lambda: MappingProxyType({}))
    regulation: Regulation | None = None
    meter: MeterTraits | None = None
    one_channel: bool = False
    selection: Selection | None = None
    channel_names: tuple[str, ...] = ()
    common_switch: int = 0
    joins_units: bool = True
    has_operation_complete: bool = True
    manners: Manners = field(default_factory=Manners)

    def __post_init__(self) -> None:
        if missing := _REQUIRED[self.instrument] - {*self.settings, *self.questions, *self.actions}:
            raise ValueError(f"the dialect '{self.name}' has no words for {', '.join(sorted(missing))}; write them")
        for step, setting in self.settings.items():
            if not setting.ask and step not in _MAY_BE_SILENT:
                raise ValueError(f"the {step} of '{self.name}' can't be read back; write how it is asked for")
        for template in self._templates():
            self._refuse_senseless(template)
        if (self.instrument == "supply") != (self.regulation is not None):
            raise ValueError(f"the dialect '{self.name}' needs a regulation if, and only if, it is for a supply")
        if (self.instrument == "meter") != (self.meter is not None):
            raise ValueError(f"the dialect '{self.name}' needs meter traits if, and only if, it is for a meter")

    def _refuse_senseless(self, template: str) -> None:
        if wrong := set(re.findall(r"\{(.*?)\}", template)) - _PLACES:
            places = "{value}, {channel} or {name}"
            raise ValueError(f"'{template}' in '{self.name}' has a place {wrong}; write {places}")
        if re.search(r"[{}]", re.sub(r"\{\w+\}", "", template)):
            raise ValueError(f"'{template}' in '{self.name}' has a brace that closes no place; write it in pairs")
        if not (template.isascii() and template.isprintable()):
            raise ValueError(f"'{template}' in '{self.name}' is not one line of ASCII")
        if "{name}" in template and not self.channel_names:
            raise ValueError(f"'{template}' in '{self.name}' needs the channels' names; write them")

    @property
    def lacking(self) -> tuple[Step, ...]:
        """The protections that a supply has no words for."""
        return tuple(step for step in _PROTECTIONS if self.instrument == "supply" and step not in self.settings)

    @property
    def triggers(self) -> bool:
        """Whether a meter can be told to begin a reading, and asked for it later: `READ?` in its two halves."""
        apart = Step.TRIGGER in self.actions and Step.FETCH in self.questions
        return apart and self.questions[Step.READING].ask == "READ?"  # else the halves are another dialect's

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

    def selecting(self, channel: int) -> tuple[str, str] | None:
        """Return the message that selects a channel and what it names it; None where nothing is to be selected."""
        if self.selection is None:
            return None
        message = self._fill(self.selection.send, channel)
        return message, message.rpartition(" ")[2].strip("\"'")

    @staticmethod
    def joined(units: tuple[str, ...]) -> str:
        """Return units as one message; `:` starts from the root, whatever the unit before left as current node."""
        return ";".join(unit if unit[0] in ":*" or not at else f":{unit}" for at, unit in enumerate(units))

    def _fill(self, template: str, channel: int, value: str = "") -> str:
        most = 1 if self.one_channel else self.common_switch or len(self.channel_names)
        if channel < 1 or (most and channel > most):
            allowed = {0: "1 or more", 1: "1, the only one"}.get(most, f"1 to {most}")
            raise ValueError(f"the dialect '{self.name}' was asked for channel {channel}; write {allowed}")
        name = self.channel_names[channel - 1] if self.channel_names else ""
        return template.format(channel=channel, value=value, name=name)

    def _templates(self) -> Iterator[str]:
        for setting in self.settings.values():
            yield from (setting.send, setting.ask)
        yield from (question.ask for question in self.questions.values())
        yield from self.actions.values()
        yield from (bit.register for bit in (self.regulation.bits if self.regulation else ()))
        if self.selection is not None:
            yield from (self.selection.send, self.selection.ask)
