"""How long does a light curve take?  1000 epochs of two bodies of 2000 facets each, on one core.

Ellipsoids (exact shadows) and meshes (shadows by facets), seen edge-on near opposition so that every orbit has four
events, and the worst case: all epochs within events.  Prints a table; takes about a minute, most of it compilation.
"""

import time
from datetime import UTC, datetime

import numpy as np

from binarydyn.bodies import Ellipsoid, Mesh
from binarydyn.constants import ASTRONOMICAL_UNIT_M
from binarydyn.dynamics import State, System, simulate
from binarydyn.kepler import Elements
from binarydyn.sky.ephemeris import Clock
from binarydyn.sky.events import events
from binarydyn.sky.figure import Figure, mesh_of_ellipsoid
from binarydyn.sky.geometry import Sky
from binarydyn.sky.light_curve import light_curve_of

EPOCHS, FACETS, REPEATS, DAYS = 1000, 2000, 5, 4.0
ONE, TWO = (400.0, 380.0, 310.0), (90.0, 75.0, 60.0)
RATE_RAD_S = 2.0 * np.pi / (12.0 * 3600.0)


def bumpy(semi_axes_m) -> Mesh:
    """A mesh of 2000 facets with hills and hollows of 5 %, so that it shadows itself."""
    vertices, facets = mesh_of_ellipsoid(np.array(semi_axes_m), FACETS)
    unit = vertices / np.linalg.norm(vertices, axis=1)[:, None]
    hills = 1.0 + 0.05 * np.sin(7.0 * unit[:, 0] + 1.0) * np.cos(6.0 * unit[:, 1]) * np.sin(5.0 * unit[:, 2] + 0.5)
    return Mesh(vertices * hills[:, None], facets, 2300.0)


def plain(semi_axes_m) -> Mesh:
    """A mesh of 2000 facets on the ellipsoid."""
    return Mesh(*mesh_of_ellipsoid(np.array(semi_axes_m), FACETS), 2300.0)


def run(one, two):
    """Four days of a system that starts circular."""
    system = System(
        one,
        two,
        State(
            np.array([1180.0, 0.0, 0.0]),
            np.array([0.0, 1180.0 * RATE_RAD_S, 0.0]),
            np.array([1.0, 0.0, 0.0, 0.0]),
            np.array([0.0, 0.0, 2.0 * np.pi / (2.4 * 3600.0)]),
            np.array([1.0, 0.0, 0.0, 0.0]),
            np.array([0.0, 0.0, RATE_RAD_S]),
        ),
    )
    return simulate(system, DAYS, every_minutes=15.0)


def main() -> None:
    """Time three kinds of pair."""
    elements = Elements(1.6 * ASTRONOMICAL_UNIT_M, 0.2, 0.02, 0.0, 0.0, 3.3)
    sky = Sky(elements, Clock(datetime(2031, 9, 30, tzinfo=UTC)), np.eye(3))
    print(f"{EPOCHS} epochs, {FACETS} facets a body, one core; processor time, s, of {REPEATS} runs")
    for name, make in (
        ("ellipsoids", lambda axes: Ellipsoid(axes, 2300.0)),
        ("convex meshes", plain),
        ("meshes with hills", bumpy),
    ):
        bodies = make(ONE), make(TWO)
        trajectory = run(*bodies)
        sizes = [len(Figure.of(body).facets) or FACETS for body in bodies]
        spread = np.linspace(trajectory.time_s[0], trajectory.time_s[-1], EPOCHS)
        whole = [e for e in events(trajectory, sky) if None not in (e.contacts_s[0], e.contacts_s[3])]
        inside = np.concatenate(
            [np.linspace(e.contacts_s[0], e.contacts_s[3], EPOCHS // len(whole) + 1) for e in whole]
        )[:EPOCHS]
        for what, times in (("over the orbit", spread), ("all within events", inside)):
            light_curve_of(trajectory, sky, times[:2])
            spent = []
            for _ in range(REPEATS):
                begun = time.process_time()
                curve = light_curve_of(trajectory, sky, times)
                spent.append(time.process_time() - begun)
            print(
                f"{name:18} {what:18} {min(spent):6.2f} {max(spent):6.2f}   facets {sizes}, {len(times)} epochs, "
                f"range {np.ptp(curve.magnitude):.3f} mag, phase {curve.phase_angle_deg.min():.1f} deg"
            )


if __name__ == "__main__":
    main()
