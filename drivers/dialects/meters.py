"""The dialects of multimeters.

`CONF` once, then `READ?`: `MEAS` would reset integration and trigger at every reading. Ranges, test currents and
integration times are those most bench meters of 5½ to 6½ digits have, from memory. A scanner card is closed as a
scanner of its own is. Ripple is the exception: `MEAS` presets what alternates as a whole, its slow filter too, which
takes 1 to 7 s.
"""

from types import MappingProxyType

from drivers.dialects.dialect import Dialect, MeterTraits, OhmsRange, Step
from drivers.dialects.scanners import CLOSING
from drivers.dialects.wording import Compare, Question, Setting

__all__ = ["METER"]

METER = Dialect(
    name="meter",
    instrument="meter",
    settings=MappingProxyType(
        {
            Step.CHANNEL: CLOSING,
            Step.RANGE: Setting(
                "VOLT:DC:RANG {value}", "VOLT:DC:RANG?", unit="V", resolution=1e-6, compare=Compare.AT_LEAST
            ),
            Step.INTEGRATION: Setting("VOLT:DC:NPLC {value}", "VOLT:DC:NPLC?", compare=Compare.AS_REPORTED),
            Step.OHMS_RANGE: Setting(
                "RES:RANG {value}", "RES:RANG?", unit="OHM", resolution=1e-3, compare=Compare.AT_LEAST
            ),
            Step.OHMS_INTEGRATION: Setting("RES:NPLC {value}", "RES:NPLC?", compare=Compare.AS_REPORTED),
        }
    ),
    questions=MappingProxyType(
        {
            Step.READING: Question("READ?", "V"),
            Step.FETCH: Question("FETC?", "V"),
            Step.RIPPLE: Question("MEAS:VOLT:AC?", "V"),
        }
    ),
    actions=MappingProxyType({Step.CONFIGURE: "CONF:VOLT:DC", Step.OHMS_CONFIGURE: "CONF:RES", Step.TRIGGER: "INIT"}),
    meter=MeterTraits(
        ranges_volts=(0.1, 1.0, 10.0, 100.0, 1000.0),
        power_line_cycles=(0.02, 0.2, 1.0, 10.0, 100.0),
        ranges_ohms=(
            OhmsRange(100.0, 1e-3),
            OhmsRange(1e3, 1e-3),
            OhmsRange(10e3, 100e-6),
            OhmsRange(100e3, 10e-6),
            OhmsRange(1e6, 1e-6),
        ),
    ),
)
