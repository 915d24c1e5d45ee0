"""Guide a hand that turns a trimmer: which way, how far, and when to stop.

A rail is brought to its middle from one side only, so that the play of the screw and the spring of the wiper always
lie the same way; one that has passed is brought back beyond its aim and raised (or lowered) again.
"""

from dataclasses import dataclass, field

from station.asks import Quantity, Read, Reading, Toward, Turn, Turned, Wait
from station.board import TrimmerForm
from station.quantities import Limit
from station.steps.kinds import Setup

__all__ = ["Guide", "in_middle"]

ACCEPTED_SHARE = 0.25  # stop inside this share of the window: leaves room for drift; common practice, no source
OUTER_SHARE = 0.1  # of the travel, at either end: a wrong value is near; common practice, no source
HOLD_SECONDS = 0.5  # a rail has to stay where it is for so long before it is left
PATIENCE_SECONDS = 180.0  # a hand that is not there by then is not getting there
STILL_SECONDS = 20.0  # turning for so long without any effect: the wiper is open, or it is another trimmer
WRONG_WAYS = 2  # moves against what the sheet says, one after the other, that are no slip of the hand
MOST_OVERSHOOTS = 5  # then the window is finer than the trimmer
NOISES = 5.0  # a difference of so many standard uncertainties is a move


def _middle(window: Limit) -> tuple[float, float]:
    """Return centre and half width of a window (volts)."""
    assert window.low is not None and window.high is not None
    return float(window.high + window.low) / 2.0, float(window.high - window.low) / 2.0


def in_middle(window: Limit, volts: float, *, slack: float = 1.0) -> bool:
    """Tell whether a rail may be left where it is; `slack` widens the middle."""
    centre, half = _middle(window)
    return abs(volts - centre) <= slack * ACCEPTED_SHARE * half


