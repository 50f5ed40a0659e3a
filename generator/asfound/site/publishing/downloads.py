"""What may be taken away from a site: published tables, records byte for byte, schemas."""

from __future__ import annotations

import hashlib
from functools import cache

from asfound import __version__
from asfound.records.snapshot import TRENDS, Snapshot
from asfound.site.lookup.lookup import Lookup
from asfound.site.publishing.schemas import schemas
from asfound.site.views.exposure import days_path
from asfound.site.views.logs import log_path
from asfound.site.views.visits import raw_path
from asfound.tables.columns import CONTRIBUTIONS, DRIFT, EXPOSURE, RESULTS, SCALES
from asfound.tables.contributions import Contributions
from asfound.tables.drift import drift_rows, exposure_rows, scale_rows
from asfound.tables.results import result_rows
from asfound.tables.writing import Parquet, csv_of, json_of, parquet_of


def downloads(files: Snapshot, lookup: Lookup) -> dict[str, bytes]:
    """All of them, by path in the site."""
    assessment, provenance = lookup.assessment, lookup.provenance
    results = list(result_rows(assessment, provenance))
    made = {"asfound": __version__, "day": str(lookup.day), "commit": provenance.head}
    contributions = Contributions(assessment)
    found = {
        "data/results.csv": csv_of(RESULTS, results),
        "data/results.json": json_of(RESULTS, results, **made),
        "data/results.parquet": parquet_of(RESULTS, results),
        "data/drift.csv": csv_of(DRIFT, drift_rows(assessment.standings.values())),
        "data/scales.csv": csv_of(SCALES, scale_rows(assessment.instruments)),
        "data/records.sha256": records_manifest(files),
    }
    all_contributions = Parquet(CONTRIBUTIONS)
    for visit, parts in lookup.visits.items():
        rows = list(contributions.rows(result for part in parts for result in part.results))
        found[f"data/contributions/{visit}.csv"] = csv_of(CONTRIBUTIONS, rows)
        all_contributions.add(rows)
    found["data/contributions.parquet"] = all_contributions.content()
    for case in assessment.cases:
        if case.exposure is not None and case.exposure.trend is not None:
            found[days_path(case)] = csv_of(EXPOSURE, exposure_rows(case.exposure.trend.days))
    for revisions in lookup.revisions.values():
        found |= {raw_path(visit): visit.content for visit in revisions}
    for path in dict.fromkeys(logged.path for logged in assessment.measurement.logged.values()):
        found[log_path(path)] = files[path]
    return found | _schemas()


def records_manifest(files: Snapshot) -> bytes:
    """SHA-256 of every record in the form that sha256sum reads.

    Evidence that a snapshot only lists has no bytes there and is left out, and so are trends: the findings that were
    computed from one name its hash.
    """
    records = [path for path in sorted(files) if not path.startswith(TRENDS) and files[path]]
    return "".join(f"{hashlib.sha256(files[path]).hexdigest()}  {path}\n" for path in records).encode()


@cache
def _schemas() -> dict[str, bytes]:
    """By path; they depend on no record, so that `serve` needs them once."""
    return {f"data/schemas/{kind}.json": schema for kind, schema in schemas().items()}
