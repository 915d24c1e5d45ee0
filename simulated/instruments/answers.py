"""Write values as SCPI answers them: exact in form, whatever form they were sent in (IEEE 488.2 chapter 8)."""

from collections.abc import Iterable

__all__ = ["OVERLOAD", "joined", "nr1", "nr3", "quoted"]

OVERLOAD = 9.9e37
"""What a reading beyond the range is answered as, with the sign of the input (SCPI-1999 Vol. 1, 7.2.1.4)."""


def nr1(value: int | bool) -> str:
    """Return an integer; a Boolean as 1 or 0, never a word."""
    return str(int(value))


def nr3(value: float) -> str:
    """Return a number in exponent form with nine digits."""
    return f"{value + 0.0:+.8E}"  # adding zero turns -0.0 into 0.0


def quoted(text: str) -> str:
    """Return a string in double quotes."""
    return '"' + text.replace('"', '""') + '"'


def joined(values: Iterable[str]) -> str:
    """Return several values of one answer."""
    return ",".join(values)
