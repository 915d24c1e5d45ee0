"""The typed forms of a dialect file: what can be said of an instrument's messages, and in which form."""

import re
from collections.abc import Mapping
from typing import Annotated, Literal

from pydantic import AfterValidator, BeforeValidator, Field

from drivers import InstrumentKind
from drivers.dialects import Bit, Step
from station.forms import Form, SecondsValue

__all__ = ["ENDS", "FOR_ALL", "MEASURED", "SETTINGS", "BitForm", "DialectForm", "QuestionForm", "SelectForm"]
__all__ += ["SettingForm", "StatusForm", "TalkForm"]

# What can be set, by the name it has in a file: its form on the wire, and its unit.
SETTINGS: Mapping[InstrumentKind, Mapping[Step, tuple[Literal["number", "switch", "word"], str]]] = {
    "supply": {
        Step.OUTPUT: ("switch", ""),
        Step.VOLTAGE: ("number", "V"),
        Step.CURRENT_LIMIT: ("number", "A"),
        Step.OVER_VOLTAGE: ("number", "V"),
        Step.OVER_VOLTAGE_ON: ("switch", ""),
        Step.OVER_CURRENT: ("switch", ""),
        Step.OVER_CURRENT_DELAY: ("number", "s"),
        Step.WATCHDOG: ("switch", ""),
        Step.WATCHDOG_DELAY: ("number", "s"),
    },
    "load": {Step.INPUT: ("switch", ""), Step.FUNCTION: ("word", ""), Step.CURRENT: ("number", "A")},
}
MEASURED = {"volts": (Step.MEASURED_VOLTS, "V"), "amps": (Step.MEASURED_AMPS, "A"), "reading": (Step.READING, "V")}
# One for the whole instrument, whichever channel is meant.
FOR_ALL = (Step.WATCHDOG, Step.WATCHDOG_DELAY, Step.CLEAR_TRIPS)
ENDS = {"LF": "\n", "CR LF": "\r\n", "CR": "\r"}


def _template(text: str) -> str:
    if not (text.isascii() and text.isprintable()):
        raise ValueError(f"'{text}' is not one line of plain letters; write it without accents and line ends")
    left = re.sub(r"\{(?:value|channel|name)\}", "", text)
    if re.search(r"[{}]", left):
        raise ValueError(f"'{text}' has a place that is not known; write {{value}}, {{channel}} or {{name}}")
    return text


def _sent(text: str) -> str:
    if "{value}" not in text:
        raise ValueError(f"'{text}' has no place for what is set; write {{value}} where it belongs")
    return text


def _asked(text: str) -> str:
    if "{value}" in text:
        raise ValueError(f"'{text}' asks for something, and nothing is set; take {{value}} out")
    return text


def _word(text: object) -> str:
    word = str(text)
    if not isinstance(text, (str, int)) or not re.fullmatch(r"[A-Za-z0-9_]{1,12}", word):
        raise ValueError(f"'{text}' is not one word; write up to 12 letters, digits and _")
    return word


Template = Annotated[str, AfterValidator(_template), Field(max_length=60)]
Sent = Annotated[Template, AfterValidator(_sent)]
Asked = Annotated[Template, AfterValidator(_asked)]
Word = Annotated[str, BeforeValidator(_word)]


class SettingForm(Form):
    """How something is set and read back; `on` and `off` are what a switch is sent as."""

    send: Sent | None = None
    ask: Asked | None = None
    resolution: str | None = None
    settles_in: SecondsValue | None = Field(None, ge=0.0, le=60.0)
    decimals: int | None = Field(None, ge=0, le=9)
    on: Word | None = None
    off: Word | None = None


class QuestionForm(Form):
    """How a measured value is asked for; `place` is which of several values in the reply it is, from 1."""

    ask: Asked
    place: int = Field(0, ge=0, le=9)


class BitForm(Form):
    """One bit of a register, from 0; `stride` is how much further each further channel's is."""

    register_: Asked
    bit: int = Field(ge=0, le=31)
    stride: int = Field(0, ge=0, le=16)
    when_clear: bool = False

    def made(self) -> Bit:
        """Return it as the drivers have it."""
        return Bit(self.register_, self.bit, self.stride, self.when_clear)


class StatusForm(Form):
    """Where a supply shows what holds its output, and what has tripped; without CV and CC it is measured."""

    constant_voltage: BitForm | None = None
    constant_current: BitForm | None = None
    trips: dict[str, BitForm] = Field(default_factory=dict)


class SelectForm(Form):
    """How the channel is selected that messages act on; `answers` is how its names are answered otherwise."""

    send: Template
    ask: Asked
    answers: list[Word] = Field(default_factory=list)


class TalkForm(Form):
    """How the instrument wants to be talked to, whatever is said."""

    gap: SecondsValue | None = Field(None, ge=0.0, le=10.0)
    before_reply: SecondsValue | None = Field(None, ge=0.0, le=10.0)
    first_reply: SecondsValue | None = Field(None, ge=0.0, le=10.0)
    errors: Asked | None = None  # the question that empties the error queue; "" where there is none
    remote: Asked | None = None
    local: Asked | None = None
    acknowledges: Asked | None = None
    ends: Literal["LF", "CR LF", "CR"] | None = None
    identity: Literal["four fields", "text"] | None = None


class DialectForm(Form):
    """The keys at the top of a dialect file."""

    dialect: str = Field(min_length=1)
    for_: InstrumentKind
    like: str | None = None
    channels: Literal["one", "several"] | None = None
    channel_names: list[Word] | None = None
    common_switch: int | None = Field(None, ge=0, le=16)
    select: SelectForm | None = None
    settings: dict[str, SettingForm] = Field(default_factory=dict)
    measured: dict[Literal["volts", "amps", "reading"], QuestionForm] = Field(default_factory=dict)
    clear_trips: Asked | None = None
    status: StatusForm | None = None
    joins: bool | None = None
    operation_complete: bool | None = None
    talk: TalkForm = Field(default_factory=TalkForm)
