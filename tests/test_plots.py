"""Figures: what the axes must contain, against closed forms and the schema; formats; refusals; text kept apart."""

import ast
import errno
import os
from dataclasses import replace
from itertools import combinations
from pathlib import Path
from xml.etree import ElementTree

import numpy as np
import pytest
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure
from matplotlib.text import Annotation, Text
from meshes import box

import binarydyn
from binarydyn import plots
from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.dynamics import Trajectory
from binarydyn.ensembles import rows_of
from binarydyn.errors import InputError
from binarydyn.observables import passage_times
from binarydyn.plots import outlines, style
from binarydyn.plots.aim import sight
from binarydyn.plots.seen import seen
from binarydyn.plots.words import MINUS, label_of, number
from binarydyn.prediction import predict
from binarydyn.sampling import Grid
from binarydyn.scenario import Scenario, example, numeric_names, varied
from binarydyn.scenario.keys import known_keys
from binarydyn.scenario.wording import CAUTION
from binarydyn.store import SweepStore, stored_members, write_prediction

DAYS = 12.0
SHORT = {"simulation.days_before": DAYS, "simulation.days_after": DAYS}
OUTCOMES = {
    "hit": {},
    "miss": {"impactor.aim_offset_m.0": 90.0},
    "contact": {"impactor.mass_kg": 8000.0},
    "escape": {"impactor.mass_kg": 14000.0, "impactor.direction.along_track": 0.96},
    "slight": {"impactor.mass_kg": 1.0},
    "longer period": {"impactor.direction.along_track": 0.9},
    "too short": {"simulation.days_before": 0.5, "simulation.days_after": 0.5},
}


@pytest.fixture(scope="module")
def prediction():
    return predict(varied(example(), SHORT))


def axes():
    return Figure(figsize=(4.0, 3.0)).add_subplot()


def drawn(ax, label):
    """(n, 2) of the one line of that label."""
    (line,) = [line for line in ax.get_lines() if line.get_label() == label]
    return np.column_stack(line.get_data())


def labels(ax):
    return [line.get_label() for line in ax.get_lines()]


def texts(ax):
    return [text.get_text() for text in ax.texts]


# --- the mutual orbit


def ellipse(turns, degrees_a_turn, eccentricity=0.08, start_deg=50.0, period_s=36000.0):
    """A turning Kepler ellipse of 800 m sampled 96 times a turn in true anomaly; the velocity by differences."""

    def place(angle):
        pericentre = np.radians(start_deg + degrees_a_turn * angle / (2.0 * np.pi))
        r = 800.0 * (1.0 - eccentricity**2) / (1.0 + eccentricity * np.cos(angle))
        direction = angle + pericentre
        return np.column_stack([r * np.cos(direction), r * np.sin(direction), 0.0 * r])

    angle = np.linspace(0.0, 2.0 * np.pi * turns, 96 * turns + 1) - np.radians(start_deg)
    rate = 2.0 * np.pi / period_s
    y = np.zeros((len(angle), 20))
    y[:, 0:3] = place(angle)
    y[:, 3:6] = (place(angle + 1e-5) - place(angle - 1e-5)) / 2e-5 * rate
    y[:, [6, 13]] = 1.0
    return Trajectory(None, (angle - angle[0]) / rate, y, "completed", 0.0, 0.0, 0, 0)


def test_pericentres_stand_where_the_ellipse_turns_to():
    """Closed form: pericentre k is at 50 + 9 k deg; the curve has a point every degree."""
    ax, run = axes(), ellipse(turns=20, degrees_a_turn=9.0)
    plots.orbit(ax, run, run)
    seen_from = np.degrees(np.arctan2(run.y[-1, 1], run.y[-1, 0]))  # x of the drawing is along r at the impact
    for label, k in (("First pericentre", 0), ("Last pericentre", 19)):
        ((x, y),) = drawn(ax, label)
        off = np.degrees(np.arctan2(y, x)) + seen_from - (50.0 + 9.0 * k)
        assert abs((off + 180.0) % 360.0 - 180.0) < 0.75
        # 800 m (1 - e); the ellipse turns 9 deg while the angle makes one turn, which leaves the distance as it is
        assert np.hypot(x, y) == pytest.approx(800.0 * 0.92, abs=0.1)


