"""The dialects of scanners that are instruments of their own, in front of any meter.

They are spoken to as scanner cards in a meter are: the relays' settling of 10 to 50 ms is common practice, no source.
"""

from types import MappingProxyType

from drivers.dialects.dialect import Dialect, Step
from drivers.dialects.wording import Setting

__all__ = ["CLOSING", "SCANNER"]

CLOSING = Setting("ROUT:CLOS:EXCL (@{channel})", "ROUT:CLOS? (@{channel})", form="switch", settle_seconds=0.02)
SCANNER = Dialect(
    name="scanner",
    instrument="scanner",
    settings=MappingProxyType({Step.CHANNEL: CLOSING}),
    questions=MappingProxyType({}),
)
