"""Loss coefficients and pressure losses against published forms and closed solutions.

Sources stand beside each number. "Published" means a published formula; where its author's
own table was not at hand the formula was evaluated independently of clearance.flow.pressure_loss.
"""

import math

import fluids
import pytest
from water import MU as WATER_MU
from water import RHO as WATER_RHO
from water import Flow, pressure_loss

from clearance.flow.channel import Bend, Restriction, Stream
from clearance.flow.orifice import loss

# Published: K on the channel velocity of a thin sharp plate, by four forms, in this order:
# Idelchik 1966, Idelchik 3rd ed. (Modelica Standard Library documentation), Rennels & Hudson
# 2012, ISO 5167-2 net loss (Reader-Harris/Gallagher C, corner taps, Re 1e6).
PLATE = {
    0.05: (1075, 1080, 1052, 1052),
    0.10: (246.7, 249.5, 245.0, 244.4),
    0.20: (51.29, 52.58, 52.36, 51.75),
    0.25: (29.69, 30.68, 30.69, 30.16),
    0.30: (18.53, 19.32, 19.36, 18.94),
    0.40: (8.232, 8.758, 8.730, 8.502),
    0.50: (3.999, 4.370, 4.249, 4.191),
}


@pytest.mark.parametrize("fraction", PLATE)
@pytest.mark.parametrize("reynolds", [None, 1e6])
def test_thin_plate_is_within_7_percent_of_the_mean_of_four_sources(fraction, reynolds):
    sources = PLATE[fraction]
    found = loss(fraction, 1.0, 0.0, reynolds)
    assert found.coefficient == pytest.approx(sum(sources) / len(sources), rel=0.07)
    assert found.in_range
    assert found.form == "thin sharp plate (Idelchik)"


@pytest.mark.parametrize("fraction", PLATE)
def test_thin_plate_agrees_with_the_discharge_coefficient_of_the_standard(fraction):
    # Published: ISO 5167-2 discharge coefficient, here by the library `fluids`.
    pipe = 0.1
    hole = pipe * math.sqrt(fraction)
    mass = 1e6 * math.pi * pipe * WATER_MU / 4.0
    c = fluids.C_Reader_Harris_Gallagher(pipe, hole, WATER_RHO, WATER_MU, mass, taps="corner")
    k = fluids.discharge_coefficient_to_K(D=pipe, Do=hole, C=c)
    assert loss(fraction, 1.0, 0.0, 1e6).coefficient == pytest.approx(k, rel=0.05)


def test_published_plate_of_the_library():
    # Published (fluids docstring, after ISO 5167-2): D 73.66, d 50 mm, C 0.61512 -> K 5.2314291730.
    # Its C is 2 % above that of a high Reynolds number; the spread of `loss` has to hold it.
    f = (50.0 / 73.66) ** 2
    assert fluids.discharge_coefficient_to_K(0.07366, 0.05, 0.61512) == pytest.approx(5.2314291730)
    found = loss(f, 1.0, 0.0)
    assert found.coefficient == pytest.approx(5.2314291730, rel=found.spread)


@pytest.mark.parametrize(("slender", "expected"), [(0.5, 26.2), (1.0, 18.4), (2.0, 16.3)])
def test_thick_plate(slender, expected):
    # Published form (Idelchik 4-15) with friction factor 0.02 in the hole, f = 0.25; the
    # Reynolds number below gives that friction factor in a smooth hole.
    reynolds = _reynolds_of_factor(0.02)
    diameter = math.sqrt(4.0 * 0.25 / math.pi)
    found = loss(0.25, 1.0, slender * diameter, reynolds * math.sqrt(0.25))
    assert found.coefficient == pytest.approx(expected, rel=0.005)
    assert found.in_range
    assert found.form == "thick sharp plate (Idelchik)"


def _reynolds_of_factor(factor):
    low, high = 1e4, 1e6
    for _ in range(60):
        middle = math.sqrt(low * high)
        low, high = (middle, high) if fluids.friction_factor(Re=middle) > factor else (low, middle)
    return middle


@pytest.mark.parametrize("fraction", PLATE)
def test_thick_plate_turns_into_the_thin_one(fraction):
    thick = loss(fraction, 1.0, 0.016 * math.sqrt(4.0 * fraction / math.pi)).coefficient
    assert thick == pytest.approx(loss(fraction, 1.0, 0.0).coefficient, rel=0.04)


def test_a_straight_hole_through_a_thick_plug_is_contraction_and_expansion():
    # Analytic limit: far along a thick plug the jet has filled the hole, so the loss is a sudden
    # contraction 0.5 (1-f)^0.75 and Borda-Carnot's expansion (1-f)^2 on the hole's velocity.
    f = 0.25
    expected = (0.5 * (1 - f) ** 0.75 + (1 - f) ** 2) / f**2
    assert loss(f, 1.0, 2.4 * math.sqrt(4 * f / math.pi)).coefficient == pytest.approx(expected)


