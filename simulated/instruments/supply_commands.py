"""What a simulated supply is told on the standard tree, and with channel prefixes."""

from simulated.instruments.answers import joined, nr1
from simulated.instruments.binding import HeaderSuffix, Selected
from simulated.instruments.channels import Channels, Style, event, named_channels, reading, setting, switch
from simulated.instruments.errors import ScpiError
from simulated.instruments.panel import Panel
from simulated.instruments.parameters import Boolean, Choice, Integer, Numeric
from simulated.instruments.supply_channel import Trip
from simulated.instruments.tree import Command, command

__all__ = ["prefix_commands", "standard_commands"]

_LEVEL = "[:LEVel][:IMMediate][:AMPLitude]"
_WATCHDOG_SECONDS = Numeric(1.0, 3600.0, 60.0, 1.0, "S")
_ONE_REGISTER_A_CHANNEL = ("selected by name", "selected by name on one switch", "channel suffix")


def standard_commands(panel: Panel, style: Style, channels: Channels) -> list[Command]:
    """Return the standard tree; with it how channels are selected, in the styles that do."""
    delay, level = panel.knob("protection_seconds"), panel.knob("protection_volts")
    count = len(panel.outputs)
    return [
        *_levels(f"[SOURce]:VOLTage{_LEVEL}", f"[SOURce]:CURRent{_LEVEL}", panel, channels),
        *setting(
            "[SOURce]:VOLTage:PROTection[:LEVel]",
            panel.ratings.protection_volts,
            channels,
            put=level.put,
            get=level.get,
        ),
        *setting("OUTPut:PROTection:DELay", panel.ratings.protection_seconds, channels, put=delay.put, get=delay.get),
        *_trips_on_limit("[SOURce]:CURRent:PROTection:STATe", panel, channels),
        event("OUTPut:PROTection:CLEar", channels, lambda channel: panel.clear(channel, ~Trip.NONE)),
        *_one_protection("VOLTage", Trip.OVER_VOLTAGE, panel, channels),
        *_one_protection("CURRent", Trip.OVER_CURRENT, panel, channels),
        *switch("OUTPut[:STATe]", channels, put=panel.turn, get=panel.is_on),
        *_measured("[:SCALar]", panel, channels),
        *(_selection(style, channels.parameter, count) if isinstance(channels.parameter, Selected) else ()),
        *(_register_a_channel(panel) if style in _ONE_REGISTER_A_CHANNEL else ()),
        *(_always_protected("[SOURce]:VOLTage:PROTection:STATe", channels) if style == "single channel" else ()),
        *_watchdog(panel),
    ]


def prefix_commands(panel: Panel, channels: Channels) -> list[Command]:
    """Return the commands of 'channel prefix': one status word for all, and switching off clears a trip."""
    named = named_channels(len(panel.outputs), units=channels.units)
    level = panel.knob("protection_volts")

    def turn(channel: int, on: bool) -> None:
        panel.turn(channel, on)
        if not on:
            panel.clear(channel, ~Trip.NONE)

    def status() -> str:
        word = 0
        for at, output in enumerate(panel.outputs):
            tripped = (Trip.OVER_VOLTAGE in output.trips) << 8 | (Trip.OVER_CURRENT in output.trips) << 12
            word |= (panel.limits(at + 1) | tripped) << at
        return f"0x{word:04X}"

    return [
        *_levels("CH:VOLTage", "CH:CURRent", panel, channels),
        *setting("OVP[:LEVel]", panel.ratings.protection_volts, named, put=level.put, get=level.get),
        *_always_protected("OVP:STATe", named),
        *_trips_on_limit("OCP:STATe", panel, named),
        *switch("OUTPut[:STATe]", named, put=turn, get=panel.is_on),
        *_measured("", panel, named),
        command("SYSTem:STATus?", status),
    ]


def _levels(volts: str, amps: str, panel: Panel, channels: Channels) -> list[Command]:
    voltage, limit = panel.knob("volts"), panel.knob("limit_amps")
    return [
        *setting(volts, panel.ratings.volts, channels, put=voltage.put, get=voltage.get),
        *setting(amps, panel.ratings.limit_amps, channels, put=limit.put, get=limit.get),
    ]


