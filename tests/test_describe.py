"""`describe`: what follows from a scenario, against closed forms and published values; what is missing is said."""

import json
import math

import numpy as np
import pytest
from invented import PLACELESS

from binarydyn.commands import main
from binarydyn.constants import ASTRONOMICAL_UNIT_M, GM_SUN, HOUR_S, G
from binarydyn.plots import description_figure
from binarydyn.prediction.description import describe
from binarydyn.prediction.description_numbers import description_numbers, displacements, element_changes, modes, rings
from binarydyn.scenario import Scenario, load
from binarydyn.scenario.wording import CAUTION
from binarydyn.validation.validate import reference_files

SUN = """
[heliocentric_orbit]
semi_major_axis_au = 1.37
eccentricity = 0.21
inclination_deg = 4.6
node_deg = 88.0
argument_of_pericentre_deg = 141.0
mean_anomaly_deg = 35.0
epoch_jd_tdb = 2462800.5
"""
POLE = "eccentricity = 0.0\npole_longitude_deg = 75.0\npole_latitude_deg = 60.0\n"
BUILTIN = PLACELESS
LIT = BUILTIN.replace("eccentricity = 0.0\n", POLE) + SUN
DATED = 'impact_epoch_utc = "2031-05-06T07:08:09"\n' + LIT


def described(text):
    return describe(Scenario.from_text(text))


@pytest.fixture(scope="module")
def invented():
    return described(PLACELESS)


@pytest.fixture(scope="module")
def dated():
    return described(DATED)


@pytest.fixture(scope="module")
def impact_2022():
    return describe(load(next(path for path in reference_files() if path.stem == "impact_2022_heliocentric")))


def test_bodies_are_those_of_the_closed_forms(invented):
    """J2 R^2 = (a^2 + b^2 - 2 c^2)/10, C22 R^2 = (a^2 - b^2)/20, I_z = M (a^2 + b^2)/5 of a homogeneous ellipsoid."""
    found, scenario = description_numbers(invented), invented.scenario
    for name in ("primary", "secondary"):
        a, b, c = getattr(scenario, name).semi_axes_m
        r2 = (a * b * c) ** (2 / 3)
        assert found[f"{name}_radius_m"] ** 2 == pytest.approx(r2, rel=1e-13)
        assert found[f"{name}_j2"] == pytest.approx((a * a + b * b - 2 * c * c) / 10 / r2, rel=1e-12)
        assert found[f"{name}_c22"] == pytest.approx((a * a - b * b) / 20 / r2, rel=1e-12)
        assert found[f"{name}_gm_m3_s2"] == pytest.approx(G * found[f"{name}_mass_kg"], rel=1e-14)
        assert found[f"{name}_escape_speed_m_s"] ** 2 == pytest.approx(
            2 * found[f"{name}_gm_m3_s2"] / r2**0.5, rel=1e-12
        )


def test_angular_momentum_budget(invented):
    """m n a^2 and I_z w; the forced motion of the relaxed state moves them by some 1e-4."""
    found, scenario = description_numbers(invented), invented.scenario
    masses = [found[f"{name}_mass_kg"] for name in ("primary", "secondary")]
    reduced = masses[0] * masses[1] / sum(masses)
    n = found["mean_motion_rad_s"]
    assert found["orbit_angular_momentum_kg_m2_s"] == pytest.approx(reduced * n * 821.0**2, rel=5e-4)
    for name, rate in (("primary", 2 * math.pi / (2.03 * HOUR_S)), ("secondary", n)):
        a, b, _ = getattr(scenario, name).semi_axes_m
        spin = found[f"{name}_mass_kg"] * (a * a + b * b) / 5 * rate
        assert found[f"{name}_angular_momentum_kg_m2_s"] == pytest.approx(spin, rel=5e-4)
    parts = [found[f"{name}_angular_momentum_kg_m2_s"] for name in ("orbit", "primary", "secondary")]
    assert found["total_angular_momentum_kg_m2_s"] == pytest.approx(sum(parts), rel=1e-14)


