"""What a simulated supply is told that speaks no SCPI: 'serial words' and 'short tokens'."""

from collections.abc import Callable

from simulated.instruments.answers import nr1
from simulated.instruments.channels import Style
from simulated.instruments.panel import Knob, Panel
from simulated.instruments.parameters import Numeric
from simulated.instruments.plain import Rule, rule
from simulated.instruments.supply_channel import Trip

__all__ = ["plain_rules"]


def plain_rules(panel: Panel, style: Style, identity: str, *, units: bool) -> list[Rule]:
    """Return the messages of a style; with `units` those follow what is measured."""
    told = rule("*IDN?", lambda _channel, _value: identity)
    return [told, *(_serial_words(panel, units) if style == "serial words" else _short_tokens(panel, units))]


def _serial_words(panel: Panel, units: bool) -> list[Rule]:
    """Return 'serial words': one relay for all outputs, no protections, a status nobody can read as a line."""
    return [
        *_level("VSET{channel}:{value}", "VSET{channel}?", panel.knob("volts"), panel.ratings.volts, 2),
        *_level("ISET{channel}:{value}", "ISET{channel}?", panel.knob("limit_amps"), panel.ratings.limit_amps, 3),
        rule("OUT{switch}", lambda _channel, on: panel.turn(1, bool(on))),
        *_shown("VOUT{channel}?", "IOUT{channel}?", panel, units),
    ]


def _short_tokens(panel: Panel, units: bool) -> list[Rule]:
    """Return 'short tokens': an over-voltage level, and a limit register a channel (CV, CC, over-voltage)."""
    over = panel.knob("protection_volts")

    def limits(channel: int, _value: float) -> str:
        output = panel.outputs[channel - 1]
        held = 0 if not output.delivers else 2 if panel.limits(channel) else 1
        return nr1(held | (Trip.OVER_VOLTAGE in output.trips) << 2)

    def reset_trips(_channel: int, _value: float) -> None:
        for channel in range(1, len(panel.outputs) + 1):
            panel.clear(channel, ~Trip.NONE)

    return [
        *_level("V{channel} {value}", "V{channel}?", panel.knob("volts"), panel.ratings.volts, 3),
        *_level("I{channel} {value}", "I{channel}?", panel.knob("limit_amps"), panel.ratings.limit_amps, 4),
        *_level("OVP{channel} {value}", "OVP{channel}?", over, panel.ratings.protection_volts, 2),
        rule("OP{channel} {switch}", lambda channel, on: panel.turn(channel, bool(on))),
        rule("OP{channel}?", lambda channel, _value: nr1(panel.is_on(channel))),
        rule("LSR{channel}?", limits),
        rule("TRIPRST", reset_trips),
        *_shown("V{channel}O?", "I{channel}O?", panel, units),
    ]


def _level(send: str, ask: str, knob: Knob, numeric: Numeric, decimals: int) -> tuple[Rule, Rule]:
    """Return a level's pair; what is out of range is ignored, as these do."""

    def put(channel: int, value: float) -> None:
        if numeric.minimum <= value <= numeric.maximum:
            knob.put(channel, round(value, decimals))

    return rule(send, put), rule(ask, lambda channel, _value: f"{knob.get(channel):.{decimals}f}")


def _shown(volts: str, amps: str, panel: Panel, units: bool) -> tuple[Rule, Rule]:
    def answer(measure: Callable[[int], float], decimals: int, unit: str) -> Callable[[int, float], str]:
        return lambda channel, _value: f"{measure(channel):.{decimals}f}{unit if units else ''}"

    return rule(volts, answer(panel.volts, 3, "V")), rule(amps, answer(panel.amps, 4, "A"))
