"""The performer on instruments, on the simulated bench of dual15."""

import math
from dataclasses import replace

import pytest

from drivers import LinkLost, Where
from station.asks import Draw, Fed, Feed, Mode, Quantity, Read, Wait
from station.errors import BenchError, Beyond, InputError, Interrupted, NotHere
from station.interrupts import Interrupts
from station.opening import OpenSimulated, open_simulated
from station.quantities import Limit
from tests.benches import full_profile

HIGHEST = {"INP": 26.0, "INN": 10.0}


@pytest.fixture
def interrupts():
    return Interrupts()


@pytest.fixture
def bench(interrupts):
    with open_simulated(full_profile().board, HIGHEST, seed=1, nominal=True, interrupts=interrupts) as opened:
        yield opened


def powered(bench: OpenSimulated) -> OpenSimulated:
    """Feed both inputs: the positive rail its nominal volts, the negative one as much as it is prepared for."""
    bench.performer.feed(Feed("INP", 22.0, 0.15))
    bench.performer.feed(Feed("INN", -10.0, 0.15))
    return bench


def told_by_supply(bench: OpenSimulated, question: str) -> float:
    """What the supply itself answers, asked beside the driver."""
    return float(bench.inside.supply.connection().receive(question.encode() + b"\n"))


@pytest.mark.parametrize(
    ("channel", "volts"),
    [
        (1, 28.0),  # a tenth and half a volt above 26 V are 29.1 V, but the sheet says never above 28 V
        (2, 11.5),
    ],
)
def test_over_voltage_protection_lies_above_the_profile_and_never_above_the_sheet(bench, channel, volts):
    assert told_by_supply(bench, f"VOLT:PROT? (@{channel})") == pytest.approx(volts)
    assert told_by_supply(bench, f"CURR:PROT:STAT? (@{channel})") == 1.0


def test_an_input_below_ground_is_fed_by_a_channel_turned_round(bench):
    bench.performer.feed(Feed("INN", -10.0, 0.15))
    bench.performer.wait(Wait(1.0))

    assert told_by_supply(bench, "VOLT? (@2)") == pytest.approx(10.0)
    assert bench.inside.board.volts("INN") == pytest.approx(-10.0, abs=0.1)


@pytest.mark.parametrize(("terminal", "volts"), [("INP", -5.0), ("INN", 5.0)])
def test_a_channel_is_never_asked_for_the_other_polarity(bench, terminal, volts):
    with pytest.raises(BenchError, match=f"{terminal} needs .* V, but its channel is wired the other way round"):
        bench.performer.feed(Feed(terminal, volts, 0.15))

    assert not any(output.on for output in bench.inside.supply.outputs())


def test_zero_volts_are_an_output_switched_off(bench):
    powered(bench).performer.feed(Feed("INP", 0.0, 0.15))

    assert [output.on for output in bench.inside.supply.outputs()] == [False, True]


def test_a_limit_that_lasts_is_told_and_one_that_charges_is_not(bench):
    assert bench.performer.feed(Feed("INP", 5.0, 0.15)) == Fed(Mode.CV)
    assert bench.performer.feed(Feed("INP", 22.0, 0.005)) == Fed(Mode.CC)


def test_a_limit_that_lasts_is_told_before_the_supply_trips(bench):
    bench.performer.feed(Feed("INP", 22.0, 0.005))

    assert not bench.inside.supply.outputs()[0].tripped


def test_a_channel_that_tripped_is_told_with_what_tripped_it(bench):
    bench.performer.feed(Feed("INP", 22.0, 0.005))
    bench.performer.wait(Wait(2.0))

    assert bench.performer.feed(Feed("INP", 22.0, 0.005)) == Fed(Mode.TRIPPED, ("over-current",))
    assert not bench.inside.supply.outputs()[0].on


def test_what_tripped_in_the_middle_of_a_step_is_told_when_the_bench_is_safe(bench):
    bench.performer.feed(Feed("INP", 22.0, 0.005))
    bench.performer.wait(Wait(2.0))  # the protection comes after half a second

    safe = bench.performer.make_safe()

    assert safe.verified and safe.tripped == ("INP: over-current",)


