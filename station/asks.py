"""The questions a test program asks and the answers it is told: the leaf that programs and performers share.

A program is a coroutine: `reading = await Read("OUTP", Quantity.VOLTAGE)`. No event loop stands behind it; a
runner drives it by hand, puts each ask to a performer and sends the answer in. Values are SI floats in the
board's frame: INN is fed -22 V, and a current at an input is what the board draws, positive.

Asks and answers are msgspec's structs, and so is what judging makes of them: as frozen as a dataclass, and made in a
tenth of the time. A simulated board makes a thousand, and a proof runs tens of thousands of boards.
"""

from collections.abc import Generator
from dataclasses import dataclass
from enum import Enum
from typing import Any, Generic, Protocol, TypeVar

import msgspec

from station.lines import Judgement

__all__ = [
    "GND",
    "Ask",
    "Conditions",
    "Draw",
    "Drawn",
    "Event",
    "Fed",
    "Feed",
    "Judged",
    "Mode",
    "Performer",
    "Quantity",
    "Question",
    "Read",
    "Reading",
    "SafeState",
    "StepEnded",
    "StepStarted",
    "Toward",
    "Turn",
    "Turned",
    "Wait",
    "Warned",
]

GND = "GND"
Reply = TypeVar("Reply", covariant=True)


class Quantity(Enum):
    """What a reading is of."""

    VOLTAGE = "voltage"
    CURRENT = "current"
    RESISTANCE = "resistance"
    RIPPLE = "ripple"  # rms of what alternates, in the meter's own bandwidth

    @property
    def unit(self) -> str:
        """The base unit of the quantity."""
        return {"voltage": "V", "current": "A", "resistance": "ohm", "ripple": "V"}[self.value]


class Mode(Enum):
    """How a supply channel answers a feed: constant voltage, its current limit reached, or protection tripped."""

    CV = "CV"
    CC = "CC"
    TRIPPED = "tripped"


class Toward(Enum):
    """Which way a trimmer is to be turned."""

    CLOCKWISE = "clockwise"
    ANTICLOCKWISE = "anticlockwise"


class Turned(Enum):
    """What became of a turn: done, the trimmer is at its end or otherwise stuck, or the operator says it is enough."""

    DONE = "done"
    STUCK = "stuck"
    ENOUGH = "enough"


class Conditions(msgspec.Struct, frozen=True):
    """What was fed (volts) and drawn (amps) at each terminal when a reading was taken."""

    fed: tuple[tuple[str, float], ...] = ()
    drawn: tuple[tuple[str, float], ...] = ()


class Reading(msgspec.Struct, frozen=True):
    """A measured value with its standard uncertainties, in the base unit of its quantity.

    `u_common` is shared by all readings of one `source` (an instrument on one range): it cancels in differences.
    """

    value: float
    u_random: float
    u_common: float
    source: str
    effort: float
    seconds: float
    conditions: Conditions = Conditions()


class Fed(msgspec.Struct, frozen=True):
    """A supply channel's answer; `trips` names the protections that tripped, as far as the supply can tell."""

    mode: Mode
    trips: tuple[str, ...] = ()


class Drawn(msgspec.Struct, frozen=True):
    """A load's answer: the setting was taken over; `u` is the standard uncertainty of what it draws (amps)."""

    u: float = 0.0


@dataclass(frozen=True, slots=True)
class SafeState:
    """What was found after making safe: verified or not, in words, and the volts left at each terminal."""

    verified: bool
    problems: tuple[str, ...] = ()
    volts: tuple[tuple[str, float], ...] = ()
    seconds: float = 0.0  # the bench time at which it was found
    tripped: tuple[str, ...] = ()  # which protections had tripped by then, by input


class Performer(Protocol):
    """Whoever answers asks: a bench, a simulated bench, many simulated boards, or a stored record."""

    def feed(self, ask: "Feed") -> Fed:
        """Program a supply channel."""

    def draw(self, ask: "Draw") -> Drawn:
        """Program a load."""

    def wait(self, ask: "Wait") -> None:
        """Let time pass."""

    def read(self, ask: "Read") -> Reading:
        """Take a reading; raises Unreadable where there is none to be had."""

    def turn(self, ask: "Turn") -> Turned:
        """Have a trimmer turned."""

    def question(self, ask: "Question") -> str:
        """Have a question answered."""

    def make_safe(self) -> SafeState:
        """Bring the bench into its safe state and say what was verified; never raises."""


class Ask(msgspec.Struct, Generic[Reply], frozen=True):
    """Base of all asks; awaiting one hands it to whoever drives the program."""

    def __await__(self) -> Generator["Ask[Any]", Any, Reply]:
        reply: Reply = yield self
        return reply

    def put_to(self, performer: Performer) -> Reply:
        """Have a performer answer; the one place where a kind of ask meets its method."""
        raise NotImplementedError(f"{type(self).__name__} is no ask of its own; await one of its kinds")


class Feed(Ask[Fed], frozen=True):
    """Program a supply channel; 0 V means output off."""

    terminal: str
    volts: float
    amps_limit: float

    def put_to(self, performer: Performer) -> Fed:
        """See Ask."""
        return performer.feed(self)


class Draw(Ask[Drawn], frozen=True):
    """Program a load; 0 A means load input off."""

    terminal: str
    amps: float

    def put_to(self, performer: Performer) -> Drawn:
        """See Ask."""
        return performer.draw(self)


class Wait(Ask[None], frozen=True):
    """Let time pass (virtual when simulated)."""

    seconds: float

    def put_to(self, performer: Performer) -> None:
        """See Ask."""
        performer.wait(self)


class Read(Ask[Reading], frozen=True):
    """Take a reading at a terminal; `effort` is the integration time in power-line cycles.

    Ohms are read with nothing fed, at a test current that flows into `terminal` and out of `against`: with the leads
    turned round, GND is the terminal.
    """

    terminal: str
    quantity: Quantity
    effort: float = 1.0
    against: str = GND
    test_amps: float = 0.0

    def put_to(self, performer: Performer) -> Reading:
        """See Ask."""
        return performer.read(self)


class Turn(Ask[Turned], frozen=True):
    """Tell the operator which way to turn a trimmer; answered when there was time for a turn.

    `remaining` is the volts still missing at `terminal`, without sign; `turns_left` about how many turns that is,
    where the board sheet tells; `overshot` says that the rail has passed its aim and is to be brought back.
    """

    trimmer: str
    toward: Toward
    remaining: float
    terminal: str = ""
    turns_left: float | None = None
    overshot: bool = False

    def put_to(self, performer: Performer) -> Turned:
        """See Ask."""
        return performer.turn(self)


class Question(Ask[str], frozen=True):
    """Ask the operator; the answer is one of `answers`. `switches` mains on or off is what they do before a yes."""

    text: str
    answers: tuple[str, ...] = ("yes", "no")
    caution: str = ""
    switches: bool | None = None

    def put_to(self, performer: Performer) -> str:
        """See Ask."""
        return performer.question(self)


class Event(Ask[None], frozen=True):
    """Something told to record and screen; no performer has anything to do."""

    def put_to(self, performer: Performer) -> None:
        """See Ask."""


class StepStarted(Event, frozen=True):
    """A step begins; `caution` is what the operator should mind from here on."""

    index: int
    title: str
    caution: str = ""


class Judged(Event, frozen=True):
    """A line has its outcome."""

    judgement: Judgement


class StepEnded(Event, frozen=True):
    """A step is over."""

    index: int
    title: str


class Warned(Event, frozen=True):
    """Something the operator should know, which changes no outcome."""

    text: str
