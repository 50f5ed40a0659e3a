"""A small site of invented content, as the pages' own modules would hand it over."""

from __future__ import annotations

import json
from datetime import date
from html import escape
from pathlib import Path

from asfound.site.publishing.content import SiteContent, SitePage

DAY = date(2026, 3, 20)
LISTS = (
    "sensors/index",
    "visits/index",
    "references/index",
    "schedule",
    "findings/index",
    "method",
    "data/index",
)
VISITS = ("2023-03-06", "2024-03-12", "2024-09-17", "2025-03-11", "2026-03-10")
TARGETS = ("11 %RH", "33 %RH", "75 %RH")


def point(day: str, phase: str, n: int, error: float, *, reservation: str = "") -> dict[str, object]:
    """One result of the sample sensor: tolerance ±2.0 %RH, U = 0.6 %RH."""
    target = TARGETS[n]
    return {
        "date": f"{day}T{10 + n}:{30 if phase == 'as_left' else '00'}",
        "target": target,
        "phase": phase,
        "reference": (11.3, 32.9, 75.2)[n],
        "error": error,
        "U": 0.6,
        "low": -2.0,
        "high": 2.0,
        "verdict": "fail" if abs(error) > 2.0 else "pass",
        "hover": [
            f"{day}, {phase.replace('_', ' ')}, {target}",
            f"error {error:+.2f} %RH ± 0.60 %RH",
            "pass",
        ],
        "reservations": [reservation] if reservation else [],
    }


HISTORY = {
    "kind": "history",
    "title": "errors of RH-101 since 2023",
    "y_title": "Error / %RH",
    "points": [
        *(point(VISITS[0], "as_left", n, e) for n, e in enumerate((0.1, 0.2, 0.0))),
        *(point(VISITS[1], "as_found", n, e) for n, e in enumerate((-0.5, -0.7, -1.1))),
        point(VISITS[2], "as_found", 1, -1.1, reservation="unsettled plateau: 0.4 %RH in 10 min"),
        *(point(VISITS[3], "as_found", n, e) for n, e in enumerate((-0.9, -1.4, -2.3))),
        *(point(VISITS[3], "as_left", n, e) for n, e in enumerate((0.2, 0.0, -0.1))),
        *(point(VISITS[4], "as_found", n, e) for n, e in enumerate((-0.4, -0.6, -1.2))),
    ],
    "events": [
        {"date": "2025-03-11", "kind": "adjusted", "text": "span adjusted"},
        {"date": "2023-03-06", "kind": "element", "text": "element changed"},
    ],
    "drift": [
        {
            "target": "75 %RH",
            "dates": ["2025-03-11", "2026-03-10", "2026-12-31"],
            "error": [-0.1, -1.2, -2.1],
            "low": [-0.6, -1.8, -3.2],
            "high": [0.4, -0.6, -1.0],
            "text": "drift at 75 %RH: −1.10 %RH a year, 95 % band",
        }
    ],
}

VISIT = {
    "kind": "visit",
    "title": "errors of RH-101 as found and as left on 2025-03-11",
    "x_title": "Reference value / %RH",
    "y_title": "Error / %RH",
    "points": [p for p in HISTORY["points"] if str(p["date"]).startswith(VISITS[3])],  # type: ignore[index]
    "working": {"low": 12.0, "high": 18.0, "text": "works here"},
}

CONTROL = {
    "kind": "control",
    "title": "changes of RH-101 from visit to visit",
    "y_title": "Change / %RH",
    "mean_title": "Average / %RH",
    "centre": 0.1,
    "lower": -0.5,
    "upper": 0.7,
    "mean_centre": 0.0,
    "points": [
        {
            "date": day,
            "value": value,
            "mean": mean,
            "mean_low": -0.2,
            "mean_high": 0.2,
            "signals": signals,
            "hover": [f"found on {day}", f"change {value:+.2f} ± 0.60 %RH"],
        }
        for day, value, mean, signals in (
            (VISITS[1], 0.1, 0.02, []),
            (VISITS[2], 0.3, 0.08, []),
            (VISITS[3], 0.4, 0.14, []),
            (VISITS[4], 0.9, 0.29, ["value", "mean"]),
        )
    ],
    "events": [{"date": "2025-03-11", "text": "span adjusted"}],
}


def chart(about: dict[str, object]) -> str:
    """The element that charts.js draws into."""
    return f'<div class="chart" data-chart="{escape(json.dumps(about))}"><p>See the table.</p></div>'


