"""The dialects of DC supplies on the standard tree; they differ in how a channel is named.

Over-voltage protection has a level, over-current protection trips when the output has been in constant current for
longer than its delay. System supplies show CV and CC in OPERation and trips in QUEStionable; simple bench supplies
show all of it in QUEStionable, crossed (bit 0 is CC, bit 1 CV), one register a channel. The watchdog's own place in
QUEStionable (bit 11) is from memory. Resolutions and settling times are common practice, no source (turn-on of 12 to
38 ms is in two makers' manuals).
"""

from collections.abc import Callable
from dataclasses import dataclass, replace
from types import MappingProxyType

from drivers.dialects.dialect import Dialect, Step
from drivers.dialects.wording import Bit, Question, Regulation, Selection, Setting

__all__ = ["STANDARD_SUPPLIES"]

Placed = Callable[[str], str]


@dataclass(frozen=True)
class _Place:
    """Where a message names its channel: in front of the header, behind a value, behind a question's header."""

    before: Placed = str
    after_value: str = ""
    after_header: str = ""

    def send(self, header: str) -> str:
        return f"{self.before(header)} {{value}}{self.after_value}"

    def ask(self, header: str) -> str:
        return f"{self.before(header)}?{self.after_header}"


def _standard(name: str, place: _Place, regulation: Regulation) -> Dialect:
    """Return a supply's dialect whose channels are named at `place`."""

    def setting(header: str, unit: str, resolution: float, settle_seconds: float = 0.0) -> Setting:
        return Setting(
            place.send(header), place.ask(header), unit=unit, resolution=resolution, settle_seconds=settle_seconds
        )

    def switch(header: str, settle_seconds: float = 0.0) -> Setting:
        return Setting(place.send(header), place.ask(header), form="switch", settle_seconds=settle_seconds)

    return Dialect(
        name=name,
        instrument="supply",
        settings=MappingProxyType(
            {
                Step.OUTPUT: switch("OUTP", settle_seconds=0.05),
                Step.VOLTAGE: setting("VOLT", "V", 1e-3, settle_seconds=0.02),
                Step.CURRENT_LIMIT: setting("CURR", "A", 1e-3),
                Step.OVER_VOLTAGE: setting("VOLT:PROT", "V", 10e-3),
                Step.OVER_CURRENT: switch("CURR:PROT:STAT"),
                Step.OVER_CURRENT_DELAY: setting("OUTP:PROT:DEL", "s", 1e-3),
                # One for the whole supply, whichever channel is meant.
                Step.WATCHDOG_DELAY: Setting(
                    "OUTP:PROT:WDOG:DEL {value}", "OUTP:PROT:WDOG:DEL?", unit="s", resolution=1.0
                ),
                Step.WATCHDOG: Setting("OUTP:PROT:WDOG {value}", "OUTP:PROT:WDOG?", form="switch"),
            }
        ),
        questions=MappingProxyType(
            {
                Step.MEASURED_VOLTS: Question(place.ask("MEAS:VOLT"), "V"),
                Step.MEASURED_AMPS: Question(place.ask("MEAS:CURR"), "A"),
            }
        ),
        actions=MappingProxyType({Step.CLEAR_TRIPS: f"{place.before('OUTP:PROT:CLE')}{place.after_header}"}),
        regulation=regulation,
    )


def _as_system_supplies(after_header: str) -> Regulation:
    operation, questionable = f"STAT:OPER:COND?{after_header}", f"STAT:QUES:COND?{after_header}"
    return Regulation(
        constant_voltage=Bit(operation, 8),
        constant_current=Bit(operation, 10),
        trips=(
            ("over-voltage", Bit(questionable, 0)),
            ("over-current", Bit(questionable, 1)),
            ("over-temperature", Bit(questionable, 4)),
            ("watchdog", Bit(questionable, 11)),
        ),
    )


def _as_bench_supplies() -> Regulation:
    register = "STAT:QUES:INST:ISUM{channel}:COND?"
    return Regulation(
        constant_voltage=Bit(register, 1),
        constant_current=Bit(register, 0),
        trips=(
            ("over-voltage", Bit(register, 9)),
            ("over-current", Bit(register, 10)),
            ("over-temperature", Bit(register, 4)),
            ("watchdog", Bit(register, 11)),
        ),
    )


def _suffixed(header: str) -> str:
    """Return a header with the channel behind its first word: VOLT belongs to SOURce."""
    first, *rest = (f"SOUR:{header}" if header.startswith(("VOLT", "CURR")) else header).split(":")
    return ":".join((f"{first}{{channel}}", *rest))


_CHANNEL_LIST = _standard(
    "channel list",
    _Place(after_value=",(@{channel})", after_header=" (@{channel})"),
    _as_system_supplies(" (@{channel})"),
)
_SINGLE = replace(_standard("single channel", _Place(), _as_system_supplies("")), one_channel=True)
_BY_NUMBER = replace(
    _SINGLE, name="selected by number", one_channel=False, selection=Selection("INST:NSEL {channel}", "INST:NSEL?")
)
# Some answer OUTP1 where OUT1 was sent.
_BY_NAME = replace(
    _standard("selected by name", _Place(), _as_bench_supplies()),
    selection=Selection("INST {name}", "INST?", replies=("OUTP1", "OUTP2", "OUTP3", "OUTP4")),
    channel_names=("OUT1", "OUT2", "OUT3", "OUT4"),
)
# The triple supply of old: one relay for all outputs.
_COMMON_SWITCH = replace(
    _BY_NAME, name="selected by name on one switch", channel_names=("OUT1", "OUT2"), common_switch=2
)
_SUFFIX = _standard("channel suffix", _Place(before=_suffixed), _as_bench_supplies())

STANDARD_SUPPLIES = (_CHANNEL_LIST, _SINGLE, _BY_NUMBER, _BY_NAME, _COMMON_SWITCH, _SUFFIX)