def test_a_circle_has_no_pericentre():
    ax, run = axes(), ellipse(turns=6, degrees_a_turn=0.0, eccentricity=1e-4)
    plots.orbit(ax, run, run)
    assert not [label for label in labels(ax) if "pericentre" in label]


def test_the_impact_is_where_the_moonlet_is_at_t0(prediction):
    ax = axes()
    plots.orbit(ax, prediction.before, prediction.after)
    distance = np.linalg.norm(prediction.start.system.state.position_m)
    assert drawn(ax, "impact") == pytest.approx(np.array([[distance, 0.0]]), abs=1e-6)
    assert {"Last orbit before", "First orbit after", "Last orbit after"} <= set(labels(ax))
    assert ax.get_aspect() == 1.0
    assert [ax.get_xlabel()[-3:], ax.get_ylabel()[-3:]] == ["(m)", "(m)"]
    for patch, axis, x in zip(ax.patches, (271.0, 70.0), (0.0, distance), strict=True):  # the long axes lie near x
        corners = patch.get_path().vertices
        assert 0.9 * 2.0 * axis < np.ptp(corners[:, 0]) <= 2.0 * axis * (1.0 + 1e-12)
        assert 0.5 * (corners.max(axis=0) + corners.min(axis=0)) == pytest.approx([x, 0.0], abs=1e-6)


def test_a_lap_is_one_turn(prediction):
    ax = axes()
    plots.orbit(ax, prediction.before, prediction.after)
    for label in ("Last orbit before", "First orbit after", "Last orbit after"):
        angle = np.unwrap(np.arctan2(*drawn(ax, label).T[::-1]))
        assert angle[-1] - angle[0] == pytest.approx(2.0 * np.pi, abs=0.06)  # a step of the curve


def test_outline_of_an_ellipsoid_has_the_area_of_its_shadow():
    """Area of the parallel projection along the unit vector n: pi a b c |D^-1 n| (from memory)."""
    rng = np.random.default_rng(5)
    body = Ellipsoid((300.0, 200.0, 120.0), 2000.0)
    attitude = rng.normal(size=4)
    plane = outlines.orbital_plane(rng.normal(size=3), rng.normal(size=3))
    x, y = outlines.outline(body, attitude, plane)
    area = 0.5 * abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1]))
    to_inertial = outlines.rotation_matrices(attitude[None, :])[0]
    normal = to_inertial.T @ np.cross(*plane)
    expected = np.pi * 300.0 * 200.0 * 120.0 * np.linalg.norm(normal / [300.0, 200.0, 120.0])
    # A polygon of n = 180 corners in an ellipse falls short by up to (2 pi / n)^2 / 6 times the squared axis ratio.
    assert area == pytest.approx(expected, rel=(2.0 * np.pi / 180) ** 2 / 6 * 2.5**2)


def test_outline_of_a_mesh_is_the_shadow_of_its_corners():
    """A box of 2 x 4 x 6 m seen along its shortest side, turned by 30 deg, is a rectangle of 4 x 6 m."""
    body = Mesh(*box([2.0, 4.0, 6.0]), 1000.0)
    # Principal axes ascend in inertia: the longest side is x and the shortest z, which stays along the line of sight.
    half = np.radians(15.0)
    x, y = outlines.outline(body, np.array([np.cos(half), 0.0, 0.0, np.sin(half)]), np.eye(3)[:2])
    assert 0.5 * abs(np.sum(x[:-1] * y[1:] - x[1:] * y[:-1])) == pytest.approx(24.0)
    assert x.max() == pytest.approx(3.0 * np.cos(2 * half) + 2.0 * np.sin(2 * half))


# --- the single cycles


