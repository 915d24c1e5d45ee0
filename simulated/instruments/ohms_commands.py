"""The SCPI commands of a simulated meter's ohms: two-wire only, `RES`."""

from dataclasses import replace

from simulated.instruments.acquisition import Acquisition
from simulated.instruments.answers import joined, nr1, nr3
from simulated.instruments.converter import EFFORTS, effort_for, effort_of_share
from simulated.instruments.errors import ScpiError
from simulated.instruments.ohms import OHMS_RANGES, OhmsSettings, ohms_range_for
from simulated.instruments.parameters import Boolean, Limit, Numeric, OrDefault, WhenGiven
from simulated.instruments.tree import Command, command

__all__ = ["ohms_commands"]

_RANGE = Numeric(0.0, OHMS_RANGES[-1].ohms, None, 1e-3, "OHM")
_RESOLUTION = Numeric(1e-6, OHMS_RANGES[-1].ohms, None, 1e-6, "OHM")
_CYCLES = Numeric(min(EFFORTS), max(EFFORTS), 10.0, 0.01)


def ohms_commands(acquisition: Acquisition) -> list[Command]:
    """Return the commands that choose resistance and set its range and integration."""
    return [*_settings(acquisition), *_configuring(acquisition)]


def _settings(acquisition: Acquisition) -> list[Command]:
    def put(ohms: OhmsSettings) -> None:
        acquisition.change(acquisition.settings, ohms)

    def fix_range(ohms: float) -> None:
        put(replace(acquisition.ohms, autorange=False, range_number=ohms_range_for(ohms)))

    def ask_range(limit: float | None) -> str:
        at = acquisition.ohms.range_number if limit is None else ohms_range_for(limit)
        return nr3(OHMS_RANGES[at].ohms)

    def set_autorange(on: bool) -> None:
        put(replace(acquisition.ohms, autorange=on))

    def set_cycles(cycles: float) -> None:
        put(replace(acquisition.ohms, cycles=effort_for(cycles)))

    def ask_cycles(limit: float | None) -> str:
        return nr3(acquisition.ohms.cycles if limit is None else limit)

    header = "[SENSe]:RESistance"
    return [
        command(f"{header}:RANGe[:UPPer]", fix_range, _RANGE),
        command(f"{header}:RANGe[:UPPer]?", ask_range, WhenGiven(Limit(_RANGE))),
        command(f"{header}:RANGe:AUTO", set_autorange, Boolean()),
        command(f"{header}:RANGe:AUTO?", lambda: nr1(acquisition.ohms.autorange)),
        command(f"{header}:NPLCycles", set_cycles, _CYCLES),
        command(f"{header}:NPLCycles?", ask_cycles, WhenGiven(Limit(_CYCLES))),
    ]


def _configuring(acquisition: Acquisition) -> list[Command]:
    expected, resolution = WhenGiven(OrDefault(_RANGE)), WhenGiven(OrDefault(_RESOLUTION))

    def configure(ohms: float | None, resolution_ohms: float | None) -> None:
        preset = OhmsSettings(range_number=acquisition.ohms.range_number)
        if ohms is not None:
            preset = replace(preset, autorange=False, range_number=ohms_range_for(ohms))
        if resolution_ohms is not None:
            if ohms is None:
                raise ScpiError(-221, "a resolution needs a fixed range")
            preset = replace(preset, cycles=effort_of_share(resolution_ohms / preset.range.ohms))
        acquisition.configure_ohms(preset)

    def measure(ohms: float | None, resolution_ohms: float | None) -> str:
        configure(ohms, resolution_ohms)
        return joined(nr3(reading) for reading in acquisition.read())

    return [
        command("CONFigure:RESistance", configure, expected, resolution),
        command("MEASure:RESistance?", measure, expected, resolution),
    ]
