"""The sums of a frequency analysis, folded into rows, against the exponentials of every sample."""

import numpy as np
import pytest

from binarydyn.observables.frequency import _Folded, _padded, refined_rate


@pytest.mark.parametrize("count", [8, 64, 65, 500])
@pytest.mark.parametrize("short", [False, True])
def test_folded_sums_are_those_of_the_samples(count, short):
    """Rounding of a sum of n terms: n 1e-16 of their sizes; a short last step makes the grid uneven."""
    random = np.random.default_rng(count)
    time = 1200.0 * np.arange(count) + 5e5
    if short:
        time[-1] -= 700.0
    values = random.standard_normal(count) + 1j * random.standard_normal(count)
    t = time - 0.5 * (time[0] + time[-1])
    for rate in (0.0, 1.7e-4, -2.6e-3):
        wave = values * np.exp(-1j * rate * t)
        for power, ours in enumerate(_Folded.of(time, values).moments(rate)):
            assert abs(ours - np.sum(wave * t**power)) < 1e-13 * np.sum(np.abs(values * t**power))


def test_the_rate_of_a_line_does_not_depend_on_the_grid():
    """A pure complex line: its rate to rounding, from even samples and from the same without some of them."""
    time, rate = 1200.0 * np.arange(700), 3.21e-4
    kept = np.delete(time, [13, 14, 300])
    for t in (time, kept):
        found = refined_rate(t, np.exp(1j * rate * t), np.ones(len(t)), rate + 1e-6)
        assert found == pytest.approx(rate, rel=1e-13)


@pytest.mark.parametrize("count", [8, 9, 100, 1024, 4321, 10_000_000])
def test_transforms_are_padded_to_sizes_that_are_fast(count):
    size = _padded(count)
    assert 4 * count <= size < 5.2 * count
    while size % 2 == 0:
        size //= 2
    assert size in (1, 3, 5, 9)
