"""Whatever a scenario file gets wrong is one line on stderr that names the key, with exit code 2, never a traceback."""

import subprocess
import sys

import pytest

from binarydyn.commands import main
from binarydyn.scenario import Scenario

GOOD = """
name = "a system"
[primary]
semi_axes_m = [300, 290, 250]
density_kg_m3 = 2000.0
spin_period_h = 3.1
[secondary]
semi_axes_m = [70, 60, 50]
density_kg_m3 = 2000.0
[mutual_orbit]
separation_m = 900.0
period_h = 12.9
[impactor]
mass_kg = 500.0
speed_km_s = 5.0
direction = {along_track = -1.0}
[momentum_transfer]
beta = 2.0
[simulation]
degree = 4
[observation]
estimator = "weighted_fit"
[sampling]
seed = 1
[sampling.quantities]
"impactor.mass_kg" = {normal = [500.0, 5.0]}
"momentum_transfer.beta" = {uniform = [1.0, 4.0]}
"secondary.density_kg_m3" = {lognormal = [2000.0, 0.1]}
"""
CORE = "[[primary.inclusions]]\nsemi_axes_m = [100, 100, 100]\ncentre_m = [40, 0, 0]\ndensity_kg_m3 = 3e3\n"
SHAPE = "[reshaping]\nsecondary_semi_axes_m = [75, 60, 48]\n[impactor]"
ROCK = "[[boulders]]\nmass_kg = 1e4\nspeed_m_s = 5\ndirection = {along_track = 1, normal = 2}\n[impactor]"
HELIO = """[heliocentric_orbit]
semi_major_axis_au = 1.5
eccentricity = 0.3
inclination_deg = 4.0
node_deg = 80.0
argument_of_pericentre_deg = 10.0
mean_anomaly_deg = 200.0
epoch_jd_tdb = 2462000.5
[impactor]"""
TWO = '"impactor.mass_kg", "momentum_transfer.beta"'

