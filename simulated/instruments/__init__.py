"""SCPI instruments as pure state, each wired to a port of the board and served over TCP by `simulated.server`."""

from simulated.instruments.acquisition import MeterSettings
from simulated.instruments.load import BENCH_LOAD, InputState, Load, LoadRatings
from simulated.instruments.meter import Meter
from simulated.instruments.supply import ChannelState, Quirks, Supply
from simulated.instruments.supply_channel import BENCH_SUPPLY, SupplyRatings

__all__ = [
    "BENCH_LOAD",
    "BENCH_SUPPLY",
    "ChannelState",
    "InputState",
    "Load",
    "LoadRatings",
    "Meter",
    "MeterSettings",
    "Quirks",
    "Supply",
    "SupplyRatings",
]