def test_a_primary_that_turns_backwards_counts_against_the_orbit():
    found = description_numbers(described(BUILTIN.replace("spin_period_h = 2.03", "spin_period_h = -2.03")))
    assert found["primary_angular_momentum_kg_m2_s"] < 0.0 < found["orbit_angular_momentum_kg_m2_s"]
    assert found["total_angular_momentum_kg_m2_s"] < 0.0


def test_orbit_equilibrium_and_small_motions(invented):
    """Libration 1-5 % slower than n sqrt(3 (B - A)/C) (Murray & Dermott 1999, ch. 5), since the orbit
    answers."""
    found = description_numbers(invented)
    assert found["orbital_speed_m_s"] == pytest.approx(2 * math.pi * 821.0 / (10.42 * HOUR_S), rel=1e-12)
    assert found["equilibrium_stable"] is True and found["equilibrium_minimum_energy"] is True
    assert found["equilibrium_period_h"] == pytest.approx(10.42, abs=1e-4)
    a, b, _ = invented.scenario.secondary.semi_axes_m
    textbook = 10.42 / math.sqrt(3 * (a * a - b * b) / (a * a + b * b))
    rows = {row["name"]: row for row in modes(invented) if row["period_h"] and row["equilibrium_period_h"]}
    assert 1.01 < rows["libration"]["period_h"] / textbook < 1.05
    for name in ("libration", "epicyclic", "out_of_plane"):
        assert rows[name]["equilibrium_period_h"] == pytest.approx(rows[name]["period_h"], rel=1e-4)
        assert rows[name]["growth_per_orbit"] == pytest.approx(1.0, abs=1e-4)
    assert len(modes(invented)) == len(invented.start.modes) + 1  # the primary's pole nods at a rate modulo its turn


def test_escape_speeds_of_the_pair_hit_in_2022(impact_2022):
    """About 0.09 m/s from the secondary and 0.26 from the system at its ground.

    Worked by hand from M2 4.3e9 kg, R2 75.5 m, M1 5.6e11 kg, a 1206 m: sqrt(2 G M2/R2), sqrt(2 G (M2/R2 + M1/a)).
    """
    found = description_numbers(impact_2022)
    assert found["secondary_escape_speed_m_s"] == pytest.approx(0.0872, abs=0.0025)
    assert found["secondary_system_escape_speed_m_s"] == pytest.approx(0.263, abs=0.003)


def test_barycentre_of_2022_is_pushed_as_measured(impact_2022):
    """-11.7 +- 1.3 um/s along its track with beta 2.0: Makadia et al. 2026, Science Advances 12(10)."""
    assert description_numbers(impact_2022)["barycentre_along_track_um_s"] == pytest.approx(-11.7, abs=1.3)
    assert impact_2022.flyby_outcome == "free"


def test_barycentre_takes_what_leaves_the_pair(impact_2022):
    """(M1 + M2) dv = m U + m (beta_system - 1)(E.U) E, from the scenario's own directions, ecliptic all along."""
    scenario = impact_2022.scenario
    flight, ejecta = (
        np.array(way.unit) for way in (scenario.impactor.direction, scenario.momentum_transfer.ejecta_direction)
    )
    momentum = 579.4 * 6144.9 * flight
    given = momentum + (2.0 - 1.0) * (ejecta @ momentum) * ejecta
    assert impact_2022.deflection.dv_m_s == pytest.approx(given / impact_2022.start.system.mass_kg, rel=1e-10)