# what is replaced, by what, the key that the line must name, a word that says what is wrong or what to do
RATIOS = "axis_ratio_ab = 1.2\naxis_ratio_bc = 1.1\nvolume_equivalent_diameter_m = 120.0"
WRONG = [
    # keys
    ("spin_period_h = 3.1", "spin_period_s = 11160.0", "primary.spin_period_s", "spin_period_h"),
    ("spin_period_h = 3.1", "spin_period = 3.1", "primary.spin_period", "spin_period_h"),
    ("density_kg_m3 = 2000.0\nspin", "density_g_cm3 = 2.0\nspin", "primary.density_g_cm3", "density_kg_m3"),
    ("separation_m = 900.0", "separation_km = 0.9", "mutual_orbit.separation_km", "separation_m"),
    ("speed_km_s = 5.0", "speed_m_s = 5000.0", "impactor.speed_m_s", "speed_km_s"),
    ("speed_km_s = 5.0", "sped_km_s = 5.0", "impactor.sped_km_s", "speed_km_s"),
    ("beta = 2.0", "betta = 2.0", "momentum_transfer.betta", "beta"),
    ("beta = 2.0", "Beta = 2.0", "momentum_transfer.Beta", "beta"),
    ("degree = 4", "degree = 4\nbeta = 2.0", "simulation.beta", "[momentum_transfer]"),
    ("mass_kg = 500.0", "mass_kg = 500.0\nseparation_m = 9.0", "impactor.separation_m", "[mutual_orbit]"),
    ('name = "a system"', "spin_period_h = 3.1", "spin_period_h", "[primary]"),
    ("[impactor]", "[impacter]", "impacter", "impactor"),
    ("[mutual_orbit]", "[orbit]", "orbit", "mutual_orbit"),
    ("degree = 4", '"a\\nb" = 4', 'simulation."a\\nb"', "unknown"),
    ("direction = {along_track = -1.0}", "direction = {along = -1.0}", "impactor.direction.along", "along_track"),
    ("spin_period_h = 3.1", "", "primary.spin_period_h", "missing"),
    ("mass_kg = 500.0", "", "impactor.mass_kg", "missing"),
    ("direction = {along_track = -1.0}", "", "impactor.direction", "missing"),
    # types
    ("mass_kg = 500.0", 'mass_kg = "500"', "impactor.mass_kg", "without quotes"),
    ("mass_kg = 500.0", "mass_kg = true", "impactor.mass_kg", "true is given"),
    ("mass_kg = 500.0", "mass_kg = 2022-01-01", "impactor.mass_kg", "date"),
    ("mass_kg = 500.0", "mass_kg = [500.0]", "impactor.mass_kg", "a number"),
    ("mass_kg = 500.0", "mass_kg = {value = 500.0}", "impactor.mass_kg", "a table is given"),
    ("degree = 4", "degree = 4.5", "simulation.degree", "2 or 4"),
    ("seed = 1", "seed = 1.5", "sampling.seed", "whole number"),
    ("seed = 1", "seed = true", "sampling.seed", "whole number"),
    ('name = "a system"', "name = 3", "name", "quotes"),
    ("semi_axes_m = [70, 60, 50]", "semi_axes_m = [70, 60]", "secondary.semi_axes_m", "3 numbers"),
    ("semi_axes_m = [70, 60, 50]", "semi_axes_m = [70, 60, 50, 40]", "secondary.semi_axes_m", "3 numbers"),
    ("semi_axes_m = [70, 60, 50]", "semi_axes_m = 70", "secondary.semi_axes_m", "3 numbers"),
    ("semi_axes_m = [70, 60, 50]", 'semi_axes_m = [70, "60", 50]', "secondary.semi_axes_m", "3 numbers"),
    ("[secondary]", "[[secondary]]", "secondary", "single brackets"),
    ("[simulation]\ndegree = 4", "simulation = 4", "momentum_transfer.simulation", "[simulation]"),
    ("direction = {along_track = -1.0}", "direction = [-1.0, 0.0, 0.0]", "impactor.direction", "along_track"),
    # ranges
    ("mass_kg = 500.0", "mass_kg = -500.0", "impactor.mass_kg", "allowed is 0.001 .. 1e+09 kg"),
    ("mass_kg = 500.0", "mass_kg = nan", "impactor.mass_kg", "finite"),
    ("mass_kg = 500.0", "mass_kg = inf", "impactor.mass_kg", "finite"),
    ("mass_kg = 500.0", "mass_kg = 1e400", "impactor.mass_kg", "finite"),
    ("mass_kg = 500.0", "mass_kg = 1" + 400 * "0", "impactor.mass_kg", "finite"),
    ("mass_kg = 500.0", "mass_kg = 1" + 5000 * "0", "scenario.toml", "not TOML"),
    ("mass_kg = 500.0", "mass_kg = 0x" + 5000 * "f", "impactor.mass_kg", "finite"),
    ("seed = 1", "seed = 0x" + 5000 * "f", "sampling.seed", "huge"),
    ("mass_kg = 500.0", "mass_kg = 1e30", "impactor.mass_kg", "1e+30"),
    ("speed_km_s = 5.0", "speed_km_s = 5000.0", "impactor.speed_km_s", "100 km/s"),
    ("speed_km_s = 5.0", "speed_km_s = 0.0", "impactor.speed_km_s", "0.01"),
    ("beta = 2.0", "beta = -1.0", "momentum_transfer.beta", "0 .. 100"),
    ("semi_axes_m = [70, 60, 50]", "semi_axes_m = [70, 60, -50]", "secondary.semi_axes_m", "-50"),
    ("semi_axes_m = [70, 60, 50]", "semi_axes_m = [50, 60, 70]", "secondary.semi_axes_m", "longest first"),
    ("semi_axes_m = [70, 60, 50]", "semi_axes_m = [70, 60, nan]", "secondary.semi_axes_m", "finite"),
    ("density_kg_m3 = 2000.0\nspin", "density_kg_m3 = 2.0\nspin", "primary.density_kg_m3", "20000"),
    ("density_kg_m3 = 2000.0\nspin", "mass_kg = 1e5\nspin", "primary.mass_kg", "density"),
    ("spin_period_h = 3.1", "spin_period_h = 0", "primary.spin_period_h", "0.1"),
    ("spin_period_h = 3.1", "spin_period_h = -0.01", "primary.spin_period_h", "either sign"),
    ("period_h = 12.9", "period_h = 12.9\neccentricity = 0.9", "mutual_orbit.eccentricity", "0.15"),
    ("period_h = 12.9", "period_h = 1.0e6", "mutual_orbit.period_h", "100000 h"),
    ("degree = 4", "degree = 3", "simulation.degree", "2 or 4"),
    ("degree = 4", "tolerance = 0.1", "simulation.tolerance", "1e-06"),
    ("degree = 4", "days_after = 0.0", "simulation.days_after", "above 0"),
    ("degree = 4", "days_before = 1e6", "simulation.days_before", "36500"),
    ("degree = 4", "sample_minutes = 0.005\ndays_after = 3650", "simulation.sample_minutes", "samples"),
    ("degree = 4", "sample_minutes = 300.0", "simulation.sample_minutes", "quarter"),
    ("degree = 4", "max_steps = 0", "simulation.max_steps", "1000"),
    ("degree = 4", 'integrator = "euler"', "simulation.integrator", "rungekutta"),
    ('"weighted_fit"', '"weigted_fit"', "observation.estimator", "weighted_fit"),
    ('"weighted_fit"', "3", "observation.estimator", "quotes"),
    ("[secondary]", '[secondary]\nspin = "tumbling"', "secondary.spin", "synchronous"),
    ("[secondary]", "[secondary]\nlibration_amplitude_deg = 90.0", "secondary.libration_amplitude_deg", "60 deg"),
    ("{along_track = -1.0}", "{along_track = 0.0, radial = 0.0}", "impactor.direction", "zero"),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\nsite = {longitude_deg = 0, latitude_deg = 91}", "site.latitude_deg", "90"),
    # the system as a whole
    ("separation_m = 900.0", "", "mutual_orbit.separation_m", "under-determined"),
    ("period_h = 12.9", "", "mutual_orbit.period_h", "under-determined"),
    ("period_h = 12.9", 'period_h = 12.9\nsolve_for = "period"', "mutual_orbit.period_h", "over-determined"),
    ("period_h = 12.9", 'period_h = 12.9\nsolve_for = "separation"', "mutual_orbit.separation_m", "over-determined"),
    ("period_h = 12.9", 'period_h = 12.9\nsolve_for = "spin"', "mutual_orbit.solve_for", "density or mass"),
    ("separation_m = 900.0", "separation_m = 370.0", "mutual_orbit.separation_m", "overlap"),
    ("separation_m = 900.0", "separation_m = 350.0\neccentricity = 0.15", "mutual_orbit.separation_m", "overlap"),
    ("period_h = 12.9", "period_h = 3.5", "primary.spin_period_h", "not supported yet"),
    ("period_h = 12.9", "period_h = 0.25", "mutual_orbit.period_h", "density"),
    ("density_kg_m3 = 2000.0\nspin", "spin", "primary.density_kg_m3", "neither"),
    ("density_kg_m3 = 2000.0\nspin", "density_kg_m3 = 2e3\nmass_kg = 2e11\nspin", "primary.mass_kg", "both"),
    ("semi_axes_m = [70, 60, 50]", "", "secondary.semi_axes_m", "neither"),
    ("semi_axes_m = [70, 60, 50]", 'polyhedron = {file = "no.obj", unit = "m"}', "secondary.polyhedron.file", "no.obj"),
    ("semi_axes_m = [70, 60, 50]", 'polyhedron = {file = "a\\u0000b", unit = "m"}', "polyhedron.file", "no file"),
    ("semi_axes_m = [70, 60, 50]", 'polyhedron = {file = "scenario.toml"}', "polyhedron.unit", "m or km"),
    (
        "semi_axes_m = [70, 60, 50]",
        'polyhedron = {file = "scenario.toml", unit = "ft"}',
        "polyhedron.unit",
        "m or km",
    ),
    # a shape by its ratios
    ("semi_axes_m = [70, 60, 50]", f"{RATIOS}\nsemi_axes_m = [70, 60, 50]", "secondary.axis_ratio_ab", "both"),
    (
        "semi_axes_m = [70, 60, 50]",
        f'{RATIOS}\npolyhedron = {{file = "scenario.toml", unit = "m"}}',
        "secondary.axis_ratio_ab",
        "both",
    ),
    ("semi_axes_m = [70, 60, 50]", RATIOS.replace("axis_ratio_bc = 1.1", ""), "secondary.axis_ratio_bc", "missing"),
    ("semi_axes_m = [70, 60, 50]", RATIOS.replace("1.1", "0.9"), "secondary.axis_ratio_bc", "1 .. 20"),
    ("semi_axes_m = [70, 60, 50]", RATIOS.replace("120", "0"), "secondary.volume_equivalent_diameter_m", "0.1"),
    ("semi_axes_m = [70, 60, 50]", RATIOS.replace("_ab", "_ac"), "secondary.axis_ratio_ac", "axis_ratio_a"),
    # the impact
    ("[simulation]", "[velocity_change]\nradial_mm_s = 1.0\n[simulation]", "velocity_change", "both"),
    (
        "[impactor]\nmass_kg = 500.0\nspeed_km_s = 5.0\ndirection = {along_track = -1.0}",
        "",
        "momentum_transfer",
        "impactor",
    ),
    (
        "speed_km_s = 5.0",
        "speed_km_s = 5.0\naim_offset_m = [1, 2]\nsite = {longitude_deg = 0, latitude_deg = 0}",
        "impactor.aim_offset_m",
        "both",
    ),
    # among the planets
    ("[impactor]", HELIO.replace("1.5", "0.0"), "heliocentric_orbit.semi_major_axis_au", "0.1 .. 1000 au"),
    ("[impactor]", HELIO.replace("0.3", "1.2"), "heliocentric_orbit.eccentricity", "0 .. 0.99"),
    ("[impactor]", HELIO.replace("4.0", "-4.0"), "heliocentric_orbit.inclination_deg", "0 .. 180 deg"),
    ("[impactor]", HELIO.replace("80.0", "nan"), "heliocentric_orbit.node_deg", "finite"),
    ("[impactor]", HELIO.replace("2462000.5", "62000.0"), "heliocentric_orbit.epoch_jd_tdb", "2.4e+06"),
    ("[impactor]", HELIO.replace("mean_anomaly_deg = 200.0", ""), "heliocentric_orbit.mean_anomaly_deg", "missing"),
    ("[impactor]", HELIO.replace("_au", "_km"), "heliocentric_orbit.semi_major_axis_km", "semi_major_axis_au"),
    ("[impactor]", HELIO.replace("200.0", '"200"'), "heliocentric_orbit.mean_anomaly_deg", "without quotes"),
    # perturbations
    ("[impactor]", '[perturbations]\nsolar_tide = "yes"\n[impactor]', "perturbations.solar_tide", "off or on"),
    ("[impactor]", '[perturbations]\nsolar_tide = "on"\n[impactor]', "heliocentric_orbit", "missing"),
    ("[impactor]", '[perturbations]\nsolar_tide = "on"\n' + HELIO, "impact_epoch_utc", "missing"),
    (
        'name = "a system"',
        'impact_epoch_utc = "2031-05-06T07:08:09"\nperturbations = {solar_tide = "on"}\n'
        + "heliocentric_orbit = {"
        + ", ".join(HELIO.splitlines()[1:-1])
        + "}",
        "mutual_orbit.pole_longitude_deg",
        "missing",
    ),
    (
        "[impactor]",
        "[perturbations]\nmean_motion_rate_rad_s2 = 1\n[impactor]",
        "perturbations.mean_motion_rate_rad_s2",
        "1e-12",
    ),
    ("[impactor]", "[perturbations]\nmean_motion_rate = 1e-17\n[impactor]", "perturbations.mean_motion_rate", "rad_s2"),
    (
        "[impactor]",
        "[perturbations]\nmean_motion_rate_rad_s2 = 1e-17\nmean_anomaly_drift_deg_yr2 = 1\n[impactor]",
        "perturbations.mean_anomaly_drift_deg_yr2",
        "remove",
    ),
    (
        "[impactor]",
        "[perturbations]\nmean_anomaly_drift_deg_yr2 = nan\n[impactor]",
        "perturbations.mean_anomaly_drift_deg_yr2",
        "finite",
    ),
    (
        "[impactor]",
        "[perturbations]\ntransient_period_change_s = 1e5\n[impactor]",
        "perturbations.transient_period_change_s",
        "3600",
    ),
    (
        "[impactor]",
        "[perturbations]\ntransient_days = 3\n[impactor]",
        "perturbations.transient_period_change_s",
        "remove",
    ),
    (
        "[impactor]",
        '[perturbations]\ntransient_period_change_s = -34\ntransient_profile = "step"\n[impactor]',
        "perturbations.transient_profile",
        "linear",
    ),
    (
        "[impactor]",
        "[perturbations]\ntransient_period_change_s = -34\ntransient_days = 0\n[impactor]",
        "perturbations.transient_days",
        "0.01 .. 36500",
    ),
    ("[impactor]", "[perturbations]\nlove_number = 0.01\n[impactor]", "perturbations.time_lag_s", "add it"),
    ("[impactor]", "[perturbations]\ntime_lag_s = 30\n[impactor]", "perturbations.love_number", "add it"),
    (
        "[impactor]",
        "[perturbations]\nlove_number = 2\ntime_lag_s = 30\n[impactor]",
        "perturbations.love_number",
        "0 .. 1.5",
    ),
    (
        "[impactor]",
        "[perturbations]\nlove_number = 0.1\ntime_lag_s = -30\n[impactor]",
        "perturbations.time_lag_s",
        "0 .. 100000",
    ),
    ('name = "a system"', "impact_epoch_utc = 2031-05-06T07:08:09", "impact_epoch_utc", "quotes"),
    ('name = "a system"', 'impact_epoch_utc = "tomorrow"', "impact_epoch_utc", "ISO 8601"),
    ('name = "a system"', 'impact_epoch_utc = "2031-05-06"', "impact_epoch_utc", "date and time"),
    ('name = "a system"', 'impact_epoch_utc = "2031-05-06T07:08:09+02:00"', "impact_epoch_utc", "UTC"),
    ('name = "a system"', 'impact_epoch_utc = "1931-05-06T07:08:09"', "impact_epoch_utc", "1972 .. 2100"),
    ('name = "a system"', 'impact_epoch_utc = "2131-05-06T07:08:09"', "impact_epoch_utc", "1972 .. 2100"),
    # what comes near
    # shapes and boulders
    ("[impactor]", SHAPE.replace("[75, 60, 48]", "[60, 75, 48]"), "reshaping.secondary_semi_axes_m", "longest first"),
    ("[impactor]", SHAPE.replace("[75, 60, 48]", "[75, 60]"), "reshaping.secondary_semi_axes_m", "3 numbers"),
    ("[impactor]", SHAPE.replace("[75, 60, 48]", "[75, 60, 0]"), "reshaping.secondary_semi_axes_m", "0.1 .. 1e+06 m"),
    ("[impactor]", SHAPE.replace("[75, 60, 48]", "[75, 60, nan]"), "reshaping.secondary_semi_axes_m", "finite"),
    ("[impactor]", SHAPE.replace("_axes_m", "_axis_m"), "reshaping.secondary_semi_axis_m", "secondary_semi_axes_m"),
    ("[impactor]", SHAPE.replace("48]", '48]\nvolume = "keep"'), "reshaping.volume", "did you mean kept"),
    ("[impactor]", "[reshaping]\n[impactor]", "reshaping.secondary_semi_axes_m", "at least one"),
    ("[impactor]", SHAPE.replace("48]", '0.1]\nvolume = "as_given"'), "reshaping.secondary_semi_axes_m", "density"),
    ("[impactor]", SHAPE.replace("[75, 60, 48]", "[1e6, 1, 1]"), "reshaping", "overlap"),
    (
        "[secondary]",
        f"{CORE}{SHAPE[:-10].replace('secondary', 'primary')}[secondary]",
        "reshaping.primary",
        "inclusions",
    ),
    ("[impactor]", ROCK.replace("1e4", "0"), "boulders.0.mass_kg", "0.001 .. 1e+12 kg"),
    ("[impactor]", ROCK.replace("= 5", "= -5"), "boulders.0.speed_m_s", "0.001 .. 10000 m/s"),
    ("[impactor]", ROCK.replace("speed_m_s = 5\n", ""), "boulders.0.speed_m_s", "missing"),
    ("[impactor]", ROCK.replace("speed_m_s", "speed_km_s"), "boulders.0.speed_km_s", "speed_m_s"),
    ("[impactor]", ROCK.replace("along_track = 1, normal = 2", ""), "boulders.0.direction", "zero"),
    ("[impactor]", ROCK.replace("along_track = 1, normal = 2", "up = 1"), "boulders.0.direction.up", "unknown"),
    ("[impactor]", ROCK.replace("[[boulders]]", "[boulders]"), "boulders", "double brackets"),
    (
        "[impactor]",
        ROCK.replace("along_track = 1, normal = 2", "ecliptic_longitude_deg = 1, ecliptic_latitude_deg = 2"),
        "boulders.0.direction",
        "pole",
    ),
    ("[impactor]", "[spacecraft]\nreflectance = 1.5\n[impactor]", "spacecraft.reflectance", "0 .. 1"),
    ("[impactor]", "[spacecraft]\narea_to_mass_m2_kg = 0\n[impactor]", "spacecraft.area_to_mass_m2_kg", "above 0"),
    (
        "[impactor]",
        "[spacecraft]\nimpact_parameter_m = -5\n[impactor]",
        "spacecraft.impact_parameter_m",
        "0 .. 1e+09 m",
    ),
    ("[impactor]", "[spacecraft]\ndistance_km = 5\n[impactor]", "spacecraft.distance_km", "distance_m"),
    (
        "[impactor]",
        "[spacecraft]\nspeed_at_infinity_m_s = 0\n[impactor]",
        "spacecraft.speed_at_infinity_m_s",
        "0.0001 .. 100000 m/s",
    ),
    # aim
    ("{along_track = -1.0}", "{inertial = [1, 0]}", "impactor.direction.inertial", "3 numbers"),
    ("{along_track = -1.0}", "{inertial = [0, 0, 0]}", "impactor.direction", "zero"),
    ("{along_track = -1.0}", "{inertial = [1, 0, 0], radial = 1.0}", "impactor.direction", "more than one frame"),
    ("{along_track = -1.0}", "{ecliptic_longitude_deg = 10}", "direction.ecliptic_latitude_deg", "go together"),
    (
        "{along_track = -1.0}",
        "{ecliptic_longitude_deg = 10, ecliptic_latitude_deg = 95}",
        "direction.ecliptic_latitude_deg",
        "-90 .. 90",
    ),
    (
        "{along_track = -1.0}",
        "{ecliptic_longitude_deg = 10, ecliptic_latitude_deg = 5}",
        "impactor.direction",
        "pole_longitude_deg",
    ),
    ("period_h = 12.9", "period_h = 12.9\npole_longitude_deg = 5", "mutual_orbit.pole_latitude_deg", "go together"),
    ("period_h = 12.9", "period_h = 12.9\npole_latitude_deg = 5", "mutual_orbit.pole_longitude_deg", "go together"),
    ("period_h = 12.9", "period_h = 12.9\nnode_angle_deg = 400", "mutual_orbit.node_angle_deg", "-360 .. 360"),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\naim_sigma_m = [1, -1]", "impactor.aim_sigma_m", "0 .. 1e+06"),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\naim_sigma_m = 3", "impactor.aim_sigma_m", "2 numbers"),
    (
        "speed_km_s = 5.0",
        "speed_km_s = 5.0\naim_sigma_m = [1, 2]\nsite = {longitude_deg = 0, latitude_deg = 0}",
        "impactor.aim_sigma_m",
        "both",
    ),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\ngrazing_deg = 91", "impactor.grazing_deg", "0 .. 90"),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\nnormal_radius_m = -1", "impactor.normal_radius_m", "0 .. 100000"),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\nnormal_sigma_deg = 31", "impactor.normal_sigma_deg", "0 .. 30 deg"),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\ndensity_kg_m3 = 5", "impactor.density_kg_m3", "10 .. 20000"),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\nradius_m = 0.5\ndensity_kg_m3 = 900", "impactor.radius_m", "both"),
    ("speed_km_s = 5.0", "speed_km_s = 5.0\nradius_m = 0.1", "impactor.radius_m", "a density of 1.19e+05"),
    # ejecta
    ("beta = 2.0", "beta = 2.0\nbeta_system = -1", "momentum_transfer.beta_system", "0 .. 100"),
    ("beta = 2.0", 'beta = 2.0\nmaterial = {name = "sand"}', "momentum_transfer.beta", "both"),
    ("beta = 2.0", 'beta_system = 2.0\nmaterial = {name = "sand"}', "momentum_transfer.beta_system", "both"),
    ("beta = 2.0", 'material = {name = "sand"}', 'sampling.quantities."momentum_transfer.beta"', "a material gives it"),
    ("beta = 2.0", 'material = "sand"', "momentum_transfer.material", "a table with the keys name, mu"),
    ("beta = 2.0", 'material = {name = "sant"}', "momentum_transfer.material.name", "sand"),
    ("beta = 2.0", "material = {name = 3}", "momentum_transfer.material.name", "quotes"),
    ("beta = 2.0", 'material = {name = "sand", C1 = 1.0}', "momentum_transfer.material.C1", "c1"),
    ("beta = 2.0", 'material = {name = "rock", strength_MPa = 30}', "material.strength_MPa", "strength_Pa"),
    ("beta = 2.0", 'material = {name = "sand", mu = 0.3}', "material.mu", "0.335 .. 0.666667"),
    ("beta = 2.0", 'material = {name = "sand", p = nan}', "material.p", "finite"),
    ("beta = 2.0", 'material = {name = "sand", h2 = 0.5}', "material.strength_Pa", "h2"),
    ("beta = 2.0", 'material = {name = "sand", strength_Pa = 10}', "material.h2", "strength_Pa"),
    ("beta = 2.0", "material = {mu = 0.4}", "momentum_transfer.material.k", "missing"),
    (
        "beta = 2.0",
        "material = {mu = 0.4, k = 0.3, c1 = 0.5, n2 = 1.3, p = 0.3, density_kg_m3 = 1600}",
        "momentum_transfer.material.h1",
        "h1 or h2",
    ),
    ("beta = 2.0", "beta = 2.0\nlaunch_angle_deg = 40", "momentum_transfer.launch_angle_deg", "without a material"),
    ("beta = 2.0", 'beta = 2.0\noblique = "vertical_beta"', "momentum_transfer.oblique", "without a material"),
    (
        "beta = 2.0",
        'material = {name = "sand"}\nlaunch_angle_deg = 91',
        "momentum_transfer.launch_angle_deg",
        "5 .. 90",
    ),
    ("beta = 2.0", 'material = {name = "sand"}\noblique = "no"', "momentum_transfer.oblique", "normal_component or"),
    ("beta = 2.0", 'material = {name = "sand"}\nejecta_speed = "far"', "momentum_transfer.ejecta_speed", "far_away"),
    ("beta = 2.0", 'material = {name = "sand"}\nscaling_sigma = 9', "momentum_transfer.scaling_sigma", "0 .. 3"),
    ("beta = 2.0", "beta = 2.0\nejecta_tilt_deg = 85", "momentum_transfer.ejecta_tilt_deg", "0 .. 80"),
    (
        "beta = 2.0",
        "beta = 2.0\nejecta_tilt_deg = 10\nejecta_direction = {radial = 1}",
        "momentum_transfer.ejecta_direction",
        "both",
    ),
    ("beta = 2.0", "beta = 2.0\nejecta_tilt_azimuth_deg = 500", "ejecta_tilt_azimuth_deg", "-360 .. 360"),
    # what lies in a body
    ("[secondary]", f"{CORE}[secondary]".replace("density_kg_m3 = 3e3", ""), "primary.inclusions.0.density", "missing"),
    ("[secondary]", f"{CORE}[secondary]".replace("3e3", "-3e3"), "primary.inclusions.0.density_kg_m3", "10 .. 20000"),
    (
        "[secondary]",
        f"{CORE}[secondary]".replace("[[", "[").replace("]]", "]"),
        "primary.inclusions",
        "double brackets",
    ),
    (
        "[secondary]",
        f"{CORE}[secondary]".replace("100]", "251]"),
        "primary.inclusions.0.semi_axes_m",
        "along z",
    ),
    ("[secondary]", f"{CORE}[secondary]".replace("40", "201"), "primary.inclusions.0.semi_axes_m", "sticks out"),
    ("[secondary]", f"{CORE}[secondary]".replace("40", "nan"), "primary.inclusions.0.centre_m", "finite"),
    ("[secondary]", f"{CORE}[secondary]".replace("[40, 0, 0]", "40"), "primary.inclusions.0.centre_m", "3 numbers"),
    ("[secondary]", f"{CORE}[secondary]".replace("centre_m", "center_m"), "primary.inclusions.0.center_m", "centre_m"),
    ("[secondary]", f"{CORE}{CORE}mass_kg = 1e9\n[secondary]", "primary.inclusions.1.mass_kg", "mass_kg"),
    ('"impactor.mass_kg" =', '"primary.inclusions.0.density_kg_m3" =', "inclusions.0.density_kg_m3", "does not give"),
    ('"impactor.mass_kg" =', '"primary.inclusions.<row>.density_kg_m3" =', "inclusions.<row>", "does not give"),
    # what is uncertain
    ("[500.0, 5.0]", "[500.0, 0.0]", 'sampling.quantities."impactor.mass_kg".normal', "sigma > 0"),
    ("[500.0, 5.0]", "[500.0]", 'sampling.quantities."impactor.mass_kg".normal', "2 numbers"),
    ("[500.0, 5.0]", "[-500.0, 5.0]", "impactor.mass_kg", "allowed is 0.001"),
    ("[1.0, 4.0]", "[4.0, 1.0]", "momentum_transfer.beta", "low < high"),
    ("lognormal = [2000.0, 0.1]", "lognormal = [0.0, 0.1]", "secondary.density_kg_m3", "above 0"),
    ("lognormal = [2000.0, 0.1]", "triangular = [1.0, 2.0]", "triangular", "lognormal"),
    (
        "lognormal = [2000.0, 0.1]",
        "normal = [1.0, 2.0], uniform = [1.0, 2.0]",
        "secondary.density_kg_m3",
        "exactly one",
    ),
    ('"impactor.mass_kg" =', '"impactor.mass_kgs" =', "impactor.mass_kgs", "mass_kg"),
    ('"impactor.mass_kg" =', '"impactor.direction" =', "impactor.direction", "impactor.direction.along_track"),
    ('"impactor.mass_kg" =', '"velocity_change.radial_mm_s" =', "velocity_change.radial_mm_s", "does not give"),
    ('"impactor.mass_kg" =', "impactor.mass_kg =", "sampling.quantities.impactor.mass_kg", "quotes"),
    ("seed = 1", f"correlations = [[{TWO}, 1.0]]", "sampling.correlations", "-1 < rho < 1"),
    ("seed = 1", f"correlations = [[{TWO}]]", "sampling.correlations", "key"),
    ("seed = 1", 'correlations = [["impactor.mass_kg", "beta", 0.1]]', "sampling.correlations", "beta"),
    ("seed = 1", f"correlations = [[{TWO}, 0.1], [{TWO}, 0.2]]", "sampling.correlations", "twice"),
    (
        "seed = 1",
        f'correlations = [[{TWO}, 0.9], ["impactor.mass_kg", "secondary.density_kg_m3", 0.9], '
        '["momentum_transfer.beta", "secondary.density_kg_m3", -0.9]]',
        "sampling.correlations",
        "positive definite",
    ),
    # not TOML at all
    ("beta = 2.0", "beta = ", "scenario.toml", "line 18"),
    ("beta = 2.0", "beta 2.0", "scenario.toml", "line 18"),
    ("beta = 2.0", "beta = 2.0\nbeta = 3.0", "scenario.toml", "line 19"),
    ("beta = 2.0", "beta = 2,0", "scenario.toml", "line 18"),
    ("[momentum_transfer]", "[impactor]", "scenario.toml", "line 17"),
    ("[1.0, 4.0]}", "[1.0, 4.0", "scenario.toml", "not TOML"),
    ("beta = 2.0", "beta = " + 20000 * "[", "scenario.toml", "nested"),
]


