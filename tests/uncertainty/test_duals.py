"""Forward-mode derivatives against the complex step and central differences, through every method's own model."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from asfound.humidity import two_pressure_rh
from asfound.uncertainty.duals import BLOCK, Dual, differentiate, in_blocks, variables
from tests.measurement.lab import measured
from tests.measurement.methods import METHODS, at_work


def model_and_inputs(name):
    (_, _, reference), *_ = measured(at_work(name)).measurement.stages
    (group,) = reference.groups
    return group.model, [m.value for m in group.measured], group.inputs


@pytest.mark.parametrize("name", METHODS)
def test_the_models_derivatives_are_those_of_the_complex_step(name):
    model, inputs, names = model_and_inputs(name)
    values, gradient = differentiate(model, *inputs)
    assert values == pytest.approx(np.asarray(model(*inputs), float), rel=1e-14)
    for number, label in enumerate(names):
        step = 1e-30
        moved = [x + (1j * step if i == number else 0.0) for i, x in enumerate(inputs)]
        by_step = np.imag(np.asarray(model(*moved), complex)) / step * np.ones_like(values)
        assert gradient[number] == pytest.approx(by_step, rel=1e-11, abs=1e-15), label


@pytest.mark.parametrize("name", METHODS)
def test_the_models_derivatives_are_those_of_central_differences(name):
    model, inputs, names = model_and_inputs(name)
    _, gradient = differentiate(model, *inputs)
    for number, label in enumerate(names):
        step = (
            1e-3 if "temperature" in label or "difference" in label else 1e-6 * np.maximum(np.abs(inputs[number]), 1.0)
        )
        up, down = (
            np.asarray(model(*(x + (sign * step if i == number else 0.0) for i, x in enumerate(inputs))), float)
            for sign in (1.0, -1.0)
        )
        assert gradient[number] == pytest.approx((up - down) / (2.0 * step), rel=2e-6, abs=1e-9), label


POSITIVE = st.floats(0.1, 10.0)


@settings(max_examples=60)
@given(POSITIVE, POSITIVE, st.floats(-3.0, 3.0))
def test_every_rule_agrees_with_the_complex_step(x, y, exponent):
    def model(a, b):
        return np.exp(-a / b) + np.log(a * b) * 2.0 - (3.0 - a) / (+b) + np.sqrt(a) * np.square(b) + a**exponent / 7.0

    _, gradient = differentiate(model, np.array([x]), np.array([y]))
    step = 1e-30
    assert gradient[0, 0] == pytest.approx(np.imag(model(x + 1j * step, y + 0j)) / step, rel=1e-9, abs=1e-12)
    assert gradient[1, 0] == pytest.approx(np.imag(model(x + 0j, y + 1j * step)) / step, rel=1e-9, abs=1e-12)


@pytest.mark.parametrize(
    "unsupported",
    [
        lambda x: np.abs(x),
        lambda x: np.maximum(x, 0.0),
        lambda x: np.where(x.real > 0.0, x, x),
        lambda x: np.sum(x),
        lambda x: 2.0**x,
        lambda x: np.add.reduce(x),
        lambda x: x > 1.0,
    ],
    ids=["abs", "maximum", "where", "sum", "exponent", "reduce", "comparison"],
)
def test_what_has_no_derivative_here_is_refused_not_guessed(unsupported):
    (x,) = variables(np.array([1.0, 2.0]))
    with pytest.raises(TypeError):
        unsupported(x)


def test_a_function_that_ignores_its_inputs_has_no_slope():
    value, gradient = differentiate(lambda x, y: 3.0, np.array([1.0, 2.0]), np.array([1.0, 2.0]))
    assert list(value) == [3.0, 3.0] and not gradient.any()


def test_many_rows_at_once_are_the_rows_one_by_one():
    rng = np.random.default_rng(1)
    inputs = (rng.uniform(2e5, 1e6, 20), rng.uniform(15, 30, 20), rng.uniform(1e5, 1.02e5, 20), rng.uniform(15, 30, 20))
    _, together = differentiate(two_pressure_rh, *inputs)
    for row in range(20):
        _, alone = differentiate(two_pressure_rh, *(x[row : row + 1] for x in inputs))
        assert together[:, row] == pytest.approx(alone[:, 0], rel=1e-13)
    assert isinstance(two_pressure_rh(*variables(*inputs)), Dual)


def test_blocks_make_up_the_whole_and_change_no_bit():
    n = 2 * BLOCK + 5
    rng = np.random.default_rng(2)
    inputs = (rng.uniform(3e5, 1e6, n), rng.uniform(-5, 25, n), rng.uniform(1e5, 1.02e5, n), rng.uniform(20, 30, n))
    values, gradient = differentiate(two_pressure_rh, *inputs)
    blocks = list(in_blocks(n))
    assert np.array_equal(np.concatenate([np.arange(n)[block] for block in blocks]), np.arange(n))
    for block in blocks:
        some, slopes = differentiate(two_pressure_rh, *(x[block] for x in inputs))
        assert len(some) <= BLOCK
        assert np.array_equal(some, values[block]) and np.array_equal(slopes, gradient[:, block])
    assert list(in_blocks(0)) == []