# ---- creeping flow --------------------------------------------------------------------------


@pytest.mark.parametrize(("hole", "rate_m3_s"), [(0.1, 1e-15), (0.5, 1e-14), (1.0, 1e-13)])
def test_creeping_flow_is_sampsons(hole, rate_m3_s):
    # Published: Sampson 1891, dp = 3 mu Q / a^3 for a thin plate.
    tube = 10.0
    area = math.pi * tube**2 / 4.0
    stream = Stream(WATER_RHO, WATER_MU, rate_m3_s)
    found = loss(math.pi * hole**2 / 4.0, area, 0.0, stream.reynolds(area))
    expected = 3.0 * WATER_MU * rate_m3_s / (hole * 0.5e-3) ** 3 * 1e-3
    assert stream.kpa(found.coefficient, area) == pytest.approx(expected, rel=1e-4)


def test_creeping_flow_through_a_thick_plate_is_dagans():
    # Published: Dagan, Weinbaum, Pfeffer 1982, dp = mu Q (3/a^3 + 8 L/(pi a^4)), right to 1 %.
    hole, length, area, rate = 0.6, 0.3, math.pi * 25.0, 1e-13
    a = hole * 0.5e-3
    stream = Stream(WATER_RHO, WATER_MU, rate)
    found = loss(math.pi * hole**2 / 4.0, area, length, stream.reynolds(area))
    expected = WATER_MU * rate * (3.0 / a**3 + 8.0 * length * 1e-3 / (math.pi * a**4)) * 1e-3
    assert stream.kpa(found.coefficient, area) == pytest.approx(expected, rel=1e-3)


@pytest.mark.parametrize(
    ("hole", "left"), [(1.5, 0.94), (1.0, 0.82), (0.7, 0.59), (0.5, 0.33), (0.3, 0.08)]
)
def test_flow_left_by_a_holed_plate_in_a_laminar_tube(hole, left):
    # Analytic, from published forms (Sampson, Dagan, Poiseuille): D 2, L 50, plate 0.1 mm.
    area = math.pi
    flow = Flow(rate=1e-7)
    found = pressure_loss([50.0], [2.0], [Restriction(area, math.pi * hole**2 / 4, 0.1)], flow)
    tube = found["nominal"]["friction_kpa"]
    plate = found["predicted"]["restrictions"][0]["pressure_loss_kpa"]
    assert tube / (tube + plate) == pytest.approx(left, abs=0.005)


# ---- whole passages -------------------------------------------------------------------------


def test_laminar_tube_is_poiseuilles():
    # Analytic (Hagen-Poiseuille), the same as fluids.one_phase_dP: 0.1 g/s of water, D 2, L 50 mm:
    # Re 63.53, 12.7809 Pa.
    rate = 1e-4 / WATER_RHO * 60_000.0
    found = pressure_loss([20.0, 30.0], [2.0, 2.0], [], Flow(rate=rate))
    pascal = found["predicted"]["friction_kpa"] * 1e3
    assert found["reynolds"]["least"] == pytest.approx(63.53, abs=0.01)
    assert pascal == pytest.approx(12.7809, abs=5e-5)
    library = fluids.one_phase_dP(m=1e-4, rho=WATER_RHO, mu=WATER_MU, D=0.002, L=0.05)
    assert pascal == pytest.approx(library, rel=1e-9)


@pytest.mark.parametrize(
    ("reynolds", "roughness", "factor"),
    [(1e5, 1e-4, 0.0185138661), (1e6, 1e-3, 0.0199435), (1e4, 0.0, 0.0308830)],
)
def test_turbulent_tube_is_colebrooks(reynolds, roughness, factor):
    # Published: Darcy friction factors of the Colebrook equation (fluids docstrings and values).
    d = 4.0
    area = math.pi * d**2 / 4.0
    rate = reynolds * math.pi * d * 1e-3 * WATER_MU / (4.0 * WATER_RHO)
    flow = Flow(rate=rate * 60_000.0)
    found = pressure_loss([100.0], [d], [], flow, roughness_mm=roughness * d)["predicted"]
    stream = Stream(WATER_RHO, WATER_MU, rate)
    assert found["friction_kpa"] == pytest.approx(stream.kpa(factor * 25.0, area), rel=2e-5)