def test_cycles_stand_in_the_middle_between_passages(prediction):
    ax = axes()
    plots.period_per_cycle(ax, prediction)
    for name in ("before", "after"):
        side = getattr(prediction, name)
        passages = passage_times(side) / 86400.0
        expected = np.column_stack([0.5 * (passages[1:] + passages[:-1]), 24.0 * np.diff(passages)])
        assert drawn(ax, name) == pytest.approx(expected, abs=1e-9)
        mean = drawn(ax, f"{name}: {side.period.value_h:.6f} h")
        assert mean[:, 1] == pytest.approx([side.period.value_h] * 2, rel=1e-15)
        assert mean[:, 0] == pytest.approx(side.time_s[[0, -1]] / 86400.0)
    assert drawn(ax, "impact")[0, 0] == 0.0 and "impact" in texts(ax)
    assert ax.get_xlabel().endswith(" (days)") and ax.get_ylabel().endswith(" (h)")


def test_a_hidden_scatter_is_enlarged_and_the_levels_are_named(prediction):
    """The step of the built-in impact is a hundred times the scatter."""
    ax = axes()
    plots.period_per_cycle(ax, prediction)
    before, after = prediction.before, prediction.after
    for inset, side in zip(ax.child_axes, (before, after), strict=True):
        shown = inset.get_lines()[0].get_ydata()
        assert shown == pytest.approx(side.single_orbit_periods_s - side.period.value_s, abs=1e-6)
        assert inset.get_title().endswith(" (s)")
    assert f"before: {before.period.value_h:.6f} h" in texts(ax)
    assert f"after: {after.period.value_h:.6f} h" in texts(ax)
    assert any(text.startswith(number(prediction.period_change_s, "+.2f", "s")) for text in texts(ax))


def test_a_small_step_needs_no_enlargement():
    ax = axes()
    plots.period_per_cycle(ax, predict(varied(example(), SHORT | OUTCOMES["slight"])))
    assert not ax.child_axes
    assert len([child for child in ax.get_children() if type(child).__name__ == "Legend"]) == 2


# --- the attitude


def test_near_the_impact_the_angles_themselves_are_drawn(prediction):
    ax = axes()
    plots.attitude_angles(ax, prediction, days=(-1.0, 2.0))
    history = prediction.after.attitude
    near = (history.time_s >= 0.0) & (history.time_s <= 2.0 * 86400.0)
    for name in ("roll", "pitch", "yaw"):
        after = [line for line in ax.get_lines() if line.get_label() == name][-1]
        assert after.get_ydata() == pytest.approx(getattr(history, f"{name}_deg")[near], abs=0.0)
    assert ax.get_ylabel() == "Attitude angle (deg)"


def test_over_many_cycles_the_extremes_are_drawn(prediction):
    ax = axes()
    plots.attitude_angles(ax, prediction)
    for name in ("roll", "pitch", "yaw"):
        angle = getattr(prediction.after.attitude, f"{name}_deg")
        highest = [line for line in ax.get_lines() if line.get_label() == name][-1].get_ydata()
        lowest = [line for line in ax.get_lines() if line.get_label() == f"_{name}, lowest"][-1].get_ydata()
        assert (highest.max(), lowest.min()) == (angle.max(), angle.min())
        assert 10 < len(highest) <= 40
    assert ax.get_ylabel().startswith("Attitude range") and ax.get_ylabel().endswith("(deg)")
    assert {"roll", "pitch", "yaw", "impact"} <= set(texts(ax))


def test_a_tumbling_moonlet_gets_a_scale_that_bends_at_half_a_turn(prediction):
    angle = prediction.after.attitude
    turning = replace(angle, yaw_deg=angle.yaw_deg + 4000.0 * angle.time_s / angle.time_s[-1], tumbling=True)
    ax = axes()
    plots.attitude_angles(ax, replace(prediction, after=replace(prediction.after, attitude=turning)))
    assert ax.get_yscale() == "symlog" and ax.yaxis.get_transform().linthresh == 180.0
    assert {180.0, -180.0, 1080.0} <= set(ax.get_yticks())


def test_no_two_curves_of_a_panel_differ_by_colour_alone():
    """Common practice for print without colour; lightness (ITU-R BT.709 weights) tells the strokes apart too."""
    for pens in ((style.BEFORE, style.AFTER, style.LATER), (style.ROLL, style.PITCH, style.YAW)):
        for one, other in combinations(pens, 2):
            assert one.dashes != other.dashes and one.marker != other.marker
            assert abs(_lightness(one.colour) - _lightness(other.colour)) > 0.02


