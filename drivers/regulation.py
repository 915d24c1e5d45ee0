"""Tell what holds a supply's output: from its status registers, or from what it measures where it has none."""

from dataclasses import dataclass
from enum import Enum

from drivers.conversation import Conversation
from drivers.dialects.dialect import Step
from drivers.dialects.wording import Regulation
from drivers.errors import BadReply, NotPrepared
from drivers.scpi import parse_register
from drivers.session import understanding

__all__ = ["Mode", "Status", "read_mode", "read_status"]

# Volts and amps are measured one after the other, so a look may fall between constant current and constant voltage.
_LOOKS = 3


class Mode(Enum):
    """What holds a supply's output."""

    CV = "constant voltage"
    CC = "constant current"
    TRIPPED = "tripped"
    OFF = "off"


@dataclass(frozen=True)
class Status:
    """What a supply says of a channel: switched on, held at its voltage or limit (None: not said), what tripped."""

    on: bool | None
    constant_voltage: bool | None
    constant_current: bool | None
    trips: tuple[str, ...]


def read_status(talk: Conversation, channel: int) -> Status:
    """Ask for everything the dialect knows of a channel, in one message where that may be."""
    dialect, regulation = talk.dialect, _regulation(talk)
    output = dialect.settings[Step.OUTPUT]
    switch = (dialect.asking(Step.OUTPUT, channel),) if output.ask else ()
    templates = tuple(dict.fromkeys(bit.register for bit in regulation.bits))
    asking = (*switch, *(dialect.asking_for(each, channel) for each in templates))
    replies = talk.ask_all(asking, channel) if asking else ()
    with understanding(talk.session.where(dialect.joined(asking))):
        on = output.parse(replies[0]) is True if switch else None
        registers = dict(zip(templates, map(parse_register, replies[len(switch) :]), strict=True))
    says = {bit: bit.says(registers[bit.register], channel) for bit in regulation.bits}
    cv, cc = regulation.constant_voltage, regulation.constant_current
    trips = tuple(name for name, bit in regulation.trips if says[bit])
    return Status(on, None if cv is None else says[cv], None if cc is None else says[cc], trips)


def read_mode(talk: Conversation, channel: int, *, idle: bool) -> Mode:
    """Ask what holds the output; some supplies answer 'on' after a trip: the trip wins.

    An `idle` output may show 'on', because a switch that it shares is, and is off. Raises NotPrepared if
    the supply can't say whether it is on and what it was told last is in doubt.
    """
    status = read_status(talk, channel)
    if status.trips:
        return Mode.TRIPPED
    on = bool(_told(talk, Step.OUTPUT, channel)) if status.on is None else status.on
    if idle or not on:
        return Mode.OFF
    if status.constant_voltage is None:
        return _measured_mode(talk, channel)
    if status.constant_voltage == status.constant_current:
        raise _unregulated(talk, channel, f"shows {'both' if status.constant_voltage else 'neither'} of CV and CC")
    return Mode.CV if status.constant_voltage else Mode.CC


def _measured_mode(talk: Conversation, channel: int) -> Mode:
    """Tell the mode from volts and amps beside what was set; raises NotPrepared if that is in doubt.

    At its voltage, it is in constant voltage, whatever it delivers; below it and at its limit, in constant current;
    with nothing at its terminals it has switched itself off.
    """
    volts_set, limit = _told(talk, Step.VOLTAGE, channel), _told(talk, Step.CURRENT_LIMIT, channel)
    within = _regulation(talk).within
    volts = amps = 0.0
    for look in range(_LOOKS):
        if look:
            talk.wait(talk.dialect.settings[Step.VOLTAGE].settle_seconds)
        volts, amps = talk.measured((Step.MEASURED_VOLTS, Step.MEASURED_AMPS), channel)
        if volts >= volts_set - within.volts - within.share * volts_set:
            return Mode.CV
        if amps >= limit - within.amps - within.share * limit:
            return Mode.CC
    if volts <= within.volts and amps <= within.amps:
        return Mode.TRIPPED
    raise _unregulated(talk, channel, f"delivers {volts:g} V and {amps:g} A, set to {volts_set:g} V and {limit:g} A")


def _told(talk: Conversation, step: Step, channel: int) -> float:
    """Return what a channel was set to last, True and False as 1 and 0."""
    value = talk.standing(step, channel)
    if value is None or isinstance(value, str):
        raise NotPrepared(
            talk.session.where(),
            f"channel {channel} can't say what holds its output, and its {step} is in doubt",
            "prepare the channel again, which switches it off",
        )
    return value


def _regulation(talk: Conversation) -> Regulation:
    assert talk.dialect.regulation is not None  # a supply's dialect cannot be made without
    return talk.dialect.regulation


def _unregulated(talk: Conversation, channel: int, shows: str) -> BadReply:
    bit = _regulation(talk).constant_voltage
    return BadReply(
        talk.session.where(bit.register if bit else talk.dialect.asking(Step.MEASURED_VOLTS, channel)),
        f"channel {channel} is on and {shows}",
        "its output is not regulated: check the load, the mains range and the dialect",
    )