def test_surroundings_follow_from_the_heliocentric_orbit(dated):
    found, a, e = description_numbers(dated), 1.37 * ASTRONOMICAL_UNIT_M, 0.21
    gm = found["total_gm_m3_s2"]
    assert found["perihelion_hill_radius_m"] == pytest.approx(a * (1 - e) * (gm / (3 * GM_SUN)) ** (1 / 3), rel=1e-12)
    assert found["sphere_of_influence_m"] == pytest.approx(a * (gm / GM_SUN) ** 0.4, rel=1e-12)
    ratio = found["perihelion_solar_flux_w_m2"] / found["aphelion_solar_flux_w_m2"]
    assert ratio == pytest.approx(((1 + e) / (1 - e)) ** 2, rel=1e-12)
    assert found["aphelion_solar_flux_w_m2"] == pytest.approx(1361.0 / (1.37 * 1.21) ** 2, rel=1e-12)
    at = found["impact_distance_m"]
    assert found["perihelion_distance_m"] < at < found["aphelion_distance_m"]
    assert found["impact_hill_radius_m"] / found["perihelion_hill_radius_m"] == pytest.approx(
        at / found["perihelion_distance_m"], rel=1e-12
    )
    # one over the distance in the pressure, squared, and a root: the limit goes with the distance
    assert found["aphelion_terminator_safe_m"] / found["perihelion_terminator_safe_m"] == pytest.approx(
        (1 + e) / (1 - e), rel=1e-12
    )


def test_circular_orbits_keep_keplers_law_and_name_what_ends_them(dated, invented):
    for row in rings(dated):
        assert row["speed_m_s"] * row["period_h"] * HOUR_S == pytest.approx(2 * math.pi * row["radius_m"], rel=1e-12)
    says = [row["says"] for row in rings(dated)]
    assert says[0] == "stable" and says[-1] == "escapes at perihelion (solar radiation pressure)"
    assert {row["says"] for row in rings(invented)} == {""}
    near_sun = described(DATED.replace("_au = 1.37", "_au = 0.3"))
    half_hill = 0.5 * description_numbers(near_sun)["perihelion_hill_radius_m"]
    for row in rings(near_sun):
        assert (row["says"] == "beyond half the Hill radius at perihelion") == (row["radius_m"] > half_hill)
    assert rings(near_sun)[2]["radius_m"] < half_hill < rings(near_sun)[3]["radius_m"]


def test_displacement_goes_with_the_rule_of_thumb_to_the_shape_of_the_orbit(dated):
    """Over decades the mean of along / (-3 dv t) is a v_here v_then / GM, within e of 1, and it oscillates about it."""
    rows = displacements(dated)
    assert [row["lead_years"] for row in rows] == [1.0, 2.0, 5.0, 10.0, 20.0, 50.0]
    for row in rows[2:]:
        assert 0.5 < row["along_track_km"] / row["rule_of_thumb_km"] < 1.6
    assert all(row["total_km"] >= abs(row["along_track_km"]) for row in rows)
    axis, change = element_changes(dated)["semi_major_axis_au_km"]
    period_days, period_s = element_changes(dated)["period_days_s"]
    # Kepler's third law, dP/P = 3/2 da/a
    assert axis == pytest.approx(1.37, rel=1e-12)
    assert period_s / (period_days * 86400.0) == pytest.approx(
        1.5 * change / (1.37 * ASTRONOMICAL_UNIT_M / 1e3), rel=1e-4
    )


def test_what_is_missing_is_said(tmp_path, capsys):
    for text, lacks in (
        (BUILTIN, "[heliocentric_orbit]"),
        (LIT, "impact_epoch_utc"),
        (DATED.replace(POLE, "eccentricity = 0.0\n"), "pole"),
        (DATED[: DATED.index("[impactor]")] + SUN, "an impact"),
        (DATED.replace("aim_offset_m = [0.0, 0.0]", "aim_offset_m = [500.0, 0.0]"), "an impact"),
    ):
        found = described(text)
        assert lacks in found.deflection_missing and found.deflection is None
        assert description_numbers(found)["barycentre_along_track_um_s"] is None
    place = tmp_path / "nowhere.toml"
    place.write_text(BUILTIN)
    assert main(["describe", str(place)]) == 0
    shown = capsys.readouterr().out
    assert "not computed: hill radius, sphere of influence" in shown and "(needs [heliocentric_orbit])" in shown
    assert CAUTION in shown


