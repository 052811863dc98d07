"""What light and dips tell of e, of the three components of the push and of libration: one sigma, were all linear.

    python experiments/22_light_or_dips/gain.py

The invented pair with a velocity change in place of the impactor, so that the push has three components; a free
libration before t0 is unknown too.  Noise-free data with the errors of campaigns.py.
"""

from dataclasses import replace

import numpy as np
from campaigns import DAYS, RED_MAG, RED_S, SEED, WHITE_MAG, observed

from binarydyn.constants import DAY_S
from binarydyn.photometry.noise_fit import NoiseSize
from binarydyn.reconstruction.answers.shapes import CHANGE
from binarydyn.reconstruction.event_times import EventModel
from binarydyn.reconstruction.light import LightModel, with_rotation
from binarydyn.reconstruction.likelihood import Likelihood
from binarydyn.reconstruction.newton import STEP, slopes_at
from binarydyn.reconstruction.posterior import Timed, noise_of_times
from binarydyn.reconstruction.runs import GuessedMotion
from binarydyn.reconstruction.together import TimesAndLight
from binarydyn.reconstruction.unknowns import Unknowns
from binarydyn.scenario import Scenario, example

PUSH_MM_S = -2.8
WORDS = {
    CHANGE: "period change in 5 + 5 days, s",
    "velocity_change.along_track_mm_s": "push along the track, mm/s",
    "velocity_change.radial_mm_s": "radial push, mm/s",
    "velocity_change.normal_mm_s": "normal push, mm/s",
    "e_cos": "e cos w before",
    "e_sin": "e sin w before",
    "lib_cos": "libration before, cosine, deg",
    "lib_sin": "libration before, sine, deg",
    "mutual_orbit.separation_m": "separation, m",
    "secondary.semi_axes_m.0": "secondary's a, m",
    "secondary.semi_axes_m.1": "secondary's b, m",
    "primary.semi_axes_m.2": "primary's c, m",
    "pole_x": "pole, deg",
}


def pushed() -> Scenario:
    text = example().text
    begin, end = text.index("[impactor]"), text.index("[simulation]")
    push = f"[velocity_change]\nalong_track_mm_s = {PUSH_MM_S}\nradial_mm_s = 0.3\nnormal_mm_s = 0.3\n\n"
    return Scenario.from_text(text[:begin] + push + text[end:])


def sigmas(likelihood: Likelihood, motion: GuessedMotion) -> dict[str, float]:
    asked = motion.unknowns
    p = len(asked.names)
    _, slopes = slopes_at(likelihood, np.zeros(p), np.arange(p))
    covariance = np.linalg.inv(likelihood.weighing.gram(slopes) + np.diag(likelihood.information))
    steps = STEP * np.vstack([np.eye(p), -np.eye(p)])
    up, down = np.split(motion.change_s(motion.runs(steps), (DAYS, DAYS)), 2)
    slope = (up - down) / (2.0 * STEP)
    told = dict(zip(asked.names, np.sqrt(np.diag(covariance)) * asked.scale, strict=True))
    return told | {CHANGE: float(np.sqrt(slope @ covariance @ slope))}


def main() -> None:
    scenario = pushed()
    one = observed(scenario, {}, np.random.default_rng([SEED, 0]))
    asked = Unknowns.of(scenario, libration=True)
    model = LightModel.of(scenario, one.light, with_rotation(scenario, asked, DAYS))
    data = TimesAndLight(None, model)
    noise = data.noise(None, NoiseSize(1.0, RED_MAG, RED_S, 0.0))
    light = sigmas(Likelihood(data, noise), model.motion)
    told = {}
    for sigma in (None, 60.0):
        mids = one.dips if sigma is None else replace(one.dips, sigma_s=np.full(len(one.dips), sigma))
        events = EventModel.of(scenario, mids, asked)
        told[sigma] = sigmas(Likelihood(Timed(events), noise_of_times(events)), events.motion)
    print(f"{len(one.light)} points of {WHITE_MAG} mag, {len(one.dips)} dips of {np.median(one.dips.sigma_s):.0f} s")
    print(f"over {np.ptp(one.light.time_s) / DAY_S:.1f} days")
    print("| one sigma of | before | light | its dips | its dips, 60 s stated |\n|---|---|---|---|---|")
    before = dict(zip(asked.names, asked.prior_sigma_u * asked.scale, strict=True)) | {CHANGE: np.inf}
    for name, words in WORDS.items():
        unit = np.degrees(1.0) if words.endswith("deg") else 1.0
        row = (unit * value[name] for value in (before, light, told[None], told[60.0]))
        print(f"| {words} | {' | '.join(f'{value:.2g}' if np.isfinite(value) else 'flat' for value in row)} |")


if __name__ == "__main__":
    main()
