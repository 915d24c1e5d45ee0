"""Draw a limit as a bar with a reading's mark on it, and a number in digits that can be read from across a bench.

Everything is plain text, so that it looks the same on any terminal and in grey.
"""

from dataclasses import dataclass

from station.quantities import Limit

__all__ = ["WIDTH", "big", "gauge", "strip", "zoomed"]

WIDTH = 15  # cells of a gauge in a line of text
MARK, DOUBT, INSIDE, OUTSIDE, LOW, HIGH, LESS, MORE = "●━─·├┤◄►"
STEPS = "▁▂▃▄▅▆▇█"

# Three rows a digit, from the pieces that boxes are drawn with.
_DIGITS = {
    "0": ("┏━┓", "┃ ┃", "┗━┛"),
    "1": ("  ╻", "  ┃", "  ╹"),
    "2": ("╺━┓", "┏━┛", "┗━╸"),
    "3": ("╺━┓", " ━┫", "╺━┛"),
    "4": ("╻ ╻", "┗━┫", "  ╹"),
    "5": ("┏━╸", "┗━┓", "╺━┛"),
    "6": ("┏━╸", "┣━┓", "┗━┛"),
    "7": ("╺━┓", "  ┃", "  ╹"),
    "8": ("┏━┓", "┣━┫", "┗━┛"),
    "9": ("┏━┓", "┗━┫", "╺━┛"),
    ".": (" ", " ", "▪"),
    "-": ("  ", "╺╸", "  "),
}
_DIGITS["−"] = _DIGITS["-"]


@dataclass(frozen=True)
class _Scale:
    """Cells from `low` to `high`, in the unit of what is shown."""

    low: float
    high: float
    width: int

    def cell(self, value: float) -> int:
        """Return the cell of a value; -1 or `width` where it lies off the scale."""
        if value < self.low or value > self.high:
            return -1 if value < self.low else self.width
        return min(int((value - self.low) / (self.high - self.low) * self.width), self.width - 1)


def gauge(limit: Limit, value: float, expanded: float, width: int = WIDTH) -> str:
    """Return the limit as a bar with a mark where the value is, its expanded uncertainty as a stroke on both sides.

    An arrow at an end says that the value is farther out than the bar goes.
    """
    return _drawn(limit, value, expanded, _scale(limit, value, width))


def zoomed(limit: Limit, value: float, width: int) -> str:
    """Return a bar around a two-sided limit that is wide enough to have the value on it."""
    assert limit.low is not None and limit.high is not None
    low, high = float(limit.low), float(limit.high)
    centre, half = (low + high) / 2.0, (high - low) / 2.0
    reach = max(1.7 * half, 1.1 * abs(value - centre))
    return _drawn(limit, value, 0.0, _Scale(centre - reach, centre + reach, width))


def _scale(limit: Limit, value: float, width: int) -> _Scale:
    """Return a scale with some room beyond each side of the limit; an open side goes to zero, or to the value."""
    if limit.low is not None and limit.high is not None:
        low, high = float(limit.low), float(limit.high)
        room = (high - low) / 5.0 or abs(high) or 1.0
        return _Scale(low - room, high + room, width)
    edge = float(limit.high if limit.low is None else limit.low)  # type: ignore[arg-type]  # one of them is there
    far = 1.2 * edge if (limit.low is None) == (edge > 0.0) else 0.0
    near = 0.0 if far else 2.0 * edge
    ends = sorted((far, near)) if edge else [-1.0, 1.0]
    return _Scale(min(ends[0], value) if limit.low is None else ends[0], ends[1], width)


def _drawn(limit: Limit, value: float, expanded: float, scale: _Scale) -> str:
    low = -1 if limit.low is None else scale.cell(float(limit.low))
    high = scale.width if limit.high is None else scale.cell(float(limit.high))
    cells = [INSIDE if low <= cell <= high else OUTSIDE for cell in range(scale.width)]
    first, last = scale.cell(value - expanded), scale.cell(value + expanded)
    for cell in range(max(first, 0), min(last, scale.width - 1) + 1):
        cells[cell] = DOUBT
    for cell, mark in ((low, LOW), (high, HIGH)):
        if 0 <= cell < scale.width:
            cells[cell] = mark
    at = scale.cell(value)
    cells[min(max(at, 0), scale.width - 1)] = LESS if at < 0 else MORE if at >= scale.width else MARK
    return "".join(cells)


def big(number: str) -> list[str]:
    """Return the three rows of a number in large digits; characters that have none stay out."""
    glyphs = [_DIGITS[each] for each in number if each in _DIGITS]
    return [" ".join(glyph[row] for glyph in glyphs) for row in range(3)]


def strip(values: list[float], width: int) -> str:
    """Return the course of some values as a strip of small columns, lowest to highest; the newest are kept."""
    shown = values[-width:]
    low, span = min(shown), max(shown) - min(shown)
    top = len(STEPS) - 1
    return "".join(STEPS[round((value - low) / span * top) if span else 0] for value in shown)
