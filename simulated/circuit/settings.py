"""Turn what the bench is set to into rows of numbers, one row per board."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from .ends import Ends, SupplySetting
from .errors import CircuitError
from .point import end_column

__all__ = ["Settings", "board_count", "read_settings"]

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
Value = float | Floats


@dataclass(frozen=True)
class Settings:
    """Supplies' volts, limits and whether they are on, and loads' amps; (1, n) or (boards, n)."""

    volts: Floats
    limits: Floats
    on: Bools
    amps: Floats

    def lengths(self) -> tuple[int, ...]:
        """Return the number of boards each row is for, one standing for any."""
        return tuple(rows.shape[0] for rows in (self.volts, self.limits, self.on, self.amps))


def read_settings(ends: Ends, supplies: Mapping[str, SupplySetting], loads: Mapping[str, Value]) -> Settings:
    """Return the settings of all ends; CircuitError for an unknown end or a number that makes no sense."""
    for name in supplies:
        end_column(name, ends.supplies, "supply")
    for name in loads:
        end_column(name, ends.loads, "load")
    off = SupplySetting(volts=0.0, limit_amps=0.0, on=False)
    given = [supplies.get(end.name, off) for end in ends.supplies]
    settings = Settings(
        volts=_rows([setting.volts for setting in given]),
        limits=_rows([setting.limit_amps for setting in given]),
        on=_rows([np.asarray(setting.on, dtype=np.float64) for setting in given]) != 0.0,
        amps=_rows([loads.get(end.name, 0.0) for end in ends.loads]),
    )
    if not np.isfinite(settings.volts).all() or not (settings.limits >= 0.0).all():
        raise CircuitError("a supply's volts are not finite or its limit is below zero; give volts and amps >= 0")
    if not ((settings.amps >= 0.0) & np.isfinite(settings.amps)).all():
        raise CircuitError("a load's current is not finite or below zero; give amps of zero or more")
    return settings


def _rows(values: Sequence[Value]) -> Floats:
    columns = [np.atleast_1d(np.asarray(value, dtype=np.float64)) for value in values]
    if not columns:
        return np.zeros((1, 0))
    board_count([column.size for column in columns])
    return np.stack(np.broadcast_arrays(*columns), axis=1)


def board_count(lengths: Sequence[int]) -> int:
    """Return the number of boards that settings of these lengths are for; one goes with any."""
    several = sorted({length for length in lengths if length != 1})
    if len(several) > 1:
        raise CircuitError(f"settings hold {several} boards; give one value, or as many as there are boards")
    return several[0] if several else 1