def results_table(rows: int = 12) -> str:
    """A wide table of results, with a filter."""
    heads = (
        "Visit",
        "Phase",
        "Target / %RH",
        "Reference / %RH",
        "Output / %RH",
        "Error / %RH",
        "U / %RH",
        "k",
        "ν",
    )
    cells = []
    for n in range(rows):
        error = (n * 7 % 11 - 5) / 3
        state = ("ok", "in tolerance") if abs(error) < 1.5 else ("out", "out of tolerance")
        numbers = (11.0, 11.3, 11.3 + error, error, 0.6, 2.0, 40 + n)
        texts = [f"{value:.2f}".replace("-", "−") for value in numbers]
        cells.append(
            '<tr><th scope="row" class="keep"><a href="../visits/a-visit.html">'
            f"{2020 + n % 7}-03-{n + 1:02d}</a></th>"
            f"<td>{'as found' if n % 2 else 'as left'}</td>"
            + "".join(f'<td class="number">{text}</td>' for text in texts)
            + f'<td><span class="state state-{state[0]}">{state[1]}</span></td></tr>'
        )
    return (
        '<p class="filter-line"><label>Show <input class="filter" type="search" data-table="results"'
        ' placeholder="as found 2024"></label> <output></output></p>'
        '<div class="table-box"><table class="table sortable" id="results">'
        "<caption>Results of RH-101, newest visit last</caption><thead><tr>"
        + "".join(f'<th scope="col"{" class=number" if n > 1 else ""}>{h}</th>' for n, h in enumerate(heads))
        + '<th scope="col">Verdict</th></tr></thead><tbody>'
        + "".join(cells)
        + "</tbody></table></div>"
    )


STATES = (
    ("ok", "in tolerance"),
    ("close", "too close to call"),
    ("out", "out of tolerance"),
    ("drift", "drifting"),
    ("due", "due"),
    ("overdue", "overdue"),
    ("reserved", "with a reservation"),
    ("unreviewed", "not reviewed"),
    ("none", "never calibrated"),
    ("off", "out of service"),
    ("void", "withdrawn"),
)


def sensor_page() -> SitePage:
    body = (
        '<div class="lead lead-out"><p><strong>RH-101 was out of tolerance</strong> on 2025-03-11 at 75 %RH:'
        " error −2.30 %RH, U 0.60 %RH, tolerance ±2.00 %RH. Adjusted the same day.</p></div>"
        "<p>" + " ".join(f'<span class="state state-{name}">{word}</span>' for name, word in STATES) + "</p>"
        '<h2 id="facts">What it is</h2><dl class="facts"><dt>Place</dt><dd>Drying room 1, seed bank</dd>'
        "<dt>Serial</dt><dd>F2-20931, installed 2023-03-06</dd><dt>Tolerance</dt><dd>±2.0 %RH</dd></dl>"
        f'<h2 id="history">History</h2>{chart(HISTORY)}'
        f'<h2 id="results-head">Results</h2>{results_table()}'
        '<h2 id="budget">Budget</h2><details class="fold"><summary>11 %RH as found: U = 0.60 %RH</summary>'
        '<table class="table"><tr><td>saturation pressure, calibration</td><td class="number">0.12</td></tr>'
        "</table></details>"
    )
    headings = (
        ("facts", "What it is"),
        ("history", "History"),
        ("results-head", "Results"),
        ("budget", "Budget"),
    )
    return SitePage(path="sensors/RH-101.html", title="RH-101", body=body, headings=headings, scripts=True)


def visit_page() -> SitePage:
    return SitePage(
        path="visits/a-visit.html",
        title="2025-03-11 & after",
        body=f'<h2 id="chart">As found, as left</h2>{chart(VISIT)}<p>RH-101</p>',
        headings=(("chart", "As found, as left"),),
        in_search=False,
        scripts=True,
    )


def drift_page() -> SitePage:
    return SitePage(
        path="drift.html",
        title="Drift",
        body=f'<h2 id="control">Changes</h2>{chart(CONTROL)}',
        headings=(("control", "Changes"),),
        scripts=True,
    )


def sample_content(records: Path, day: date, templates: Path) -> SiteContent:
    """Stands in for the real builder: the same content for the same day and bytes of records."""
    note = (records / "note.txt").read_text(encoding="utf-8") if (records / "note.txt").is_file() else ""
    pages = [
        SitePage(path="index.html", title="Overview", body=f'<p id="as-of">As of {day}. {escape(note)}</p>'),
        *(
            SitePage(path=f"{name}.html", title=name.split("/")[0].capitalize(), body=f"<p>{name}</p>")
            for name in LISTS
        ),
        drift_page(),
        sensor_page(),
        SitePage(path="sensors/RH-1012.html", title="RH-1012", body="<p>Another sensor.</p>"),
        visit_page(),
    ]
    return SiteContent(
        pages=tuple(pages),
        files={"data/results.csv": b"visit,error\n2025-03-11,-2.3\n"},
        name="Seed bank & herbarium",
    )
