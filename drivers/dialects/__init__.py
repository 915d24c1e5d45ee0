"""How families of instruments word each step, one table a family."""

from drivers.dialects.dialect import (
    Bit,
    Compare,
    Dialect,
    InstrumentKind,
    MeterTraits,
    OhmsRange,
    Question,
    Regulation,
    Setting,
    Step,
)
from drivers.dialects.registry import dialect, dialect_names

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
    "dialect",
    "dialect_names",
]