@pytest.mark.parametrize("aim, outcome", [(0.0, "contact"), (1500.0, "inside"), (5000.0, "free")])
def test_a_pass_that_ends_on_the_primary_is_an_outcome(aim, outcome):
    found = described(BUILTIN + f"[spacecraft]\nimpact_parameter_m = {aim}\n")
    shown = description_numbers(found)
    assert shown["flyby_outcome"] == outcome
    assert (shown["flyby_capture_dv_circle_m_s"] is None) == (outcome == "contact")


def test_speeds_relative_to_each_body(invented):
    found = description_numbers(invented)
    assert found["primary_own_speed_m_s"] + found["secondary_own_speed_m_s"] == pytest.approx(
        found["orbital_speed_m_s"]
    )
    momenta = [found[f"{name}_mass_kg"] * found[f"{name}_own_speed_m_s"] for name in ("primary", "secondary")]
    assert momenta[0] == pytest.approx(momenta[1], rel=1e-12)  # the barycentre rests
    at = math.sqrt(0.2**2 + 2 * found["total_gm_m3_s2"] / 1e4)
    for name in ("primary", "secondary"):
        own = found[f"{name}_own_speed_m_s"]
        span = found[f"{name}_flyby_speed_least_m_s"], found[f"{name}_flyby_speed_greatest_m_s"]
        assert span == pytest.approx((at - own, at + own), rel=1e-12)


def test_the_screen_and_the_json_tell_the_same(tmp_path, capsys):
    place, figure = tmp_path / "pair.toml", tmp_path / "pair.svg"
    place.write_text(DATED)
    assert main(["describe", str(place), "--plot", str(figure)]) == 0
    shown = capsys.readouterr().out
    assert main(["describe", str(place), "--json"]) == 0
    told = json.loads(capsys.readouterr().out)
    assert f"{told['perihelion_hill_radius_m'] / 1e3:.2f}" in shown
    assert f"{told['barycentre_along_track_um_s']:+.3f} along the heliocentric velocity" in shown
    assert told["heliocentric_missing"] == {} and told["caution"] == CAUTION
    assert figure.read_bytes().startswith(b"<?xml")


def test_bad_input_is_one_line(tmp_path, capsys):
    for words, names in (
        (["describe", str(tmp_path / "none.toml")], "no such file"),
        (["describe", "--plot", str(tmp_path / "pair.jpeg")], ".svg"),
        (["describe", "--plot", str(tmp_path / "no" / "pair.svg")], "not a folder"),
    ):
        assert main(words) == 2
        said = capsys.readouterr()
        assert names in said.err and said.err.count("\n") == 1 and not said.out


def test_the_figure_is_to_scale(dated):
    """Equal axes; the orbit is a circle of the separation; each radius ends at its length on the ruler."""
    figure = description_figure(dated)
    pair, ruler = figure.axes
    assert pair.get_aspect() == 1.0
    lines = {line.get_label(): line for line in pair.lines}
    assert np.hypot(*lines["mutual orbit"].get_data()) == pytest.approx(821.0, rel=1e-12)
    synchronous = np.hypot(*lines["synchronous with primary"].get_data())
    assert synchronous == pytest.approx(description_numbers(dated)["primary_synchronous_radius_m"], rel=1e-12)
    ends = {line.get_label(): line.get_xdata()[-1] for line in ruler.lines}
    assert ends["_Hill radius, perihelion"] == description_numbers(dated)["perihelion_hill_radius_m"]
    assert ends["_sphere of influence"] == description_numbers(dated)["sphere_of_influence_m"]


def test_what_is_printed_says_where_it_holds(capsys):
    """The secondary takes over nowhere around the primary: a dash, and no second name of the separation."""
    assert main(["describe"]) == 0
    lines = capsys.readouterr().out.splitlines()
    (row,) = [line.split() for line in lines if line.startswith("Hill radius about the primary")]
    assert row[-2] == "-" and float(row[-1]) > 50.0
    assert any(line.startswith("  at pericentre ") and "capture delta-v" in line for line in lines)