def refused(arguments: list[str], capsys: pytest.CaptureFixture[str]) -> str:
    """Run in this process; the one line of the refusal."""
    assert main(arguments) == 2
    out, err = capsys.readouterr()
    assert out == ""
    assert err.startswith("binarydyn: ") and err.endswith("\n") and len(err.splitlines()) == 1
    assert "Traceback" not in err and len(err) < 600
    return err


def test_what_the_table_starts_from_is_a_good_scenario():
    assert Scenario.from_text(GOOD).name == "a system"


@pytest.mark.parametrize(("old", "new", "key", "word"), WRONG, ids=[f"{i}-{row[2]}" for i, row in enumerate(WRONG)])
def test_a_wrong_scenario_is_one_line(old, new, key, word, tmp_path, capsys):
    assert GOOD.count(old) == 1
    file = tmp_path / "scenario.toml"
    file.write_text(GOOD.replace(old, new), encoding="utf-8")
    line = refused(["check", str(file)], capsys)
    assert line.startswith(f"binarydyn: {file}:")
    _, _, sentence = line.partition(str(tmp_path))
    assert key in sentence and word in sentence


FILES = [
    (b"", "empty"),
    (b"# only a comment\n\n", "empty"),
    (b"\x89PNG\r\n\x1a\n\x00\x00\xff", "UTF-8"),
    (b"name = 'a'\n\x00\x00", "binary"),
    (GOOD.encode("utf-16"), "UTF-8"),
    (b"# " + b"x" * (1 << 20), "1 MiB"),
    (b'{"primary": {}}', "line 1"),
    (b"CDF\x01", "line 1"),
    (b"name = 'a\x1b[31m'", "line 1"),
]


