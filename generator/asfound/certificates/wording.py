"""The sentences of a certificate, in words of our own: what ISO/IEC 17025:2017, 7.8.2 and 7.8.4 ask to be said.

Clause numbers are from memory. No sentence here claims an accreditation or conformity of the laboratory: only
facility.yml can, word for word.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping
from datetime import date

from asfound.records.methods import KIND_NAMES, METHODS, SALT_SOURCE
from asfound.records.models import CertificateWording, Limits, MeasuringRange, Scaling, Tolerance
from asfound.records.models.stated import Approved

TITLE = "Calibration certificate"
CHECK_TITLE = "Record of a check between calibrations"
PREVIEW = "PREVIEW – not issued"
PREVIEW_WARNING = "This is a preview: it has not been issued."
NOT_REVIEWED = "not reviewed: preview"
APPROVED: Mapping[str, str] = {
    "merge": "by merging it",
    "reviewed-by": "by review",
    "signature": "by signature",
}
"""How the record of a visit was approved."""
NO_VERDICT = "no verdict"

SCOPE = "The results relate only to the item calibrated, as it was at the time and place of the calibration."
MOST_NOTES = 2
"""Notes that are repeated beside the place."""
REPRODUCTION = "This document may be reproduced only in full; an extract needs the written consent of the laboratory."
AS_FOUND_IS_AS_LEFT = "Nothing was adjusted: as found is also as left."

PHASES = {"as_found": "As found", "as_left": "As left", "check": "Check between calibrations"}
MEDIA = {
    "chamber": "in the chamber of the reference standard",
    "salt cell": "in the cell of a saturated salt solution",
    "in air": "in the air of the room, the reference standard beside the sensor",
}
SENSOR_TOLERANCE = "T is the tolerance set by the facility for this sensor"
REFERENCE_TOLERANCE = "T is the limit set by the facility for checks of this reference"
ADJUSTMENTS = {
    "zero": "zero adjusted",
    "span": "span adjusted",
    "table": "correction table replaced",
    "element": "sensing element replaced",
}
KINDS = KIND_NAMES

_SUBSCRIPTS = str.maketrans("0123456789", "₀₁₂₃₄₅₆₇₈₉")


def principles(methods: Iterable[str]) -> list[str]:
    """How the reference methods arrive at their values; `methods` as results name them: `saturated_salt (NaCl)`."""
    details: dict[str, list[str]] = {}
    for method in methods:
        kind, _, detail = method.partition(" ")
        declared = METHODS[kind]
        of_cell = declared.of_cells and detail.startswith("(cell ")
        named = details.setdefault(declared.of_cells if of_cell else declared.principle, [])
        if detail not in named:
            named.append(detail)
    return [principle.format(_joined(named)) for principle, named in details.items()]


def _joined(named: list[str]) -> str:
    """`dew`, or salts as chemists write them: `LiCl, MgCl₂ and NaCl`."""
    *first, last = [
        detail[1:-1] if detail.startswith("(cell ") else salt_formula(detail.strip("()")) for detail in named
    ]
    return f"{', '.join(first)} and {last}" if first else last


def salt_formula(salt: str) -> str:
    """`MgCl2` → `MgCl₂`."""
    return salt.translate(_SUBSCRIPTS)


def first_day(day: date) -> date | None:
    """The first day of a dated setting; none where it has held ever since."""
    return None if day == date.min else day


def title(phases: Iterable[str]) -> str:
    """What the document is: a check between calibrations is none."""
    return CHECK_TITLE if set(phases) == {"check"} else TITLE


def authorised(approved: Approved, other: str | None = None) -> str:
    """Who stands for an issued certificate: whoever approved the record of the visit, or another person."""
    how = f" {APPROVED[approved.how]}" if approved.how in APPROVED else ""
    if other is not None:
        return f"{other}; the record was approved by {approved.name} on {approved.day}{how}"
    return f"{approved.name}, who approved the record on {approved.day}{how}"


def place(notes: Iterable[str], elsewhere: str | None) -> str:
    """Where was calibrated, which only a note can tell; `elsewhere`: what says that it was not as in work."""
    said = [f"“{note}”" for note in dict.fromkeys(notes)]
    text = "at the measuring position, unless a note says otherwise"
    if len(said) > MOST_NOTES:
        text += "; see the notes under Deviations and remarks"
    elif said:
        text += f"; noted: {', '.join(said)}"
    return text + (f"; {elsewhere}" if elsewhere else "")


def salts(named: Iterable[tuple[str, str]]) -> str:
    """What the humidity over salt solutions rests on; `named`: (salt, its stated uncertainty as limits)."""
    limits = "; ".join(f"{salt_formula(salt)} {size}" for salt, size in named)
    return (
        f"Saturated salts: published values, {SALT_SOURCE}, as transcribed and not checked against the print; they are "
        f"not traceable by calibration. Stated uncertainty, taken as limits: {limits}. The thermometer "
        "is traceable through the calibrations listed."
    )


def basis(wording: CertificateWording, over_salts: bool = False) -> str:
    """On what footing the laboratory calibrates: its own statement, else in-house."""
    if wording.accreditation is not None:
        return wording.accreditation
    return (
        "In-house calibration, traceable through the calibrations of the reference standards listed under "
        "Traceability, each with its own uncertainty"
    ) + (", except for the humidity over saturated salts: published values." if over_salts else ".")


def coverage(trials: Collection[int]) -> str:
    """What U and k mean; `trials` of the rows that were decided by Monte Carlo."""
    text = (
        "Error = indication − reference value. "
        "The reported expanded uncertainty U is the standard uncertainty multiplied by the coverage factor k of the "
        "same row, for a coverage probability of approximately 95.45 %. It was evaluated after JCGM 100:2008; "
        "k belongs to Student’s t distribution with ν effective degrees of freedom."
    )
    if trials:
        spaced = f"{'up to ' if len(set(trials)) > 1 else ''}{max(trials):,}".replace(",", " ")
        text += (
            f" In rows marked M the sources were propagated by Monte Carlo (JCGM 101:2008, {spaced} trials): U is the "
            "larger side of the 95.45 % interval about the error, and k is U divided by the standard uncertainty."
        )
    return text + " U holds for the day of the calibration: later drift is not in it."


AS_APPROACHED = (
    "A point marked “only” was approached from that side alone, one marked “start” from wherever the sensor was: "
    "error, U and verdict hold for that approach, not for the other side of the loop."
)
"""What a reader must know of points that were read one way."""


def humidity_over(ice: bool) -> str:
    """Which relative humidity the figures are."""
    if ice:
        return "Relative humidity is relative to saturation over ice."
    return "Relative humidity is relative to saturation over liquid water, also below 0 °C."


def tolerance(limits: Tolerance, unit: str, span: MeasuringRange | None) -> str:
    """A tolerance as it is declared, e.g. `±(1 %RH + 2 % of reading)`."""
    parts = [
        f"{_limits(band, unit, span)} from {band.lowest.value:g} to {band.highest.value:g} {unit}"
        for band in sorted(limits.bands, key=lambda b: b.lowest.value)
    ]
    own = _limits(limits, unit, span)
    if own:
        parts.append(f"{own} elsewhere" if parts else own)
    return "; ".join(parts)


def _limits(limits: Limits, unit: str, span: MeasuringRange | None) -> str:
    parts = []
    if limits.absolute is not None:
        parts.append(f"{limits.absolute.value:g} {unit}")
    if limits.of_reading is not None:
        parts.append(f"{100 * limits.of_reading:g} % of reading")
    if limits.of_range is not None:
        ends = f" {span.lowest.value:g} to {span.highest.value:g} {unit}" if span else ""
        parts.append(f"{100 * limits.of_range:g} % of the range{ends}")
    if len(parts) < 2:
        return "".join(f"±{part}" for part in parts)
    joined = " + ".join(parts) if limits.combine == "sum" else f"the larger of {' and '.join(parts)}"
    return f"±({joined})"


def check_limit(limit: float) -> str:
    """The limit of a reference's checks, %RH."""
    return f"±{limit:g} %RH, the limit of checks between calibrations"


def scaling(entry: Scaling, unit: str) -> str:
    """How a loop signal stands for the measured value."""
    signal = "mA" if entry.low.quantity == "current" else "V"
    return (
        f"{entry.low.value:g} {signal} to {entry.high.value:g} {signal} stand for "
        f"{entry.reads_low.value:g} {unit} to {entry.reads_high.value:g} {unit}"
    )
