"""Find a dialect by the name a bench file writes."""

import difflib

from drivers.dialects.dialect import Dialect
from drivers.dialects.loads import LOADS
from drivers.dialects.meters import METER
from drivers.dialects.plain_supplies import PLAIN_SUPPLIES
from drivers.dialects.scanners import SCANNER
from drivers.dialects.supplies import STANDARD_SUPPLIES
from drivers.errors import UnknownDialect, Where

__all__ = ["dialect", "dialect_names"]

_KNOWN = (*STANDARD_SUPPLIES, *PLAIN_SUPPLIES, *LOADS, METER, SCANNER)
_BY_NAME = {known.name: known for known in _KNOWN}
if len(_BY_NAME) != len(_KNOWN):
    raise ValueError("two dialects have the same name; rename one")


def dialect_names() -> tuple[str, ...]:
    """Return the names of the dialects that ship, as a bench file writes them."""
    return tuple(_BY_NAME)


def dialect(name: str) -> Dialect:
    """Return the dialect of that name; raises UnknownDialect with the nearest name."""
    if name in _BY_NAME:
        return _BY_NAME[name]
    near = difflib.get_close_matches(name.strip().lower(), _BY_NAME, n=1, cutoff=0.5)
    names = ", ".join(f"'{known}'" for known in _BY_NAME)
    remedy = f"write '{near[0]}'" if near else f"write one of {names}"
    raise UnknownDialect(Where("", ""), f"'{name}' is not a dialect", remedy)