def _lightness(colour):
    channels = np.array([int(colour[i : i + 2], 16) / 255.0 for i in (1, 3, 5)]) ** 2.2
    return channels @ [0.2126, 0.7152, 0.0722]


# --- the maps


def members(nx=9, ny=7):
    """x, y, z = x y of a grid, in an order of no meaning."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(300.0, 900.0, nx), np.linspace(4.0, 8.0, ny)))
    order = np.random.default_rng(2).permutation(x.size)
    return x[order], y[order], (x * y)[order]


def contour_set(ax):
    (lines,) = [c for c in ax.collections if type(c).__name__ == "QuadContourSet" and not c.filled]
    return lines


def test_contours_lie_where_the_value_is_theirs_and_are_labelled():
    ax, (x, y, z) = axes(), members()
    plots.sweep_map(ax, x, y, z, ("mass, kg", "speed, km/s", "momentum, Mg m/s"))
    lines = contour_set(ax)
    inner = [level for level in lines.levels if z.min() < level < z.max()]
    assert 5 <= len(inner) <= 10
    # Exact on the edges of a cell; x y on a chord between two points of equal x y is off by up to dx dy / 4.
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        if len(path.vertices):
            assert np.prod(path.vertices, axis=1) == pytest.approx(level, abs=75.0 * (2.0 / 3.0) / 4.0)
    named = [text.get_text() for text in lines.labelTexts]
    assert len(named) >= 0.7 * len(inner) and set(named) <= {f"{level:g}" for level in inner}
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("mass, kg", "speed, km/s")
    assert ax.get_title(loc="left") == "momentum, Mg m/s"
    assert not [label for label in labels(ax) if "failed" in label]


def test_labels_of_contours_lie_inside_the_area():
    """Three by five members of nearly straight contours, some of which only cut a corner."""
    x, y = (a.ravel() for a in np.meshgrid(np.linspace(500.0, 900.0, 5), np.linspace(1160.0, 1200.0, 3)))
    figure = Figure(figsize=(160.0 / 25.4, 136.0 / 25.4))
    ax = figure.add_axes((0.13, 0.235, 0.83, 0.615))
    plots.sweep_map(ax, x, y, -2.7 * x + 3.0 * (y - 1160.0), ("x", "y", ""))
    canvas = FigureCanvasAgg(figure)
    named = contour_set(ax).labelTexts
    assert len(named) >= 4
    corners = ax.transData.transform([(500.0, 1160.0), (900.0, 1200.0)])
    for text in named:
        around = text.get_window_extent(canvas.get_renderer())
        assert (around.min > corners[0]).all() and (around.max < corners[1]).all(), text.get_text()


def test_unstable_members_are_ringed_and_very_many_dotted():
    (x, y, z), flat = members(), axes()
    wild = x > 700.0
    plots.sweep_map(flat, x, y, z, ("x", "y", "z"), wild)
    rings = drawn(flat, f"chaotic ({wild.sum()})")
    assert sorted(map(tuple, rings)) == sorted(zip(x[wild], y[wild], strict=True))
    line = axes()
    plots.sweep_line(line, x[:5], z[:5], ("x", "z"), np.array([True, False, True, False, False]))
    assert sorted(drawn(line, "chaotic (2)")[:, 1]) == sorted(z[[0, 2]])
    x, y = (values.ravel() for values in np.meshgrid(np.linspace(0.0, 1.0, 200), np.linspace(0.0, 2.0, 200)))
    many = axes()
    plots.sweep_map(many, x, y, x + y, ("x", "y", "z"), x > 0.5)
    assert many.get_legend_handles_labels()[1] == [f"chaotic ({np.sum(x > 0.5)})"]
    (area,) = [c for c in many.collections if hasattr(c, "hatches") and any(c.hatches)]
    edges = np.concatenate([path.vertices for path in area.get_paths()])
    assert edges[:, 0].min() == pytest.approx(0.5, abs=0.02) and edges[:, 0].max() == pytest.approx(1.0, abs=0.02)


def test_failed_members_are_crossed_and_hatched_and_no_contour_enters_their_cells():
    ax, (x, y, z) = axes(), members()
    bad = (x == 600.0) & (y < 5.0)
    plots.sweep_map(ax, x, y, np.where(bad, np.nan, z), ("x", "y", "z"))
    crosses = drawn(ax, f"failed ({bad.sum()})")
    assert sorted(map(tuple, crosses)) == sorted(zip(x[bad], y[bad], strict=True))
    hatched = [c for c in ax.collections if c.get_label() == "_failed cell"]
    assert len(hatched) == bad.sum() == 2 and all(c.get_hatch() for c in hatched)
    for path in contour_set(ax).get_paths():  # a cell with one failed corner keeps the triangle away from it
        for place in crosses:
            assert np.all(np.abs((path.vertices - place) / [75.0, 2.0 / 3.0]).sum(axis=1) > 1.0 - 1e-9)


def test_a_map_of_members_that_all_failed_has_only_crosses():
    ax, (x, y, z) = axes(), members(3, 3)
    plots.sweep_map(ax, x, y, np.full_like(z, np.nan), ("x", "y", "z"))
    assert len(drawn(ax, "failed (9)")) == 9 and not [c for c in ax.collections if hasattr(c, "levels")]


def test_a_map_over_one_value_is_refused():
    x = np.array([1.0, 2.0])
    with pytest.raises(InputError, match="2 by 1 values are given, 2 by 2 are needed"):
        plots.sweep_map(axes(), x, np.ones(2), x, ("x", "y", "z"))


def test_a_line_over_one_key_crosses_out_what_failed():
    ax, x = axes(), np.array([3.0, 1.0, 2.0])
    plots.sweep_line(ax, x, np.array([9.0, 1.0, np.nan]), ("x, m", "z, s"))
    assert drawn(ax, "member")[:, 0].tolist() == [1.0, 2.0, 3.0]
    assert drawn(ax, "failed (1)")[:, 0].tolist() == [2.0]


def test_units_beside_an_axis_are_those_of_the_schema():
    known = known_keys(Scenario)
    for name in numeric_names(known):
        unit = (known[name] if name in known else known[name.rpartition(".")[0]]).unit
        unit = {"days": "d"}.get(unit, unit)
        assert (label_of(name).rpartition(", ")[2] == unit) if unit else "," not in label_of(name), name
    assert label_of("impactor.speed_km_s") == "impactor speed, km/s"


def test_numbers_have_a_true_minus_and_zero_has_no_sign():
    assert number(-1.25, "+.1f", "s") == f"{MINUS}1.2 s"
    assert number(-1e-9, "+.1f") == "0.0" and number(1e-9, "+.2f") == "0.00"
    assert number(None, ".1f") == number(float("nan"), ".1f", "s") == "\N{EN DASH}"


# --- whole pages


def all_texts(figure):
    """Every visible text of a figure."""
    found = figure.findobj(
        lambda artist: isinstance(artist, Text) and artist.get_visible() and artist.get_text().strip()
    )
    return [text for text in found if not (isinstance(text, Annotation) and not text.get_text())]


def boxes(figure):
    """Text and its extent in pixels, without the ticks beyond the limits of their axis."""
    renderer = FigureCanvasAgg(figure).get_renderer()
    figure.draw(renderer)
    drawn_boxes = []
    for text in all_texts(figure):
        if (box_ := text.get_window_extent(renderer)).width and text.get_figure() is figure:
            drawn_boxes.append((text.get_text(), box_, text))
    beyond = set()
    for ax in figure.findobj(lambda artist: hasattr(artist, "get_xticklabels")):
        for axis in (ax.xaxis, ax.yaxis):
            low, high = sorted(axis.get_view_interval())
            step = 1e-9 * (high - low)
            for tick in [*axis.get_major_ticks(), *axis.get_minor_ticks()]:
                if not low - step <= tick.get_loc() <= high + step or not ax.axison:
                    beyond |= {id(tick.label1), id(tick.label2)}
    return [(words, box_) for words, box_, text in drawn_boxes if id(text) not in beyond]


def check_legible(figure):
    """All text lies on the page, apart from all other text, and is 8 points or more (5 when printed 100 mm wide)."""
    page = figure.bbox
    found = boxes(figure)
    assert len(found) > 20
    for words, box_ in found:
        assert box_.x0 >= page.x0 - 1 and box_.x1 <= page.x1 + 1, words
        assert box_.y0 >= page.y0 - 1 and box_.y1 <= page.y1 + 1, words
    for (one, a), (other, b) in combinations(found, 2):
        shared = min(a.x1, b.x1) - max(a.x0, b.x0), min(a.y1, b.y1) - max(a.y0, b.y0)
        assert min(shared) < 2.0, f"{one!r} lies on {other!r}"
    width_mm = figure.get_size_inches()[0] * 25.4
    assert min(text.get_fontsize() for text in all_texts(figure)) * 100.0 / width_mm >= 5.0


@pytest.mark.parametrize("outcome", OUTCOMES)
def test_every_outcome_makes_a_legible_page(outcome):
    result = predict(varied(example(), SHORT | OUTCOMES[outcome]))
    figure = plots.prediction_figure(result)
    check_legible(figure)
    said = " ".join(text.get_text() for text in all_texts(figure)).replace("\n", " ")
    assert CAUTION in said
    assert ("miss" if outcome == "miss" else "impact") in said
    if result.status != "completed":
        assert f"({result.status})" in figure.texts[0].get_text()
    if result.period_change_s is not None:
        assert number(result.period_change_s, "+.1f", "s") in figure.texts[0].get_text()
    for ax in figure.axes:
        if ax.axison:
            assert ax.get_xlabel().endswith(("(m)", "(days)"))
            assert ax.get_ylabel().endswith(("(m)", "(h)", "(deg)"))


def test_a_stored_prediction_gives_the_same_picture(prediction, tmp_path):
    write_prediction(tmp_path / "p.h5", prediction)
    stored = binarydyn.open(tmp_path / "p.h5")
    plots.save_prediction(tmp_path / "fresh.svg", prediction)
    plots.save_prediction(tmp_path / "stored.svg", stored)
    assert (tmp_path / "fresh.svg").read_bytes() == (tmp_path / "stored.svg").read_bytes()
    with pytest.raises(InputError, match="a Prediction is given, allowed is a Members"):
        plots.save_sweep(tmp_path / "no.png", stored)
    assert not (tmp_path / "no.png").exists()


BEGINNINGS = {"png": b"\x89PNG\r\n", "pdf": b"%PDF-", "svg": b"<?xml", "PNG": b"\x89PNG\r\n"}


@pytest.mark.parametrize("suffix", BEGINNINGS)
def test_the_format_follows_from_the_suffix(prediction, tmp_path, suffix):
    path = plots.save_prediction(tmp_path / f"figure.{suffix}", prediction)
    assert path.read_bytes().startswith(BEGINNINGS[suffix])
    assert os.listdir(tmp_path) == [f"figure.{suffix}"]


def stored_sweep(folder, texts_):
    design = Grid.from_texts(texts_)
    with SweepStore(folder / "s.h5", varied(example(), SHORT), design) as store:
        for row in rows_of(varied(example(), SHORT), design, workers=1):
            store.keep(row)
        return stored_members(store.finish())


def test_a_sweep_over_two_keys_and_one_held(tmp_path):
    result = stored_sweep(
        tmp_path,
        ["impactor.mass_kg=300:900:3", "impactor.aim_offset_m.0=-40,0,40,90", "momentum_transfer.beta=1.5,2,2.5"],
    )
    figure = plots.sweep_figure(result)
    (ax,) = figure.axes
    check_legible(figure)
    assert (ax.get_xlabel(), ax.get_ylabel()) == ("impactor mass, kg", "aim offset u, m")
    said = [text.get_text() for text in figure.texts]
    assert "held: beta = 2" in said and said[0].endswith("Period change, s")
    shown = result.columns["momentum_transfer.beta"] == 2.0
    missed = shown & (result.columns["status"] == "miss")
    crosses = drawn(ax, "failed (3)")
    assert sorted(crosses[:, 0]) == sorted(result.columns["impactor.mass_kg"][missed]) == [300.0, 600.0, 900.0]
    assert set(crosses[:, 1]) == {90.0}
    change = result.columns["period_change_s"][shown & ~missed]
    assert f"{number(change.min(), '+.1f')} to {number(change.max(), '+.1f', 's')}" in said[1]
    assert "12 members: 9 completed, 3 miss" in said[1]
    wild = dict(result.columns) | {"chaotic_after": (shown & (result.columns["impactor.mass_kg"] == 900.0)) * 1}
    marked = drawn(plots.sweep_figure(replace(result, columns=wild)).axes[0], "chaotic (3)")
    assert set(marked[:, 0]) == {900.0} and set(marked[:, 1]) == {-40.0, 0.0, 40.0}  # the one that missed is none
    assert plots.save_sweep(tmp_path / "s.pdf", result).read_bytes().startswith(b"%PDF-")


@pytest.mark.parametrize("order", [(0, 1), (1, 0)])
def test_aims_are_drawn_as_the_impactor_sees_them_in_both_figures(tmp_path, order):
    """u to the left, v up, one scale, the secondary's outline: whatever comes first of the swept components."""
    spans = "-80:80:3", "-30:30:3"
    result = stored_sweep(tmp_path, [f"impactor.aim_offset_m.{k}={spans[k]}" for k in order])
    one = predict(varied(example(), SHORT))
    pages = plots.sweep_figure(result), plots.aim_figure(one)
    check_legible(pages[0])
    edge = sight(one).outline_m
    for figure in pages:
        ax = figure.axes[0]
        FigureCanvasAgg(figure).draw()
        (left, low), (middle, centre), (right, high) = ax.transData.transform([(80, -30), (0, 0), (-80, 30)])
        assert left < middle < right and low < centre < high
        assert (right - left) / 160.0 == pytest.approx((high - low) / 60.0, rel=1e-6)
        assert ("u, m" in ax.get_xlabel(), "u to the left" in ax.get_xlabel()) == (True, True)
        assert ax.get_ylabel() == "aim offset v, m"
        assert any(np.allclose(line.get_xydata(), edge.T) for line in ax.get_lines() if len(line.get_xydata()) == 181)
    points = drawn(pages[0].axes[0], "member")
    inside = (np.abs(result.columns["impactor.aim_offset_m.0"]) < 70.0) & (result.columns["status"] == "completed")
    assert {tuple(point) for point in points} >= {(0.0, v) for v in (-30.0, 0.0, 30.0)} and inside.sum() == 3


