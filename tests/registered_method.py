"""A reference method that one test adds to the program, and takes out again."""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from unittest.mock import patch

from asfound.measurement.methods.registry import MODELS, MethodModel
from asfound.records.methods import METHODS, Method, declare
from asfound.records.visits.columns import COLUMNS
from asfound.records.visits.header import read_header


@contextmanager
def registered(method: Method, model: MethodModel) -> Iterator[None]:
    """The method is known inside, and forgotten outside: headers that were read with the other vocabulary too."""
    with patch.dict(METHODS), patch.dict(COLUMNS), patch.dict(MODELS, {method.kind: model}):
        declare(method)
        read_header.cache_clear()
        yield
    read_header.cache_clear()
