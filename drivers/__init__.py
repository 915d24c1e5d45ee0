"""Talk SCPI to supplies, meters and loads over VISA.

This room knows SCPI, not limits, and imports neither station nor simulated.
"""

from drivers.accuracy import AccuracyRow, AccuracyTable, bound, row_for
from drivers.dialects import Dialect, InstrumentKind, OhmsRange, dialect, dialect_names
from drivers.errors import (
    BadReply,
    DriverError,
    InstrumentError,
    LinkError,
    LinkLost,
    NoReply,
    NotPrepared,
    OutOfStep,
    Overloaded,
    QueuedError,
    SettingMismatch,
    UnknownDialect,
    Where,
)
from drivers.links import Links, listed_resources, open_links
from drivers.load import Load
from drivers.meter import Meter, MeterReading, OhmsReading, RippleReading, fitting_range, range_of_current
from drivers.scanner import Scanner
from drivers.scpi import Identity
from drivers.session import Session
from drivers.supply import Found, Measured, Mode, Supply
from drivers.wire import Wire

__all__ = [
    "AccuracyRow",
    "AccuracyTable",
    "BadReply",
    "Dialect",
    "DriverError",
    "Found",
    "Identity",
    "InstrumentError",
    "InstrumentKind",
    "LinkError",
    "LinkLost",
    "Links",
    "Load",
    "Measured",
    "Meter",
    "MeterReading",
    "Mode",
    "NoReply",
    "NotPrepared",
    "OhmsRange",
    "OhmsReading",
    "OutOfStep",
    "Overloaded",
    "QueuedError",
    "RippleReading",
    "Scanner",
    "Session",
    "SettingMismatch",
    "Supply",
    "UnknownDialect",
    "Where",
    "Wire",
    "bound",
    "dialect",
    "dialect_names",
    "fitting_range",
    "listed_resources",
    "open_links",
    "range_of_current",
    "row_for",
]