def test_an_outline_that_cannot_be_found_is_left_out(tmp_path, monkeypatch):
    result = stored_sweep(tmp_path, ["impactor.aim_offset_m.0=-20,20", "impactor.aim_offset_m.1=-20,20"])

    def refused(_):
        raise InputError("mesh", "it is gone")

    monkeypatch.setattr("binarydyn.plots.aim.build", refused)
    ax = plots.sweep_figure(result).axes[0]
    assert "outline" not in labels(ax) and ax.get_xlim()[0] > ax.get_xlim()[1]


def test_a_sweep_over_one_key_is_a_line_and_of_one_member_is_refused(tmp_path):
    result = stored_sweep(tmp_path, ["impactor.mass_kg=300,600,900", "impactor.speed_km_s=5"])
    figure = plots.sweep_figure(result)
    (ax,) = figure.axes
    check = drawn(ax, "member")
    assert check == pytest.approx(np.column_stack([[300.0, 600.0, 900.0], result.columns["period_change_s"]]))
    assert ax.get_ylabel() == "Period change, s"
    columns = {name: column[:1] for name, column in result.columns.items()}
    with pytest.raises(InputError, match="a sweep of 1 member is given"):
        plots.sweep_figure(replace(result, columns=columns))


# --- refusals


@pytest.mark.parametrize(
    ("name", "sentence"),
    [
        ("a.gif", "the ending .gif is given, a figure may end in .png, .pdf, .svg; choose one of them"),
        ("a", "no ending is given"),
        ("nowhere/a.png", "nowhere is not a folder; create it"),
        ("folder.png", "this is a folder, a figure is a file"),
        ("locked.png", "this file cannot be written to"),
    ],
)
def test_a_path_that_cannot_be_written_is_refused_in_one_sentence(name, sentence, tmp_path, monkeypatch):
    (tmp_path / "folder.png").mkdir()
    (tmp_path / "locked.png").write_text("somebody's")
    allowed = os.access
    monkeypatch.setattr(os, "access", lambda path, mode: "locked" not in str(path) and allowed(path, mode))
    with pytest.raises(InputError, match=sentence.replace(".", r"\.")) as refused:
        plots.check_path(tmp_path / name)
    assert "\n" not in str(refused.value) and str(tmp_path / name) in str(refused.value)
    with pytest.raises(InputError):  # before any work: there is nothing here to draw
        plots.save_prediction(tmp_path / name, None)