def test_a_supply_that_cant_be_asked_what_tripped_is_safe_all_the_same(bench, monkeypatch):
    def silent(channel):
        raise LinkLost(Where("supply", "here"), "the link was lost", "check its cable")

    monkeypatch.setattr(bench.performer._wiring.supplies["INP"].supply, "trips", silent)
    safe = powered(bench).performer.make_safe()

    assert safe.verified and safe.tripped == ()


def test_no_load_is_an_input_switched_off(bench):
    powered(bench).performer.draw(Draw("OUTP", 0.1))
    loaded = [each.on for each in bench.inside.load.inputs()]
    bench.performer.draw(Draw("OUTP", 0.0))

    assert loaded == [True, False]
    assert [each.on for each in bench.inside.load.inputs()] == [False, False]


def test_a_wait_takes_bench_time(bench):
    before = bench.clock.seconds()
    bench.performer.wait(Wait(60.0))

    assert bench.clock.seconds() - before == pytest.approx(60.0)


def test_a_wait_ends_when_somebody_asks(bench, interrupts):
    interrupts.ask_to_end("stopped by Ctrl-C")
    before = bench.clock.seconds()

    with pytest.raises(Interrupted, match="stopped by Ctrl-C"):
        bench.performer.wait(Wait(60.0))
    assert bench.clock.seconds() - before <= 0.2


@pytest.mark.parametrize(
    ("cycles", "resolution"),
    [(0.02, 1e-5), (1.0, 1e-6), (10.0, 3e-7)],  # of the range
)
def test_a_voltage_carries_the_meters_accuracy_resolution_and_noise(bench, cycles, resolution):
    """15 V on the 100 V range: 45 ppm of reading + 6 ppm of range, rectangular; noise falls with integration."""
    told = powered(bench).performer.read(Read("OUTP", Quantity.VOLTAGE, cycles))

    assert told.effort == cycles and told.source == "meter, 100 V range"
    assert told.value == pytest.approx(bench.inside.board.volts("OUTP"), abs=5.0 * math.hypot(told.u_common, 1e-3))
    assert told.u_common == pytest.approx((45e-6 * abs(told.value) + 6e-6 * 100.0) / math.sqrt(3.0))
    noise, step = 1e-6 * 100.0 / math.sqrt(cycles), resolution * 100.0
    assert told.u_random == pytest.approx(math.hypot(noise, step / (2.0 * math.sqrt(3.0))))


def test_a_current_carries_the_supplys_readback_accuracy(bench):
    """0.1 % + 0.5 mA, rectangular; steps of 0.1 mA and 10 uA of noise."""
    told = powered(bench).performer.read(Read("INP", Quantity.CURRENT, 10.0))

    assert told.effort == 1.0 and told.source == "supply channel 1, current readback"
    assert told.u_common == pytest.approx((1e-3 * told.value + 0.5e-3) / math.sqrt(3.0))
    assert told.u_random == pytest.approx(math.hypot(1e-5, 1e-4 / (2.0 * math.sqrt(3.0))))


def test_making_safe_switches_loads_and_outputs_off_and_waits_for_the_charge(bench):
    powered(bench).performer.draw(Draw("OUTP", 0.1))

    safe = bench.performer.make_safe()

    assert safe.verified and all(abs(volts) < 2.0 for _, volts in safe.volts)
    assert {name for name, _ in safe.volts} == {"INP", "INN", "OUTP", "OUTN"}
    assert not any(each.on for each in (*bench.inside.supply.outputs(), *bench.inside.load.inputs()))


def ohms(bench, plus, minus, effort=1.0, test_amps=1e-3):
    return bench.performer.read(Read(plus, Quantity.RESISTANCE, effort, minus, test_amps))


def test_ohms_rise_while_the_test_current_charges_the_board(bench):
    """1 mA into C101, 2200 uF, beside it some kilohms: 0.45 V/s at first, so 454 ohm more each second."""
    first = ohms(bench, "INP", "GND")
    bench.performer.wait(Wait(0.5))
    later = ohms(bench, "INP", "GND")

    assert later.value - first.value == pytest.approx(454.0 * (later.seconds - first.seconds), rel=0.05)


