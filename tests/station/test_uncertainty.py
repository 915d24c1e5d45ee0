import math
import random

import pytest
import uncertainties
from hypothesis import given
from hypothesis import strategies as st

from station.asks import Reading
from station.quantities import Limit
from station.uncertainty import Result, less_leads, linear, measured, rectangular, resolution
from tests.station.references import rows
from tests.station.scripts import reading


def test_a_voltmeters_bound_is_rectangular() -> None:
    # JCGM 100:2008 4.3.7, example 2 (from memory): a = 14e-6 * 0.928571 V + 2e-6 * 1 V = 15 µV, u = 8.7 µV
    assert rectangular(14e-6 * 0.928571 + 2e-6) == pytest.approx(8.7e-6, abs=0.05e-6)


def test_a_voltmeters_bound_joins_its_scatter_in_quadrature() -> None:
    # the same example: Type A 12 µV, combined 15 µV, relative 16e-6
    told = measured(Reading(0.928571, 12e-6, rectangular(15e-6), "meter", 1.0, 0.0))
    assert told.u == pytest.approx(15e-6, abs=0.5e-6)
    assert told.u / told.value == pytest.approx(16e-6, abs=0.5e-6)


@pytest.mark.parametrize("case", rows("dmm_spec_cases.csv"), ids=lambda case: case["id"])
def test_a_published_bound_gives_its_standard_uncertainty(case: dict[str, str]) -> None:
    # dmm_spec_cases.csv, sources in its rows; u = a/√3 (JCGM 100:2008, 4.3.7)
    assert rectangular(float(case["bound"])) == pytest.approx(float(case["u_rect"]), rel=1e-8)


def test_a_digit_step_of_one_milliohm_is_worth_0_29_milliohm() -> None:
    # JCGM 100:2008 F.2.2.1; restated with this number by a WMO expert-team text: 0.001 Ω step, 0.29 mΩ
    assert resolution(1e-3) == pytest.approx(0.29e-3, abs=0.005e-3)


def test_the_end_gauge_of_the_guide_is_uncertain_by_32_nanometres() -> None:
    # JCGM 100:2008 H.1: u_c = 32 nm to first order, printed; 31.664 computed. gum_h1_end_gauge.csv
    inputs = rows("gum_h1_end_gauge.csv")
    terms = [(float(row["c"]), reading(float(row["estimate"]), float(row["u"]), source=row["name"])) for row in inputs]
    assert linear(terms).u == pytest.approx(31.664, abs=0.001)
    assert round(linear(terms).u) == 32


# JCGM 100:2008 H.2, Table H.4: R = V/I cos φ, X = V/I sin φ, Z = V/I from five simultaneous triples. The Guide prints
# u(R) = 0.071 Ω, u(X) = 0.295 Ω (from memory; exactly 0.2956), u(Z) = 0.236 Ω.
@pytest.mark.parametrize(("of", "printed"), [("R", 0.0711), ("X", 0.2956), ("Z", 0.2363)])
def test_the_impedance_of_the_guide_keeps_its_correlations(of: str, printed: float) -> None:
    triples = [tuple(float(row[name]) for name in ("V", "I_mA", "phi_rad")) for row in rows("gum_h2_impedance.csv")]
    v, i, phi = (sum(column) / 5.0 for column in zip(*triples, strict=True))
    ohms = v / i * 1e3
    c, s = math.cos(phi), math.sin(phi)
    slopes = {"R": (c / v, -c / i, -s), "X": (s / v, -s / i, c), "Z": (1 / v, -1 / i, 0.0)}[of]
    # each row's deviation is one source of error, shared by the three quantities: that is their correlation
    terms = [
        (ohms * slope, Reading(0.0, 0.0, (x - mean) / math.sqrt(5 * 4), f"row {k}", 1.0, 0.0))
        for k, triple in enumerate(triples)
        for slope, x, mean in zip(slopes, triple, (v, i, phi), strict=True)
    ]
    assert linear(terms).u == pytest.approx(printed, abs=0.0001)


def test_what_two_readings_share_cancels_in_their_difference() -> None:
    first, second = reading(15.2, 3e-3, common=1.0), reading(15.0, 4e-3, common=1.0)
    told = linear([(1.0, first), (-1.0, second)])
    assert told.value == pytest.approx(0.2)
    assert told.u == pytest.approx(5e-3)


def test_what_two_readings_share_doubles_in_their_sum() -> None:
    first, second = reading(15.2, 0.0, common=1e-3), reading(15.0, 0.0, common=1e-3)
    assert linear([(1.0, first), (1.0, second)]).u == pytest.approx(2e-3)


def test_readings_of_two_sources_share_nothing() -> None:
    first, second = (
        reading(1.0, 0.0, common=3e-3, source="10 V range"),
        reading(1.0, 0.0, common=4e-3, source="1 V range"),
    )
    assert linear([(1.0, first), (-1.0, second)]).u == pytest.approx(5e-3)


def test_a_reading_less_itself_is_certain() -> None:
    told = reading(15.0, 1e-3, common=1e-3)
    assert linear([(1.0, told), (-1.0, told)]).u == 0.0


def test_two_equal_readings_are_still_two() -> None:
    assert linear([(1.0, reading(15.0, 3e-3)), (-1.0, reading(15.0, 3e-3))]).u == pytest.approx(math.hypot(3e-3, 3e-3))


def test_a_result_is_as_thorough_as_its_quickest_reading() -> None:
    assert linear([(1.0, reading(1.0, effort=10.0)), (1.0, reading(1.0, effort=0.02))]).effort == 0.02


def test_no_reading_at_all_leaves_the_offset() -> None:
    assert linear([], offset=3.0) == Result(3.0, 0.0, None)


@pytest.mark.parametrize("seed", range(20))
def test_linear_agrees_with_an_independent_package(seed: int) -> None:
    rng = random.Random(seed)
    readings = [
        Reading(rng.uniform(-20, 20), rng.uniform(0, 1e-2), rng.uniform(0, 1e-2), rng.choice("ab"), 1.0, 0.0)
        for _ in range(6)
    ]
    terms = [(rng.uniform(-3, 3), rng.choice(readings)) for _ in range(9)]  # some readings stand in several terms

    sources = {name: uncertainties.ufloat(0.0, 1.0) for name in "ab"}
    doubtful = {id(r): uncertainties.ufloat(r.value, r.u_random) + r.u_common * sources[r.source] for r in readings}
    expected = sum(factor * doubtful[id(r)] for factor, r in terms)

    assert linear(terms).value == pytest.approx(expected.nominal_value)
    assert linear(terms).u == pytest.approx(expected.std_dev)


doubts = st.floats(0.0, 1.0)


@given(first=doubts, second=doubts, extra=doubts, factor=st.floats(-10, 10))
def test_one_more_independent_source_never_lowers_doubt(
    first: float, second: float, extra: float, factor: float
) -> None:
    terms = [(1.0, reading(0.0, first, common=second))]
    more = [*terms, (factor, reading(0.0, extra, common=extra, source="another"))]
    assert linear(more).u >= linear(terms).u


def test_ohms_less_their_leads_carry_how_far_the_leads_are_off() -> None:
    """Worked by hand: 47 kohm, s = 0.8 ohm of ten readings, 5.7 ohm of specification, leads nulled to 0.05 ohm."""
    read = reading(47_000.15, 0.8 / math.sqrt(10.0), common=rectangular(5.7))
    told = measured(less_leads(read, Limit.parse("0.15 Ω ± 0.05 Ω", "ohm")))
    assert told.value == pytest.approx(47_000.0)
    assert told.u == pytest.approx(3.301, abs=5e-4)