def test_a_folder_without_the_right_to_write_is_refused(tmp_path, monkeypatch):
    monkeypatch.setattr(os, "access", lambda path, mode: path != tmp_path)
    with pytest.raises(InputError, match="the folder .* cannot be written to"):
        plots.check_path(tmp_path / "a.png")


def test_a_full_disk_is_one_sentence(prediction, tmp_path, monkeypatch):
    def fail(*_, **__):
        raise OSError(errno.ENOSPC, "No space left on device")

    monkeypatch.setattr(os, "replace", fail)
    (tmp_path / "a.png").write_bytes(b"older")
    with pytest.raises(InputError, match="cannot be written .No space left on device.; check the disk"):
        plots.save_prediction(tmp_path / "a.png", prediction)
    assert (tmp_path / "a.png").read_bytes() == b"older" and len(list(tmp_path.iterdir())) == 1


def test_what_is_no_prediction_is_refused():
    with pytest.raises(InputError, match="a whole number is given, allowed is a Prediction"):
        seen(3)


def test_no_figure_goes_through_the_global_state_of_the_drawing_library():
    """But for the panels of notebooks, which show themselves by it."""
    here = Path(plots.__file__).parent
    for path in {*here.rglob("*.py")} - {here / "plot.py"}:
        for node in ast.walk(ast.parse(path.read_text(encoding="utf-8"))):
            names = [alias.name for alias in node.names] if isinstance(node, ast.Import | ast.ImportFrom) else []
            assert not any("pyplot" in name for name in [*names, getattr(node, "module", None) or ""]), path


