"""The dialects of DC supplies beside the standard tree: channel prefixes, and the words of a plain serial supply.

Command forms are those met in the trade; the layout of the prefix family's status word, resolutions and waiting times
are common practice, no source: a file of one's own says it otherwise.
"""

from types import MappingProxyType

from drivers.dialects.dialect import Dialect, Step
from drivers.dialects.wording import Bit, Question, Regulation, Setting
from drivers.link import Manners

__all__ = ["PLAIN_SUPPLIES"]

_STATUS = "SYST:STAT?"
_ON_OFF = Setting("OUTP CH{channel},{value}", "OUTP? CH{channel}", form="switch", settle_seconds=0.05)

# On and off are answered as words, status as a hexadecimal word for all channels; there is no message that clears a
# trip: switching off does. The delay of its over-current protection can't be set: with a short one, what a board draws
# to charge its capacitors may trip it.
_CHANNEL_PREFIX = Dialect(
    name="channel prefix",
    instrument="supply",
    settings=MappingProxyType(
        {
            Step.OUTPUT: _ON_OFF,
            Step.VOLTAGE: Setting(
                "CH{channel}:VOLT {value}", "CH{channel}:VOLT?", unit="V", resolution=1e-3, settle_seconds=0.02
            ),
            Step.CURRENT_LIMIT: Setting("CH{channel}:CURR {value}", "CH{channel}:CURR?", unit="A", resolution=1e-3),
            Step.OVER_VOLTAGE: Setting("OVP CH{channel},{value}", "OVP? CH{channel}", unit="V", resolution=10e-3),
            Step.OVER_VOLTAGE_ON: Setting("OVP:STAT CH{channel},{value}", "OVP:STAT? CH{channel}", form="switch"),
            Step.OVER_CURRENT: Setting("OCP:STAT CH{channel},{value}", "OCP:STAT? CH{channel}", form="switch"),
        }
    ),
    questions=MappingProxyType(
        {
            Step.MEASURED_VOLTS: Question("MEAS:VOLT? CH{channel}", "V"),
            Step.MEASURED_AMPS: Question("MEAS:CURR? CH{channel}", "A"),
        }
    ),
    regulation=Regulation(
        constant_voltage=Bit(_STATUS, 0, stride=1, when_clear=True),
        constant_current=Bit(_STATUS, 0, stride=1),
        trips=(
            ("over-voltage", Bit(_STATUS, 8, stride=1)),
            ("over-current", Bit(_STATUS, 12, stride=1)),
        ),
    ),
    joins_units=False,
    has_operation_complete=False,
)

# No protection that could be set, no error queue, no status that could be read as a line, one relay for both outputs
# that can't be asked for: what it measures has to tell.
_SERIAL_WORDS = Dialect(
    name="serial words",
    instrument="supply",
    settings=MappingProxyType(
        {
            Step.OUTPUT: Setting("OUT{value}", "", form="switch", words=("1", "0"), settle_seconds=0.1),
            Step.VOLTAGE: Setting(
                "VSET{channel}:{value}", "VSET{channel}?", unit="V", resolution=10e-3, settle_seconds=0.05, decimals=2
            ),
            Step.CURRENT_LIMIT: Setting(
                "ISET{channel}:{value}", "ISET{channel}?", unit="A", resolution=1e-3, decimals=3
            ),
        }
    ),
    questions=MappingProxyType(
        {
            Step.MEASURED_VOLTS: Question("VOUT{channel}?", "V"),
            Step.MEASURED_AMPS: Question("IOUT{channel}?", "A"),
        }
    ),
    regulation=Regulation(None, None),
    common_switch=2,
    joins_units=False,
    has_operation_complete=False,
    manners=Manners(gap_seconds=0.05, first_reply_seconds=1.0, error_query="", identity_in_fields=False),
)

PLAIN_SUPPLIES = (_CHANNEL_PREFIX, _SERIAL_WORDS)
