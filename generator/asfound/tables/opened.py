"""A folder of records opened by a program: what the site shows of a day, as frames."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date
from functools import cached_property
from pathlib import Path
from typing import TYPE_CHECKING

from asfound.assessment.assess import Assessment, assess
from asfound.provenance import HistoryOf, Provenance
from asfound.records.load import zone_at
from asfound.records.snapshot import from_folder
from asfound.refusals import Refusal
from asfound.tables.columns import CONTRIBUTIONS, RESULTS
from asfound.tables.contributions import Contributions
from asfound.tables.results import result_rows
from asfound.tables.writing import frame_of
from asfound.today import today

if TYPE_CHECKING:
    import pandas as pd


@dataclass(frozen=True)
class Opened:
    """Records as they were assessed on a day, with what their history approves."""

    assessment: Assessment
    provenance: Provenance

    @property
    def day(self) -> date:
        """The day of the assessment."""
        return self.assessment.day

    @property
    def commit(self) -> str | None:
        """The commit that is checked out; None without a history."""
        return self.provenance.head

    @cached_property
    def results(self) -> pd.DataFrame:
        """Every result with the columns of `data/results.csv`."""
        return frame_of(RESULTS, result_rows(self.assessment, self.provenance))

    @cached_property
    def contributions(self) -> pd.DataFrame:
        """Every contribution to every result with the columns of `data/contributions/VISIT.csv`."""
        return frame_of(CONTRIBUTIONS, Contributions(self.assessment).rows(self.assessment.results))


def opened(path: Path, day: date | None) -> Opened:
    """As `asfound.open` says."""
    folder = path if (path / "facility.yml").is_file() else path / "records"
    if not (folder / "facility.yml").is_file():
        raise Refusal(f"{path} holds no records", "name the folder that holds facility.yml, or the one above it")
    history = HistoryOf(folder)
    assessment = assess(from_folder(folder), day or today(zone_at(folder)), history)
    return Opened(assessment, history.of(assessment.records))