def test_a_map_of_very_many_members_averages_neighbours_and_hatches_what_failed():
    """300 x 300 members: on a plane means of neighbours lie on the plane, so contours of the corner cells do."""
    x, y = (values.ravel() for values in np.meshgrid(np.linspace(0.0, 1.0, 300), np.linspace(0.0, 2.0, 300)))
    z = 3.0 * x + y
    ax = axes()
    plots.sweep_map(ax, x, y, np.where(x > 0.8, np.nan, z), ("x", "y", "z"))
    lines = contour_set(ax)
    for level, path in zip(lines.levels, lines.get_paths(), strict=True):
        assert path.vertices @ [3.0, 1.0] == pytest.approx(level, abs=1e-9)
        assert not len(path.vertices) or path.vertices[:, 0].max() < 0.81
    assert ax.get_legend_handles_labels()[1] == [f"failed ({np.sum(x > 0.8)})"]


def test_control_characters_of_a_name_are_drawn_as_escapes(prediction, tmp_path, recwarn):
    """XML 1.0, section 2.2, has none of them; and no warning of the drawing library hands them to a terminal."""
    named = prediction.scenario.replace({"name": "a\x1b[31m \x07 \u6f22 $\\frac{$"})
    plots.save_prediction(tmp_path / "n.svg", replace(prediction, scenario=named))
    figure = (tmp_path / "n.svg").read_text(encoding="utf-8")
    ElementTree.fromstring(figure)
    assert not any(ord(c) < 32 and c not in "\t\r\n" for c in figure)
    assert not [each for each in recwarn if "Glyph" in str(each.message)]