def _trips_on_limit(pattern: str, panel: Panel, channels: Channels) -> tuple[Command, ...]:
    knob = panel.knob("trips_on_limit")
    return switch(pattern, channels, put=knob.put, get=knob.get)


def _always_protected(pattern: str, channels: Channels) -> tuple[Command, ...]:
    """Return a switch for what cannot be off: scripts for such supplies switch it on all the same."""

    def put(_channel: int, on: bool) -> None:
        if not on:
            raise ScpiError(-224, "over-voltage protection is always on")

    return switch(pattern, channels, put=put, get=lambda _channel: True)


def _one_protection(quantity: str, trip: Trip, panel: Panel, channels: Channels) -> list[Command]:
    header = channels.pattern(f"[SOURce]:{quantity}:PROTection")

    def tripped(which: tuple[int, ...]) -> str:
        return joined(nr1(trip in panel.outputs[channel - 1].trips) for channel in which)

    return [
        command(f"{header}:TRIPped?", tripped, channels.parameter),
        event(f"[SOURce]:{quantity}:PROTection:CLEar", channels, lambda channel: panel.clear(channel, trip)),
    ]


def _measured(default: str, panel: Panel, channels: Channels) -> list[Command]:
    """Return the measuring queries; some supplies answer both values to either."""
    volts, amps = (f"MEASure{default}:{quantity}[:DC]?" for quantity in ("VOLTage", "CURRent"))
    if not panel.shows_both:
        return [reading(volts, "V", channels, panel.volts), reading(amps, "A", channels, panel.amps)]

    def both(which: tuple[int, ...]) -> str:
        return joined(panel.both(channel) for channel in which)

    headers = (channels.pattern(pattern.removesuffix("?")) + "?" for pattern in (volts, amps))
    return [command(header, both, channels.parameter) for header in headers]


def _selection(style: Style, selected: Selected, count: int) -> list[Command]:
    """Return how a channel is selected: by its number, or by a name that is answered in another spelling."""

    def select(channel: int) -> None:
        selected.channel = channel

    if style == "selected by number":
        return [
            command("INSTrument:NSELect", select, Integer(1, count)),
            command("INSTrument:NSELect?", lambda: nr1(selected.channel)),
        ]
    names = tuple(f"OUT{number}" for number in range(1, count + 1))
    return [
        command("INSTrument[:SELect]", lambda name: select(names.index(name) + 1), Choice(names)),
        command("INSTrument[:SELect]?", lambda: f"OUTP{selected.channel}"),
    ]


def _register_a_channel(panel: Panel) -> list[Command]:
    """Return the condition of each channel as simple bench supplies have it: bit 0 is CC, bit 1 CV."""

    def condition(which: tuple[int, ...]) -> str:
        output = panel.outputs[which[0] - 1]
        held = 0 if not output.delivers else 1 if panel.limits(which[0]) else 2
        tripped = sum(bit for trip, bit in _BENCH_BITS.items() if trip in output.trips)
        return nr1(held | tripped)

    pattern = f"STATus:QUEStionable:INSTrument:ISUMmary<1:{len(panel.outputs)}>:CONDition?"
    return [command(pattern, condition, HeaderSuffix())]


_BENCH_BITS = {Trip.OVER_VOLTAGE: 1 << 9, Trip.OVER_CURRENT: 1 << 10, Trip.WATCHDOG: 1 << 11}


def _watchdog(panel: Panel) -> list[Command]:
    watchdog = panel.watchdog
    if watchdog is None:
        return []
    return [
        command("OUTPut:PROTection:WDOG[:STATe]", watchdog.arm, Boolean()),
        command("OUTPut:PROTection:WDOG[:STATe]?", lambda: nr1(watchdog.armed)),
        command("OUTPut:PROTection:WDOG:DELay", watchdog.set_delay, _WATCHDOG_SECONDS),
        command("OUTPut:PROTection:WDOG:DELay?", lambda: nr1(int(watchdog.delay_seconds))),
    ]
