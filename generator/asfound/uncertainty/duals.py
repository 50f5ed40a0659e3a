"""Forward-mode derivatives: numbers that carry their gradient through the one model function.

A Dual holds values of shape (n,) and a gradient of shape (m, n) to m inputs. It goes through the ufuncs that the
humidity functions use; anything else (abs, rounding, maximum) is refused rather than silently wrong.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Any

import numpy as np
from numpy.lib.mixins import NDArrayOperatorsMixin

_Array = np.ndarray

BLOCK = 16_000
"""Rows that are differentiated at once: with their gradients they stay in a processor's cache."""


class Dual(NDArrayOperatorsMixin):
    """Values and their gradient. `real` gives the values alone."""

    __slots__ = ("gradient", "real")

    def __init__(self, real: _Array, gradient: _Array) -> None:
        self.real = real
        self.gradient = gradient

    def __array_ufunc__(self, ufunc: np.ufunc, method: str, *inputs: Any, **options: Any) -> Dual:
        rule = _RULES.get(ufunc)
        if rule is None or method != "__call__" or options:
            return NotImplemented
        return rule(*inputs)

    def __array_function__(self, function: Any, types: Any, args: Any, kwargs: Any) -> Any:
        raise TypeError(f"{function.__name__} has no derivative here: use arithmetic, exp and log")


def in_blocks(n: int) -> Iterator[slice]:
    """Slices of at most BLOCK that make up range(n); rows do not know each other, so that the numbers are the same."""
    return (slice(first, min(first + BLOCK, n)) for first in range(0, n, BLOCK))


def variables(*values: _Array) -> tuple[Dual, ...]:
    """M arrays of shape (n,) → m Duals, each the variable of its own gradient row."""
    m, n = len(values), len(values[0])
    duals = []
    for i, value in enumerate(values):
        gradient = np.zeros((m, n))
        gradient[i] = 1.0
        duals.append(Dual(np.asarray(value, float), gradient))
    return tuple(duals)


def differentiate(function: Callable[..., Any], *values: _Array) -> tuple[_Array, _Array]:
    """f(values) of shape (n,) and its partial derivatives of shape (m, n)."""
    result = function(*variables(*values))
    if not isinstance(result, Dual):  # the function does not depend on its inputs
        return np.broadcast_to(np.asarray(result, float), values[0].shape), np.zeros((len(values), len(values[0])))
    return result.real, result.gradient


def _parts(x: Any) -> tuple[Any, Any]:
    return (x.real, x.gradient) if isinstance(x, Dual) else (x, 0.0)


def _add(a: Any, b: Any) -> Dual:
    (x, dx), (y, dy) = _parts(a), _parts(b)
    return Dual(x + y, dx + dy)


def _subtract(a: Any, b: Any) -> Dual:
    (x, dx), (y, dy) = _parts(a), _parts(b)
    return Dual(x - y, dx - dy)


def _multiply(a: Any, b: Any) -> Dual:
    (x, dx), (y, dy) = _parts(a), _parts(b)
    return Dual(x * y, dx * y + x * dy)


def _divide(a: Any, b: Any) -> Dual:
    (x, dx), (y, dy) = _parts(a), _parts(b)
    quotient = x / y
    return Dual(quotient, (dx - quotient * dy) / y)


def _power(a: Any, b: Any) -> Dual:
    if isinstance(b, Dual):
        raise TypeError("a power's exponent must be a constant")
    return Dual(a.real**b, b * a.real ** (b - 1) * a.gradient)


def _exp(a: Dual) -> Dual:
    value = np.exp(a.real)
    return Dual(value, value * a.gradient)


_RULES: dict[np.ufunc, Callable[..., Dual]] = {
    np.add: _add,
    np.subtract: _subtract,
    np.multiply: _multiply,
    np.divide: _divide,
    np.power: _power,
    np.negative: lambda a: Dual(-a.real, -a.gradient),
    np.positive: lambda a: a,
    np.square: lambda a: _multiply(a, a),
    np.exp: _exp,
    np.log: lambda a: Dual(np.log(a.real), a.gradient / a.real),
    np.sqrt: lambda a: _power(a, 0.5),
}