@pytest.mark.parametrize(("content", "word"), FILES)
def test_a_file_that_is_no_scenario_is_one_line(content, word, tmp_path, capsys):
    file = tmp_path / "scenario.toml"
    file.write_bytes(content)
    line = refused(["check", str(file)], capsys)
    assert str(file) in line and word in line.partition(str(file))[2]


def test_missing_files_and_folders_are_one_line(tmp_path, capsys):
    assert "no such file" in refused(["check", str(tmp_path / "none.toml")], capsys)
    assert "folder" in refused(["check", str(tmp_path)], capsys)
    assert "read" in refused(["check", "a" * 300], capsys)
    assert "read" in refused(["check", "a\0b"], capsys)
    assert "\\n" in refused(["check", "two\nlines"], capsys)


@pytest.mark.parametrize(
    ("arguments", "word"),
    [
        (["chekc"], "chekc"),
        (["--nonsense"], "--nonsense"),
        (["check", "--jsno"], "--json"),
        (["check", "one.toml", "two.toml"], "two.toml"),
        (["check", "one.toml", "--print"], "--print"),
        (["check", "--print", "--keys"], "--print"),
    ],
)
def test_a_wrong_command_line_is_one_line(arguments, word, capsys):
    assert word in refused(arguments, capsys)


def test_a_refusal_counts_the_other_errors(tmp_path, capsys):
    file = tmp_path / "scenario.toml"
    file.write_text(GOOD.replace("mass_kg = 500.0", "mass_kg = -1.0").replace("beta = 2.0", "beta = nan"))
    assert "(and 1 more error)" in refused(["check", str(file)], capsys)


@pytest.mark.parametrize("content", [GOOD.replace("beta", "betta"), ""])
def test_the_program_itself_refuses_in_one_line(content, tmp_path):
    file = tmp_path / "scenario.toml"
    file.write_text(content)
    done = subprocess.run([sys.executable, "-m", "binarydyn", "check", str(file)], capture_output=True, text=True)
    assert done.returncode == 2 and done.stdout == ""
    assert len(done.stderr.splitlines()) == 1 and str(file) in done.stderr
