"""Find the dialect that a bench file names for an instrument."""

from collections.abc import Iterator

from drivers import InstrumentKind, dialect, dialect_names
from station.forms import nearest

__all__ = ["dialect_faults"]


def dialect_faults(name: str, kind: InstrumentKind, *, unprotected: bool) -> Iterator[tuple[str, str]]:
    """Yield what is wrong with a dialect's name for an instrument of this kind, and what to write."""
    fitting = [each for each in dialect_names() if dialect(each).instrument == kind]
    if name not in fitting:
        yield f"'{name}' is not a dialect of a {kind}", nearest(name, fitting)
    elif (lacking := dialect(name).lacking) and not unprotected:
        what = f"a supply that speaks '{name}' has no {' and no '.join(lacking)}"
        instead = "use one that has them, or write 'unprotected: true' beside it: only the station then ends a fault"
        yield what, instead
