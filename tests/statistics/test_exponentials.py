"""The fitter against the certified values of NIST's Statistical Reference Datasets, nonlinear regression.

Data and certified values from memory; a slip in either would not let the certified digits come out.
"""

from __future__ import annotations

import numpy as np
import pytest

from asfound.statistics.exponentials import first_order, separable_fit

MISRA1A_X = np.array([77.6, 114.9, 141.1, 190.8, 239.9, 289.0, 332.8, 378.4, 434.8, 477.3, 536.8, 593.1, 689.1, 760.0])
MISRA1A_Y = np.array([10.07, 14.73, 17.94, 23.93, 29.61, 35.18, 40.02, 44.82, 50.76, 55.05, 61.01, 66.40, 75.47, 81.78])
LANCZOS3_X = np.arange(24) * 0.05
LANCZOS3_Y = np.array(
    [
        *(2.5134, 2.0443, 1.6684, 1.3664, 1.1232, 0.9269, 0.7679, 0.6389, 0.5338, 0.4479, 0.3776, 0.3197),
        *(0.2720, 0.2325, 0.1997, 0.1723, 0.1493, 0.1301, 0.1138, 0.1000, 0.0883, 0.0783, 0.0698, 0.0624),
    ]
)


@pytest.mark.parametrize("start", [0.0001, 0.0005])
def test_misra1a_of_nist_strd(start):
    """Y = b1·(1 − exp(−b2·x)), lower level of difficulty, from both of NIST's starts."""
    fit = separable_fit(MISRA1A_Y, lambda rate: (1.0 - np.exp(-rate[0] * MISRA1A_X))[:, None], (start,))
    assert fit.amplitudes == pytest.approx([2.3894212918e02], rel=1e-6)
    assert fit.constants == pytest.approx([5.5015643181e-04], rel=1e-6)
    assert fit.sum_of_squares == pytest.approx(1.2455138894e-01, rel=1e-6)


@pytest.mark.parametrize("start", [1.0, 0.75])
def test_boxbod_of_nist_strd(start):
    """Y = b1·(1 − exp(−b2·x)), higher level of difficulty, from both of NIST's starts."""
    x = np.array([1.0, 2.0, 3.0, 5.0, 7.0, 10.0])
    y = np.array([109.0, 149.0, 149.0, 191.0, 213.0, 224.0])
    fit = separable_fit(y, lambda rate: (1.0 - np.exp(-rate[0] * x))[:, None], (start,))
    assert fit.amplitudes == pytest.approx([2.1380940889e02], rel=1e-6)
    assert fit.constants == pytest.approx([5.4723748542e-01], rel=1e-6)
    assert fit.sum_of_squares == pytest.approx(1.1680088766e03, rel=1e-6)


@pytest.mark.parametrize("start", [(0.3, 5.5, 7.6), (0.7, 4.2, 6.3)])
def test_lanczos3_of_nist_strd(start):
    """Three exponentials, lower level of difficulty, from NIST's starts of the constants."""
    fit = separable_fit(LANCZOS3_Y, lambda rates: np.exp(-np.outer(LANCZOS3_X, rates)), start)
    order = np.argsort(fit.constants)
    assert fit.constants[order] == pytest.approx([9.5498101505e-01, 2.9515951832, 4.9863565084], rel=1e-6)
    assert fit.amplitudes[order] == pytest.approx([8.6816414977e-02, 8.4400777463e-01, 1.5825685901], rel=1e-6)
    assert fit.sum_of_squares == pytest.approx(1.6117193594e-08, rel=1e-6)


def test_a_first_order_approach_without_noise_is_found_exactly():
    t = np.linspace(0.0, 40.0, 200)
    fit = first_order(t, 15.2 - 25.0 * np.exp(-t / 6.5), 2.0)
    assert fit.constants == pytest.approx([6.5], rel=1e-9)
    assert fit.amplitudes == pytest.approx([15.2, -25.0], rel=1e-9)