def test_ohms_carry_the_meters_accuracy_resolution_and_noise(bench):
    """1 kohm range: 0.01 % of reading + 10 ppm of range, rectangular; 3 ppm of noise, steps of 1 ppm at 1 cycle."""
    told = ohms(bench, "INP", "GND")

    assert told.effort == 1.0 and told.source == "meter, 1 kΩ range at 1 mA"
    assert told.u_common == pytest.approx((1e-4 * told.value + 1e-5 * 1e3) / math.sqrt(3.0))
    assert told.u_random == pytest.approx(math.hypot(3e-3, 1e-3 / (2.0 * math.sqrt(3.0))))


@pytest.mark.parametrize(
    ("plus", "minus", "low", "high"),
    [
        ("GND", "INP", 500.0, 600.0),  # D101 conducts: a diode drop at 1 mA
        ("INN", "GND", 500.0, 600.0),  # D201
    ],
)
def test_with_the_leads_turned_round_an_input_reads_its_protection_diode(bench, plus, minus, low, high):
    for _ in range(20):
        told = ohms(bench, plus, minus)
        bench.performer.wait(Wait(0.5))

    assert low < told.value < high


def test_nothing_is_fed_into_an_ohmmeter(bench):
    ohms(bench, "OUTP", "GND")
    assert bench.inside.meter.settings().function == "RES"
    bench.performer.feed(Feed("INP", 5.0, 0.15))

    assert bench.inside.meter.settings().function == "VOLT"
    bench.performer.wait(Wait(1.0))
    assert bench.inside.board.volts("INP") == pytest.approx(5.0, abs=0.05)


def test_ohms_beyond_the_range_are_no_number_and_tell_on_which_side(bench):
    for _ in range(20):
        bench.performer.wait(Wait(0.5))
        with pytest.raises(Beyond) as beyond:
            ohms(bench, "TP1", "GND")
    assert beyond.value.ohms == pytest.approx(1200.0)
    with pytest.raises(InputError, match=r"no range of the meter has a test current of 0.003 A; it has 0.001 A"):
        ohms(bench, "INP", "GND", test_amps=3e-3)
    with pytest.raises(NotHere, match="no instrument reads ohms from INP to INN"):
        ohms(bench, "INP", "INN")


def rewired(bench, **changes):
    metering = bench.performer._metering
    meters = {name: replace(wired, **changes) for name, wired in metering._wiring.meters.items()}
    metering._wiring = replace(metering._wiring, meters=meters)


@pytest.mark.parametrize(("plus", "minus"), [("INP", "GND"), ("GND", "INP")])
def test_ohms_are_less_the_leads_of_their_wire_either_way_round(bench, plus, minus):
    """± 5 ohm, rectangular: 2.89 ohm, in quadrature with what the meter's data sheet leaves open."""
    with_leads = ohms(bench, plus, minus)
    rewired(bench, leads=Limit.parse("100 Ω ± 5 Ω", "ohm"))
    told = ohms(bench, plus, minus)

    assert told.value == pytest.approx(with_leads.value - 100.0, abs=30.0)  # it charges the board meanwhile
    assert told.u_common == pytest.approx(math.hypot(with_leads.u_common, 5.0 / math.sqrt(3.0)), rel=1e-3)


def test_a_bench_without_a_turned_channel_says_so(bench):
    rewired(bench, turned=None)
    with pytest.raises(NotHere, match="no scanner channel reads ohms at INP with its leads turned round"):
        ohms(bench, "GND", "INP")


def test_what_an_ohmmeter_left_on_a_board_is_still_there_for_the_voltmeter(bench):
    for _ in range(5):
        ohms(bench, "INP", "GND")
        bench.performer.wait(Wait(0.2))
    left = bench.performer.read(Read("INP", Quantity.VOLTAGE))

    assert left.value == pytest.approx(0.5, abs=0.15)
