"""The least bench time that any test of dual15/full takes on this bench, with these drivers.

Somebody who knows where the nominal board is going puts the profile's conditions to it, waits not a millisecond
longer than until every output is within a tenth of the narrowest limit there and every input within a tenth of a
sweep's step, and reads each terminal once, with the least integration that decides, in the order in which the
scanner switches least. Switching times that the drivers keep to (20 ms after a setting, relays) count as the wire's.
The ramp takes the time that the profile gives it.
"""

from collections.abc import Iterator

from msgspec.structs import replace

from station.asks import Draw, Feed, Quantity, Read, Reading
from station.opening import OpenSimulated, open_simulated
from station.profile import BoundStep, Profile
from station.rehearsal import highest_volts
from station.steps.measuring import Measure
from station.steps.overloading import ABOVE as OVERLOAD_ABOVE
from station.steps.overloading import BELOW, FALLEN_SHARE, POINTS, Overload
from station.steps.powering import Ramp
from station.steps.sweeping import LineSweep, LoadSweep, line_regulation, load_regulation, spaced
from station.uncertainty import Result, measured
from tests.benches import full_profile

__all__ = ["least_seconds"]

LONG_SECONDS, TICK_SECONDS = 1.0, 1e-3  # long for the circuit, and too short to warm it
Condition = tuple[tuple[str, float], ...]  # what is fed (volts) and drawn (amps), by terminal
Finals = dict[Condition, dict[str, float]]  # where each terminal goes (volts)


class Knowing:
    """Puts conditions and reads; without `finals` it waits long and learns them, with them no longer than needed."""

    def __init__(self, bench: OpenSimulated, profile: Profile, finals: Finals | None, near: dict[str, float]) -> None:
        self._bench, self._profile, self._near = bench, profile, near
        self._known = finals
        self.finals: Finals = finals or {}
        self._amps_limit = 0.15
        self._applied: dict[str, float] = {}

    def feed(self, volts: float | None, amps_limit: float | None = None) -> None:
        self._amps_limit = amps_limit or self._amps_limit
        for name, form in self._profile.board.terminals("input").items():
            nominal = form.nominal or 0.0
            fed = nominal if volts is None else (-volts if nominal < 0.0 else volts)
            self._bench.performer.feed(Feed(name, fed, self._amps_limit))
            self._applied[name] = fed

    def draw(self, terminal: str, amps: float) -> None:
        self.overload(terminal, amps)
        self.feed(None)

    def overload(self, terminal: str, amps: float) -> None:
        self._bench.performer.draw(Draw(terminal, amps))
        self._applied[terminal] = amps

    def rest(self) -> None:
        """Wait until the board stands where it goes under what is applied."""
        if self._known is None or self._condition not in self._known:
            self._bench.clock.wait(LONG_SECONDS)
            self.finals.setdefault(self._condition, self._stand())
            return
        final, end = self.finals[self._condition], self._bench.clock.seconds() + LONG_SECONDS
        while self._bench.clock.seconds() < end and any(
            abs(volts - final[name]) > self._near[name] for name, volts in self._stand().items()
        ):
            self._bench.clock.wait(TICK_SECONDS)

    @property
    def _condition(self) -> Condition:
        return tuple(sorted((name, value) for name, value in self._applied.items() if value))

    def _stand(self) -> dict[str, float]:
        with self._bench.inside.board.lock:
            return {name: self._bench.inside.board.volts(name) for name in self._near}

    def read(self, terminal: str, quantity: Quantity, effort: float) -> Reading:
        reading = self._bench.performer.read(Read(terminal, quantity, effort))
        learnt = self._known is None and terminal in self._near and self._condition in self.finals
        if quantity is Quantity.CURRENT or not learnt:
            return reading
        return replace(reading, value=self.finals[self._condition][terminal])


def least_seconds() -> dict[str, float]:
    """Return the bound by step title."""
    profile = full_profile()
    near = {name: _narrowest(profile) / 10.0 for name in profile.board.terminals("output")}
    near |= dict.fromkeys(profile.board.terminals("input"), _sweep_step(profile) / 10.0)
    efforts, finals = dict[str, float](), None
    seconds: dict[str, float] = {}
    for _ in range(2):  # to learn, and to do it
        with open_simulated(profile.board, highest_volts(profile), seed=0, nominal=True) as bench:
            knowing = Knowing(bench, profile, finals, near)
            seconds = dict(_steps(knowing, bench, profile, efforts))
            finals = knowing.finals
    return seconds


def _narrowest(profile: Profile) -> float:
    """Return the width of the narrowest limit on what an output does (volts): what a sweep may change it by."""
    widths = []
    for step in profile.steps:
        for line in step.form.lines(step.setup):
            if line.limit is None or line.limit.high is None:
                continue
            nominal = abs(step.setup.terminal(line.terminal).nominal or 0.0) if line.terminal else 0.0
            if isinstance(step.form, LineSweep):
                assert step.form.inputs.low is not None and step.form.inputs.high is not None
                widths.append(float(line.limit.high) * nominal * float(step.form.inputs.high - step.form.inputs.low))
            elif isinstance(step.form, LoadSweep):
                widths.append(float(line.limit.high) * nominal)
    return min(widths)


