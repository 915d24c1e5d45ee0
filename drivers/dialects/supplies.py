"""The dialects of DC supplies.

Both follow the standard tree: over-voltage protection is always on and has a level, over-current protection trips when
the output has been in constant current for longer than its delay, OPERation shows CV and CC, QUEStionable the trips.
Resolutions and settling times are common practice, no source (turn-on of 12 to 38 ms is in two makers' manuals).
"""

from types import MappingProxyType

from drivers.dialects.dialect import Bit, Dialect, Question, Regulation, Setting, Step

__all__ = ["CHANNEL_LIST", "SINGLE_CHANNEL"]


def _supply(name: str, *, after_value: str, after_header: str, one_channel: bool) -> Dialect:
    """Return a supply's dialect; a channel is named behind a command's value and behind a question's header."""

    def setting(header: str, unit: str, resolution: float, settle_seconds: float = 0.0) -> Setting:
        send, ask = f"{header} {{value}}{after_value}", f"{header}?{after_header}"
        return Setting(send, ask, unit=unit, resolution=resolution, settle_seconds=settle_seconds)

    def switch(header: str, settle_seconds: float = 0.0) -> Setting:
        send, ask = f"{header} {{value}}{after_value}", f"{header}?{after_header}"
        return Setting(send, ask, form="switch", settle_seconds=settle_seconds)

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
            }
        ),
        questions=MappingProxyType(
            {
                Step.MEASURED_VOLTS: Question(f"MEAS:VOLT?{after_header}", "V"),
                Step.MEASURED_AMPS: Question(f"MEAS:CURR?{after_header}", "A"),
            }
        ),
        actions=MappingProxyType({Step.CLEAR_TRIPS: f"OUTP:PROT:CLE{after_header}"}),
        regulation=_regulation(after_header),
        one_channel=one_channel,
    )


def _regulation(after_header: str) -> Regulation:
    """Return where a supply shows what holds its output."""
    operation, questionable = f"STAT:OPER:COND?{after_header}", f"STAT:QUES:COND?{after_header}"
    return Regulation(
        constant_voltage=Bit(operation, 8),
        constant_current=Bit(operation, 10),
        trips=(
            ("over-voltage", Bit(questionable, 0)),
            ("over-current", Bit(questionable, 1)),
            ("over-temperature", Bit(questionable, 4)),
        ),
    )


CHANNEL_LIST = _supply("channel list", after_value=",(@{channel})", after_header=" (@{channel})", one_channel=False)
SINGLE_CHANNEL = _supply("single channel", after_value="", after_header="", one_channel=True)