@pytest.mark.parametrize(
    ("ratio", "expansion", "contraction"),
    [(0.1, 0.81, 0.548), (0.25, 0.5625, 0.496), (0.5, 0.25, 0.343), (0.75, 0.0625, 0.139)],
)
def test_sudden_steps(ratio, expansion, contraction):
    # Published: Borda-Carnot (1 - A1/A2)^2; contraction after Rennels & Hudson. Both on the
    # velocity in the narrow tube.
    narrow, wide = 4.0, 4.0 / math.sqrt(ratio)
    flow = Flow(rate=3.0)
    unit = Stream(WATER_RHO, WATER_MU, 3.0 / 60_000.0).kpa(1.0, math.pi * 4.0)
    for diameters, k in (([narrow, wide], expansion), ([wide, narrow], contraction)):
        found = pressure_loss([100.0, 100.0], diameters, [], flow)["predicted"]["greatest"]
        assert found["steps_kpa"] / unit / 1.1 == pytest.approx(k, abs=6e-4)  # 10 % spread


@pytest.mark.parametrize(("rate", "k_exit"), [(3.0, 1.0), (0.01, 2.0)])
def test_entrance_and_exit(rate, k_exit):
    # Published: sharp entrance 0.57 (Rennels & Hudson), exit 1, or 2 in laminar flow (the same).
    unit = Stream(WATER_RHO, WATER_MU, rate / 60_000.0).kpa(1.0, math.pi * 4.0)
    found = pressure_loss([10.0], [4.0], [], Flow(rate=rate))["predicted"]
    assert found["greatest"]["entrance_kpa"] / unit / 1.1 == pytest.approx(0.57)  # 10 % spread
    assert found["greatest"]["exit_kpa"] / unit == pytest.approx(k_exit)
    assert found["least"]["exit_kpa"] / unit == pytest.approx(1.0)


@pytest.mark.parametrize("radius", [1.2, 2.5, 8.0])
@pytest.mark.parametrize("rate", [2.0, 20.0])
def test_a_rounded_bend_lies_in_the_bracket(radius, rate):
    # Published: Rennels & Hudson (K = f a r/d + (0.10 + 2.4 f) sin(a/2) + 6.6 f (sqrt(sin(a/2))
    # + sin(a/2)) / (r/d)^(4a/pi); its first term is friction) and Miller, both by `fluids`.
    d = 4.0
    stream = Stream(WATER_RHO, WATER_MU, rate / 60_000.0)
    area = math.pi * 4.0
    reynolds = stream.reynolds(area)
    f = fluids.friction_factor(Re=reynolds)
    bend = Bend(90.0, d, radius * d)
    found = pressure_loss([50.0], [d], [], Flow(rate=rate), bends=[bend])["predicted"]
    least, most = (found[end]["bends_kpa"] for end in ("least", "greatest"))
    for method in ("Rennels", "Miller"):
        k = fluids.bend_rounded(
            Di=d * 1e-3, angle=90.0, fd=f, rc=radius * d * 1e-3, Re=reynolds, method=method
        )
        beyond = k - f * 0.5 * math.pi * radius
        assert least <= stream.kpa(beyond, area) or method == "Miller"
        assert stream.kpa(k, area) <= most


@pytest.mark.parametrize("roughness", [0.0, 0.03])
@pytest.mark.parametrize(("angle", "rate"), [(90.0, 3.0), (45.0, 3.0), (90.0, 0.05)])
def test_no_published_mitre_loses_more_than_the_high_end(angle, rate, roughness):
    # Published: Rennels & Hudson, Miller, Crane, Blevins, by `fluids`; in slow flow Hooper's two-K
    # method (1981), 1000 / Re for a mitre of 90 degrees.
    d, area = 4.0, math.pi * 4.0
    stream = Stream(WATER_RHO, WATER_MU, rate / 60_000.0)
    reynolds = stream.reynolds(area)
    found = pressure_loss(
        [50.0], [d], [], Flow(rate=rate), roughness_mm=roughness, bends=[Bend(angle, d)]
    )
    found = found["predicted"]["greatest"]["bends_kpa"]
    for method in ("Rennels", "Miller", "Crane", "Blevins"):
        k = fluids.bend_miter(
            angle=angle, Di=d * 1e-3, Re=reynolds, roughness=roughness * 1e-3, method=method
        )
        assert stream.kpa(k, area) <= found
    constant, _ = fluids.fittings.Hooper["Elbow, 90°, Mitered (R/D = 1.5), 1 weld (90° angle)"]
    assert stream.kpa(constant / reynolds * angle / 90.0, area) <= found


@pytest.mark.parametrize(
    ("slender", "fraction", "left"), [(25, 0.5, 0.60), (25, 0.2, 0.21), (100, 0.5, 0.75)]
)
def test_flow_left_by_a_plate_in_a_turbulent_channel(slender, fraction, left):
    # Analytic, from published forms: friction factor 0.04, entrance and exit 1.5, thin plate;
    # flow left at the same pressure is sqrt(K without / K with).
    without = 0.04 * slender + 1.5
    k = loss(fraction, 1.0, 0.0).coefficient
    assert math.sqrt(without / (without + k)) == pytest.approx(left, abs=0.006)
