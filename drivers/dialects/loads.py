"""The dialects of electronic loads, in constant current.

The setting time is common practice, no source.
"""

from dataclasses import replace
from types import MappingProxyType

from drivers.dialects.dialect import Dialect, Step
from drivers.dialects.wording import Question, Selection, Setting

__all__ = ["LOADS"]


def _load(name: str, *, after_value: str, after_header: str, one_channel: bool) -> Dialect:
    """Return a load's dialect; a channel is named behind a command's value and behind a question's header."""
    settle_seconds = 0.02
    return Dialect(
        name=name,
        instrument="load",
        settings=MappingProxyType(
            {
                Step.INPUT: Setting(
                    f"INP {{value}}{after_value}",
                    f"INP?{after_header}",
                    form="switch",
                    settle_seconds=settle_seconds,
                ),
                Step.FUNCTION: Setting(f"FUNC {{value}}{after_value}", f"FUNC?{after_header}", form="word"),
                Step.CURRENT: Setting(
                    f"CURR {{value}}{after_value}",
                    f"CURR?{after_header}",
                    unit="A",
                    resolution=1e-3,
                    settle_seconds=settle_seconds,
                ),
            }
        ),
        questions=MappingProxyType(
            {
                Step.MEASURED_VOLTS: Question(f"MEAS:VOLT?{after_header}", "V"),
                Step.MEASURED_AMPS: Question(f"MEAS:CURR?{after_header}", "A"),
            }
        ),
        one_channel=one_channel,
    )


_CHANNEL_LIST = _load("channel list load", after_value=",(@{channel})", after_header=" (@{channel})", one_channel=False)
_SINGLE = _load("single channel load", after_value="", after_header="", one_channel=True)
_SELECTED = replace(
    _SINGLE, name="selected by number load", one_channel=False, selection=Selection("CHAN {channel}", "CHAN?")
)

LOADS = (_CHANNEL_LIST, _SINGLE, _SELECTED)