@dataclass
class Guide:
    """Brings one rail into the middle of its window; offsets are magnitudes above its centre (volts)."""

    setup: Setup
    trimmer: str
    terminal: str
    window: Limit
    before: Reading | None = None  # as found, before anybody turned
    left: bool = field(default=False, init=False)  # not to be turned again: given up, or enough for the operator
    _passed: int = field(default=0, init=False)

    @property
    def form(self) -> TrimmerForm:
        """The trimmer, as the sheet has it."""
        return self.setup.board.form.trimmers[self.trimmer]

    @property
    def half_volts(self) -> float:
        """Half of the window."""
        return _middle(self.window)[1]

    @property
    def enough_volts(self) -> float:
        """How far from the centre a rail is left in peace."""
        return ACCEPTED_SHARE * self.half_volts

    async def read(self) -> Reading:
        """Read the rail."""
        return await Read(self.terminal, Quantity.VOLTAGE, self.setup.rule.sweep_effort)

    def offset_volts(self, volts: float) -> float:
        """Return how far a reading's magnitude lies above the centre; of an uneven window that is not the nominal."""
        return self.setup.terminal(self.terminal).sign * volts - abs(_middle(self.window)[0])

    async def bring(self) -> str:
        """Have the trimmer turned until the rail stays in the middle; return what went wrong, '' if nothing did."""
        trouble = await self._bring()
        self.left = self.left or bool(trouble)
        return trouble

    async def _bring(self) -> str:
        reading = await self.read()
        self.before = self.before or reading
        hand = _Hand(reading, reading, from_below=self.offset_volts(reading.value) < 0.0)
        while True:
            if self.is_in_middle(reading):
                await Wait(HOLD_SECONDS)
                reading = await self.read()
                if self.is_in_middle(reading):
                    return ""
            toward = self._toward(hand, reading)
            if trouble := hand.given_up(reading) or self._too_fine(reading):
                return trouble
            turned = await self._turned(hand, reading, toward)
            if turned is Turned.ENOUGH:
                self.left = True
                return ""
            if turned is Turned.STUCK:
                return f"{self.trimmer} is at its end or stuck"
            last, reading = reading, await self.read()
            if trouble := hand.misled(last, reading, self._expected_sign(toward)):
                return f"{self.terminal} {trouble.format(trimmer=self.trimmer)}"

    async def _turned(self, hand: "_Hand", reading: Reading, toward: Toward) -> Turned:
        volts = abs(self._missing_volts(hand, reading))
        span = self._span_volts()
        turns = volts / span * self.form.turns if span else None
        return await Turn(self.trimmer, toward, volts, self.terminal, turns, hand.going_back)

    def is_in_middle(self, reading: Reading, *, slack: float = 1.0) -> bool:
        """Tell whether a rail may be left where it is; `slack` widens the middle."""
        return in_middle(self.window, reading.value, slack=slack)

    def _too_fine(self, reading: Reading) -> str:
        if self._passed <= MOST_OVERSHOOTS or abs(self.offset_volts(reading.value)) > self.half_volts:
            return ""
        return f"the window is finer than {self.trimmer} can be set: left inside it, off its middle"

    def _toward(self, hand: "_Hand", reading: Reading) -> Toward:
        """Return which way to turn, after seeing whether the rail has passed its middle or is back before it."""
        offset = self.offset_volts(reading.value)
        beyond = offset > 0.0 if hand.from_below else offset < 0.0
        if beyond and not hand.going_back and abs(offset) > self.enough_volts:
            hand.going_back = True
            self._passed += 1
        elif not beyond and abs(offset) >= self.enough_volts:
            hand.going_back = False
        raises = self._missing_volts(hand, reading) > 0.0
        return Toward.CLOCKWISE if raises == (self.form.clockwise == "raises") else Toward.ANTICLOCKWISE

    def _missing_volts(self, hand: "_Hand", reading: Reading) -> float:
        """Return how much higher the magnitude has to be: up to the centre, or back to half a window before it."""
        aim = 0.0
        if hand.going_back:
            aim = -self.half_volts if hand.from_below else self.half_volts
        return aim - self.offset_volts(reading.value)

    def _expected_sign(self, toward: Toward) -> float:
        """Return which way a turn moves the reading's value: +1.0 or -1.0."""
        raises = (toward is Toward.CLOCKWISE) == (self.form.clockwise == "raises")
        return self.setup.terminal(self.terminal).sign * (1.0 if raises else -1.0)

    def _span_volts(self) -> float | None:
        reaches = self.form.reaches
        if reaches is None or reaches.low is None or reaches.high is None:
            return None
        return float(reaches.high - reaches.low)

    def end_warning(self, volts: float) -> str:
        """Return what to say of a trimmer that ends near an end of its travel, else '', and of one given up.

        Its place is estimated from how far the rail has moved since it was found; nobody sees it.
        """
        span = self._span_volts()
        if not span or self.before is None or self.left:
            return ""
        travelled = (self.offset_volts(volts) - self.offset_volts(self.before.value)) / span
        place = 0.5 + (travelled if self.form.clockwise == "raises" else -travelled)
        if OUTER_SHARE <= place <= 1.0 - OUTER_SHARE:
            return ""
        shown = min(max(place, 0.0), 1.0) * 100.0
        return f"{self.trimmer} stands at about {shown:.0f} % of its travel: look for a wrong value near it"


@dataclass
class _Hand:
    """What is known of the hand at work: when it began, where it came from, and what its turns have done."""

    first: Reading
    moved: Reading  # the reading at which the rail was last seen to move
    from_below: bool
    going_back: bool = False
    wrong: int = 0

    def given_up(self, now: Reading) -> str:
        """Return that it has been at it for too long, else ''."""
        late = now.seconds - self.first.seconds > PATIENCE_SECONDS
        return f"not in the middle after {PATIENCE_SECONDS / 60.0:g} min of turning" if late else ""

    def misled(self, last: Reading, now: Reading, expected_sign: float) -> str:
        """Return what a turn's effect, or its lack, says against going on, '' where nothing does."""
        change, noise = now.value - last.value, NOISES * (last.u_random**2 + now.u_random**2) ** 0.5
        if abs(now.value - self.moved.value) > noise:
            self.moved = now
        if abs(change) > noise:
            self.wrong = self.wrong + 1 if change * expected_sign < 0.0 else 0
        if self.wrong >= WRONG_WAYS:
            return "moves the wrong way: {trimmer} is turned against what is asked, or fitted the other way round"
        if now.seconds - self.moved.seconds > STILL_SECONDS:
            return "does not follow {trimmer}: is it the right one, is its wiper open?"
        return ""
