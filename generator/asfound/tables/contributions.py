"""Rows of the contributions: every source behind every published error, so that u, ν, U and covariances follow."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from asfound.assessment.assess import Assessment
from asfound.assessment.results.table import Result
from asfound.measurement.cell_sources import Part
from asfound.records.models import Channel


class Contributions:
    """The contributions to an assessment's results, by result."""

    def __init__(self, assessment: Assessment) -> None:
        self._budgets = assessment.measurement.whole()
        self._lines: dict[tuple[int, Channel], dict[Part, int]] = {}
        self._cell = [line.cell for line in assessment.measurement.lines]
        for number, line in enumerate(assessment.measurement.lines):
            self._lines.setdefault((line.cell, line.channel), {})[line.part] = number

    def rows(self, results: Iterable[Result]) -> Iterator[dict[str, Any]]:
        """One row a result, part of it and source, by column of CONTRIBUTIONS: far end, sensor, loop; largest first.

        Stated results and points that were not done have no sources here.
        """
        for result in results:
            if result.line is None:
                continue
            name = "/".join(map(str, result.key))
            parts = self._lines[self._cell[result.line], result.channel]
            for part in Part:
                if part in parts:
                    yield from self._of_line(name, part, parts[part])

    def _of_line(self, result: str, part: Part, number: int) -> Iterator[dict[str, Any]]:
        for line in self._budgets.lines(number):
            source = line.source
            yield {
                "result": result,
                "part": part,
                "source": source.identity,
                "sensitivity": line.sensitivity,
                "standard_uncertainty": source.u,
                "unit": source.unit,
                "contribution": line.contribution,
                "nu": source.nu,
                "variance_group": source.group,
                "distribution": source.distribution,
                "scope": source.scope,
            }
