"""Does `plan` foretell what campaigns find?  And do mixtures hold the change where the turns cannot be counted?

    python experiments/13_round_trip/campaigns.py [campaigns] [truths]

Campaigns: systems drawn from what is uncertain, each seen in the nights of [campaign] with errors of its own and of a
night, nights lost at random, fitted as measured times are.  Turns: eclipses timed by contacts to 300 s, of 6 days
before the impact, and after it of the first day and the last 1.5 of 60 days, or of the last 1.5 alone.
"""

import sys
from collections.abc import Iterator

import numpy as np

from binarydyn.constants import DAY_S
from binarydyn.errors import BinarydynError
from binarydyn.observing.cadence import Cadence
from binarydyn.observing.event_times import fitted_times, reference_for
from binarydyn.observing.nights import first_midnight_s, seen_dips
from binarydyn.observing.plan import DETECTED, plan
from binarydyn.observing.reference import Reference
from binarydyn.observing.synthetic_times import Observing, observed, synthesised, times_of
from binarydyn.observing.worlds import World, worlds
from binarydyn.scenario import Scenario, example
from binarydyn.sky.dips import DIP_LAWS
from binarydyn.timing.mid_times import MidTimes
from binarydyn.timing.mixture import Mixture

SHARES = (0.5, 0.68, 0.9, 0.95)
PRECISION_S = 4.2
CAMPAIGN = {
    "campaign": {
        "nights_before": 8,
        "nights_after": 16,
        "least_depth_mag": 0.005,
        "mid_time_sigma_s": 40.0,
        "night_sigma_s": 20.0,
    },
    "requirement": {"precision_s": PRECISION_S},
}
WEAK = 0.007
"""Share of the built-in impactor's mass with which the change is some three sigmas."""
LATE_DAYS = {"first day and last 1.5 of 60 days": ((0.0, 1.0), (58.5, 60.0)), "last 1.5 alone": ((58.5, 60.0),)}
_TOGETHER, _FIRST = 8, 5000


def drawn(reference: Reference, count: int) -> Iterator[tuple[int, World]]:
    """Systems of which the fit knows nothing."""
    for begin in range(0, count, _TOGETHER):
        number = min(_TOGETHER, count - begin)
        found = worlds(reference.scenario, reference.sky, *reference.days, number, _FIRST + begin, least_share=0.0)
        yield from enumerate(found.members, begin)


def told(answers: list[tuple[Mixture, float]]) -> str:
    """Coverage, rms error and median sigma, s, and the largest error in parts of half the 95 % interval."""
    away = np.array([answer.mean - truth for answer, truth in answers])
    middle = np.array([abs(2.0 * answer.cdf(truth) - 1.0) for answer, truth in answers])
    half = np.array([0.5 * np.diff(answer.interval(0.95))[0] for answer, _ in answers])
    shares = "/".join(f"{100.0 * np.mean(middle < share):.0f}" for share in SHARES)
    sigma = np.median([answer.sigma for answer, _ in answers])
    return f"{shares}, rms {np.sqrt(np.mean(away**2)):.2f}, sigma {sigma:.2f}, worst {np.max(np.abs(away) / half):.2f}"


def open_nights(scenario: Scenario, random: np.random.Generator) -> np.ndarray:
    campaign = scenario.campaign
    nights = np.append(np.arange(-campaign.nights_before - 1, 0), np.arange(1, campaign.nights_after + 1))
    return nights[random.random(len(nights)) >= campaign.lost_fraction]


def campaigns(count: int) -> None:
    scenario = example()
    scenario = scenario.replace(CAMPAIGN | {"impactor.mass_kg": WEAK * scenario.impactor.mass_kg})
    foretold, campaign = plan(scenario), scenario.campaign
    reference = Reference.of(scenario, (campaign.nights_before + 1.0, campaign.nights_after + 1.0))
    midnight_s, found = first_midnight_s(scenario, reference.sky), []
    for k, world in drawn(reference, count):
        how = Observing(campaign.mid_time_sigma_s, campaign.night_sigma_s, DIP_LAWS[k % len(DIP_LAWS)])
        random = np.random.default_rng((99, k))
        shown = seen_dips(scenario, world.sight, world.dips)
        rows = shown.rows[np.isin(shown.night_of, open_nights(scenario, random))]
        try:
            mids = observed(times_of(world, rows, how, midnight_s), how, random)
            found.append((fitted_times(reference, mids).change, world.orbit.change_s))
        except BinarydynError as error:
            print(f"campaign {k} tells nothing: {error}")
    sigma = np.array([change.sigma for change, _ in found] + [np.inf] * (count - len(found)))
    mean = np.array([change.mean for change, _ in found] + [0.0] * (count - len(found)))
    last = foretold.nights[-1]
    print(f"{count} campaigns: {told(found)}; foretold sigma {last.sigmas_with_loss_s[1]:.2f}")
    for name, share, chance in (
        ("detected", np.mean(np.abs(mean) >= DETECTED * sigma), last.detection_probability),
        (f"good to {PRECISION_S} s", np.mean(sigma <= PRECISION_S), foretold.measured_to.probability),
    ):
        print(f"{name}: {share:.3f}, foretold {chance:.3f} +- {np.sqrt(chance * (1.0 - chance) / count):.3f}")


def kept(mids: MidTimes, spans: tuple[tuple[float, float], ...]) -> MidTimes:
    """Eclipses of 6 days before t0 and of some days after it."""
    day = mids.seen_s / DAY_S
    inside = np.any([(day > low) & (day < high) for low, high in ((-6.0, 0.0), *spans)], axis=0)
    return mids.chosen(inside & (mids.kind == "eclipse"))


def turns(count: int) -> None:
    exact = synthesised(example(), 60.0, Observing(0.0, timed="contacts"), 0)
    for name, spans in LATE_DAYS.items():
        mids, how = kept(exact, spans), Observing(300.0, timed="contacts")
        reference, answers = reference_for(example(), mids), []
        cadence = Cadence.of(reference, mids)
        for k, world in drawn(reference, count):
            seen = observed(cadence.exact_in(world, DIP_LAWS[0]), how, np.random.default_rng((77, k)))
            try:
                answers.append((fitted_times(reference, seen).change, world.orbit.change_s))
            except BinarydynError as error:
                print(f"truth {k} tells nothing: {error}")
        print(f"{name} ({len(answers)} truths, {len(mids)} eclipses): {told(answers)}", flush=True)


if __name__ == "__main__":
    numbers = [int(text) for text in sys.argv[1:]]
    campaigns(numbers[0] if numbers else 200)
    turns(numbers[1] if len(numbers) > 1 else 40)