def _sweep_step(profile: Profile) -> float:
    (form,) = (step.form for step in profile.steps if isinstance(step.form, LineSweep))
    assert form.inputs.low is not None and form.inputs.high is not None
    return float(form.inputs.high - form.inputs.low) / (form.points - 1)


def _steps(
    knowing: Knowing, bench: OpenSimulated, profile: Profile, efforts: dict[str, float]
) -> Iterator[tuple[str, float]]:
    for step in profile.steps:
        form, begun = step.form, bench.clock.seconds()
        if isinstance(form, Ramp):
            knowing.feed(None, form.current_limit)
            knowing.rest()
            yield step.setup.title, form.over
            continue
        if isinstance(form, Measure):
            _measure(knowing, step, efforts)
        elif isinstance(form, LineSweep):
            _line_sweep(knowing, step, efforts)
        elif isinstance(form, LoadSweep):
            _load_sweep(knowing, step, efforts)
        elif isinstance(form, Overload):
            _overload(knowing, step)
        else:
            continue
        yield step.setup.title, bench.clock.seconds() - begun


def _least_effort(step: BoundStep, title: str, result: Result) -> float:
    """Return the least effort that decides a line as it truly is: random doubt falls with its root."""
    (line,) = (each for each in step.form.lines(step.setup) if each.title == title)
    rule = step.setup.rule
    quick = rule.efforts[0]
    for effort in rule.efforts[:-1]:
        u = result.u * (quick / effort) ** 0.5
        if rule.judge(line, Result(result.value, u), last=False).outcome.settled:
            return effort
    return rule.efforts[-1]


def _measure(knowing: Knowing, step: BoundStep, efforts: dict[str, float]) -> None:
    knowing.feed(None, step.setup.amps_limit)
    knowing.rest()
    for line in step.form.lines(step.setup):
        quick = step.setup.rule.efforts[0]
        reading = knowing.read(line.terminal, Quantity(line.name), efforts.get(line.title, quick))
        efforts.setdefault(line.title, _least_effort(step, line.title, measured(reading)))


def _line_sweep(knowing: Knowing, step: BoundStep, efforts: dict[str, float]) -> None:
    form, quick = step.form, step.setup.rule.efforts[0]
    assert isinstance(form, LineSweep) and form.inputs.low is not None and form.inputs.high is not None
    names = list(form.other())
    titles = {line.terminal: line.title for line in form.lines(step.setup)}
    points: dict[str, list[tuple[float, Reading]]] = {name: [] for name in names}
    for volts in spaced(float(form.inputs.low), float(form.inputs.high), form.points):
        knowing.feed(volts, step.setup.amps_limit)
        knowing.rest()
        for name in names:
            effort = efforts.get(titles[name], quick)
            points[name].append((volts, knowing.read(name, Quantity.VOLTAGE, effort)))
        names.reverse()
    knowing.feed(None)
    knowing.rest()
    for name in names:
        result = line_regulation(points[name], max(abs(v) for v in step.setup.nominal_volts.values()))
        efforts.setdefault(titles[name], _least_effort(step, titles[name], result))


def _load_sweep(knowing: Knowing, step: BoundStep, efforts: dict[str, float]) -> None:
    form, quick = step.form, step.setup.rule.efforts[0]
    assert isinstance(form, LoadSweep)
    knowing.feed(None, step.setup.amps_limit)
    for line in form.lines(step.setup):
        wanted, points = form.other()[line.terminal], []
        for amps in spaced(wanted.from_, wanted.to, wanted.points):
            knowing.draw(line.terminal, amps)
            knowing.rest()
            reading = knowing.read(line.terminal, Quantity.VOLTAGE, efforts.get(line.title, quick))
            points.append((amps, reading))
        knowing.draw(line.terminal, 0.0)
        efforts.setdefault(line.title, _least_effort(step, line.title, load_regulation(points)))


def _overload(knowing: Knowing, step: BoundStep) -> None:
    form, quick = step.form, step.setup.rule.efforts[0]
    assert isinstance(form, Overload)
    knowing.feed(None, step.setup.amps_limit)
    for name, wanted in form.other().items():
        window = wanted.limits_at
        assert window.low is not None and window.high is not None
        knowing.rest()
        before = knowing.read(name, Quantity.VOLTAGE, quick)
        for amps in spaced(BELOW * float(window.low), OVERLOAD_ABOVE * float(window.high), POINTS):
            knowing.overload(name, amps)  # gives way at once, or in a millisecond: nothing to wait for
            if abs(knowing.read(name, Quantity.VOLTAGE, quick).value) < FALLEN_SHARE * abs(before.value):
                break
        knowing.draw(name, 0.0)
        knowing.rest()
        knowing.read(name, Quantity.VOLTAGE, quick)
