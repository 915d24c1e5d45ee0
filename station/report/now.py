"""Draw what goes on at this moment: a trimmer being turned, a rail watched in a soak, a reading against its limit."""

from rich.console import RenderableType
from rich.text import Text

from station.asks import Ask, Draw, Feed, Judged, Quantity, Question, Read, Reading, StepEnded, StepStarted, Turn
from station.errors import Unreadable
from station.lines import Line
from station.quantities import Limit, format_value
from station.report.gauge import big, gauge, strip, zoomed
from station.report.wording import COVERAGE_FACTOR
from station.steps.guiding import in_middle

__all__ = ["Now"]

ZOOMED_WIDTH = 41
STRIP_WIDTH = 16
DIRECT = {"before trim": Quantity.VOLTAGE, "trimmed": Quantity.VOLTAGE}  # the rest say their quantity in their name
DRIFT = "drift"


class Now:
    """The open step: its lines, what was read last at each terminal, and the turn that is being made."""

    def __init__(self, lines: tuple[Line, ...], *, attended: bool = False) -> None:
        self._lines, self._attended = lines, attended
        self.open_lines: list[Line] = []
        self._text = ""
        self._turn: Turn | None = None
        self._read: tuple[Read, Reading] | None = None
        self._courses: dict[str, list[float]] = {}  # volts by terminal, since the step began

    def told(self, ask: Ask[object], reply: object) -> None:
        """Take note of an ask with its answer, or of an event."""
        if isinstance(ask, StepStarted):
            self.open_lines = [line for line in self._lines if line.step == ask.title]
            self._courses, self._turn, self._read = {}, None, None
        elif isinstance(ask, Judged):
            self._turn = None
            self.open_lines = [line for line in self.open_lines if line != ask.judgement.line]
        elif isinstance(ask, StepEnded):
            self.open_lines = []
        elif isinstance(ask, Turn):
            self._turn = ask
        elif isinstance(ask, Read) and isinstance(reply, Reading):
            self._see(ask, reply)
        self._text = asked(ask, reply) or self._text

    def _see(self, ask: Read, reading: Reading) -> None:
        self._read = ask, reading
        if ask.quantity is Quantity.VOLTAGE:
            self._courses.setdefault(ask.terminal, []).append(reading.value)

    def drawn(self) -> list[RenderableType]:
        """Return what to show now."""
        if self._turn is not None and self._turn.terminal in self._courses:
            return self._trim(self._turn)
        if drifts := [line for line in self.open_lines if line.name == DRIFT and line.terminal in self._courses]:
            return [self._drift(line) for line in drifts]
        return [Text(self._text, style="cyan"), *self._against_limit()]

    def _against_limit(self) -> list[RenderableType]:
        """Return the last reading with the limit of the line that it is taken for, if it is judged as it is."""
        if self._read is None:
            return []
        ask, reading = self._read
        for line in self.open_lines:
            if line.terminal == ask.terminal and line.limit is not None and _is_direct(line, ask.quantity):
                bar = gauge(line.limit, reading.value, COVERAGE_FACTOR * _u(reading), ZOOMED_WIDTH)
                return [Text(f"  {bar}  {line.limit}")]
        return []

    def _trim(self, turn: Turn) -> list[RenderableType]:
        """Return the big number, where it lies in its window, and what the hand is to do."""
        volts = self._courses[turn.terminal][-1]
        top, middle, bottom = big(f"{volts:.4f}")
        name = f"  {turn.terminal:<6}"
        rows = [f"{' ' * len(name)}{top}", f"{name}{middle}", f"{' ' * len(name)}{bottom}  V"]
        window = self._window(turn.terminal)
        parts: list[RenderableType] = [Text(row, style="bold", no_wrap=True) for row in rows]
        if window is not None:
            low, high = (format_value(edge, "V") for edge in (window.low, window.high) if edge is not None)
            parts.append(Text(f"  {low} {zoomed(window, volts, ZOOMED_WIDTH)} {high}", no_wrap=True))
            if in_middle(window, volts):
                return [*parts, Text("  In the middle: hands off for a moment, to see whether it stays.", style="bold")]
        parts.append(Text(f"  {turn_text(turn)}", style="bold"))
        if turn.overshot:
            parts.append(Text("  Too far: back past the middle, then come again from the same side."))
        if self._attended:
            parts.append(Text("  Enter: leave it here.  'end' and Enter: the trimmer is at its end.", style="dim"))
        return parts

    def _window(self, terminal: str) -> Limit | None:
        """Return the window that a trimmer is turned for: the last of the step's lines there."""
        limits = [line.limit for line in self.open_lines if line.terminal == terminal and line.limit is not None]
        return limits[-1] if limits else None

    def _drift(self, line: Line) -> Text:
        """Return how far a rail has drifted in the soak, with its course."""
        course = self._courses[line.terminal]
        span = max(course) - min(course)
        assert line.limit is not None
        bar, moved = gauge(line.limit, span, 0.0), format_value(span, "V", digits=3)
        course_strip = strip(course, STRIP_WIDTH)
        return Text(
            f"  {line.terminal:<6}{format_value(course[-1], 'V', digits=6):<11}{course_strip:<{STRIP_WIDTH}} "
            f"{moved:<8} {bar} {line.limit}"
        )


def _is_direct(line: Line, quantity: Quantity) -> bool:
    return quantity.value in line.name or DIRECT.get(line.name) is quantity


def _u(reading: Reading) -> float:
    return float((reading.u_random**2 + reading.u_common**2) ** 0.5)


def turn_text(turn: Turn) -> str:
    """Return what a hand is to do."""
    arrow = {"clockwise": "↻", "anticlockwise": "↺"}[turn.toward.value]
    left = "" if turn.turns_left is None else f", about {_turns(turn.turns_left)}"
    return f"Turn {turn.trimmer} {turn.toward.value} {arrow}: {format_value(turn.remaining, 'V', digits=3)} to go{left}"


def _turns(turns: float) -> str:
    return f"{turns:.1f} turns" if turns >= 1.0 else f"{max(1, round(turns * 12))}/12 of a turn"


def asked(ask: Ask[object], reply: object) -> str:
    """Return what has just happened, in words; '' for what is not worth a line."""
    if isinstance(reply, Unreadable):
        return f"unreadable: {reply}"
    if isinstance(ask, Read) and isinstance(reply, Reading):
        return f"{ask.terminal} {ask.quantity.value} {format_value(reply.value, ask.quantity.unit, digits=6)}"
    if isinstance(ask, Feed):
        limit = format_value(ask.amps_limit, "A", digits=3)
        return f"{ask.terminal} fed {format_value(ask.volts, 'V', digits=4)}, limit {limit}"
    if isinstance(ask, Draw):
        return f"{ask.terminal} loaded with {format_value(ask.amps, 'A', digits=3)}"
    if isinstance(ask, Turn):
        return turn_text(ask)
    return f"asked: {ask.text} Answered {reply}." if isinstance(ask, Question) else ""
