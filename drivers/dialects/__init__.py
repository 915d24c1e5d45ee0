"""How families of instruments word each step, one table a family."""

from drivers.dialects.dialect import Dialect, InstrumentKind, MeterTraits, OhmsRange, Step
from drivers.dialects.registry import dialect, dialect_names
from drivers.dialects.wording import Bit, Closeness, Compare, Question, Regulation, Selection, Setting, Value

__all__ = [
    "Bit",
    "Closeness",
    "Compare",
    "Dialect",
    "InstrumentKind",
    "MeterTraits",
    "OhmsRange",
    "Question",
    "Regulation",
    "Selection",
    "Setting",
    "Step",
    "Value",
    "dialect",
    "dialect_names",
]
