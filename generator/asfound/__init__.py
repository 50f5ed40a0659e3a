"""asfound: a git repository of humidity-sensor calibration records, recomputed, reviewed and published."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:
    from asfound.tables.opened import Opened

__version__ = "0.2.0"

DISTRIBUTION = "asfound"
"""What an installer calls it."""


def open(path: Path | str, day: date | None = None) -> Opened:
    """Read, check and assess the records in a folder (or in its folder `records`) as the site of a day shows them.

    `day` left out: ASFOUND_DATE, else today where the facility is. Only what the history approves counts in pools, so
    `.results` and `.contributions`, frames of pandas, hold the numbers of the site.

    Raises RecordsRefused with all faults where the records hold errors, Refusal where there are none at `path`, or
    where their history was cut off.
    """
    from asfound.tables.opened import opened  # late: `asfound.humidity` alone brings nothing of records along

    return opened(Path(path), day)
