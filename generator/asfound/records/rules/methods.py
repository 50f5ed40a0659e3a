"""What each reference method needs in a row, and what does not belong to it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from asfound.faults import Fault, error
from asfound.records.methods import METHODS, reference_readings
from asfound.records.rules.survey import RuleAcross, Survey, row_numbers
from asfound.records.visits.columns import COLUMNS, INDICATIONS

READING_WITHOUT_REFERENCE = error("reading-without-reference", "a row has readings and names no reference")
MISSING_READING = error("missing-reading", "a row lacks a reading that its reference's method needs")
MISSING_INDICATION = error("missing-indication", "a row has the reference's readings and none of the sensor")
DEW_OR_FROST = error("dew-or-frost", "a mirror's reading does not say whether dew or frost stood on it")
FROST_ABOVE_FREEZING = error("frost-above-freezing", "frost is said to stand on a mirror above 0 degC")
METHOD_MIXTURE = error("method-mixture", "a row has readings that belong to another method")
MEDIUM_MISMATCH = error("medium-mismatch", "a row's medium does not fit its reference or its readings")
GAUGE_WITHOUT_AMBIENT = error("gauge-without-ambient", "a gauge pressure stands without the room's pressure")
AMBIENT_NOT_ABSOLUTE = error("ambient-not-absolute", "the room's pressure is given as a gauge pressure")
NO_BAROMETER = error("no-barometer", "the room's pressure counts in a result, and no barometer is named")
SATURATION_BELOW_CHAMBER = error(
    "saturation-below-chamber", "a saturator's pressure is below that of the chamber that it feeds"
)
SALT_NOT_IN_CELLS = error("salt-not-in-cells", "a row names a salt that the reference has no cell of")

_PRESSURES = ("saturation_pressure", "chamber_pressure", "mirror_pressure")
_OUTLET_PA = 1000.0
"""No saturator is further below its chamber than its pressure readings may be wrong."""
_FREEZING_C = 0.5
"""The triple point, and what a mirror's thermometer may be wrong."""


def _of_kind(survey: Survey, kind: str) -> np.ndarray:
    """Rows read here against a reference of this kind."""
    names = {name for name, reference in survey.records.references.items() if reference.kind == kind}
    return survey.rows.own & survey.rows.words("reference").among(names)


def readings_without_reference(survey: Survey) -> Iterator[Fault]:
    """An indication alone is no calibration."""
    rows = survey.rows
    for row in row_numbers(rows.own & ~rows.words("reference").filled):
        message = "the row has readings and names no reference"
        cure = "fill in the id of the reference standard"
        yield rows.fault(READING_WITHOUT_REFERENCE, row, "reference", message, cure)


def missing_readings(survey: Survey) -> Iterator[Fault]:
    """Every column of the method stands in the row, or in another row of its moment."""
    rows = survey.rows
    in_air = rows.shared_words("medium").among(("in air",))
    for kind, method in METHODS.items():
        of_kind = _of_kind(survey, kind) & rows.read(*INDICATIONS) & ~rows.damaged
        lacking: dict[int, list[str]] = {}
        for column in method.columns:
            if column in method.optional:
                continue
            there = _there(survey, column)
            other = method.alternatives.get(column)
            if other:
                there = there | _there(survey, other)
            if column in method.in_air_only:
                there = there | ~in_air
            for row in row_numbers(of_kind & ~there):
                lacking.setdefault(row, []).append(column)
        for row, names in sorted(lacking.items()):
            message = f"{', '.join(names)} {'is' if len(names) == 1 else 'are'} missing for a {kind}"
            cure = "fill in what was read; a point that was not read has no readings, and says why in note"
            yield rows.fault(MISSING_READING, row, names[0], message, cure)


def _there(survey: Survey, column: str) -> np.ndarray:
    """Rows for which a column of the reference is given, in the row or at its moment."""
    if COLUMNS[column].is_number:
        return ~np.isnan(survey.rows.shared(column))
    return survey.rows.shared_words(column).filled


def missing_indications(survey: Survey) -> Iterator[Fault]:
    """Where the reference was read, the sensor was."""
    rows = survey.rows
    for row in row_numbers(rows.own & ~rows.read(*INDICATIONS) & ~rows.damaged):
        column = next(name for name in reference_readings() if not np.isnan(rows.number(name)[row]))
        message = "the reference was read, the sensor was not"
        cure = "fill in output or far_end; a point that was not read has no readings, and says why in note"
        yield rows.fault(MISSING_INDICATION, row, column, message, cure)


def dew_or_frost(survey: Survey) -> Iterator[Fault]:
    """At −10 °C on the mirror, dew is 10.19 %RH where frost is 9.24 %RH: it is asked, never assumed."""
    rows = survey.rows
    mirror, condensate = rows.shared("mirror_temperature"), rows.shared_words("condensate")
    read = _of_kind(survey, "chilled_mirror") & ~np.isnan(mirror)
    for row in row_numbers(read & ~condensate.filled):
        message = "the row does not say what stood on the mirror"
        yield rows.fault(DEW_OR_FROST, row, "condensate", message, "write dew or frost under condensate")
    for row in row_numbers(read & condensate.among(("frost",)) & (mirror > _FREEZING_C)):
        message = f"frost cannot stand on a mirror at {mirror[row]:.2f} degC"
        cure = "write dew, or correct mirror_temperature"
        yield rows.fault(FROST_ABOVE_FREEZING, row, "condensate", message, cure)


def mixed_methods(survey: Survey) -> Iterator[Fault]:
    """A reading that the row's reference cannot have given."""
    rows, references = survey.rows, survey.rows.words("reference")
    every = dict.fromkeys(column for method in METHODS.values() for column in method.columns)
    for kind, method in METHODS.items():
        of_kind = _of_kind(survey, kind)
        for column in every:
            if column in method.columns:
                continue
            filled = rows.read(column) if COLUMNS[column].is_number else rows.words(column).filled
            for row in row_numbers(of_kind & filled):
                reference = survey.records.references[references[row]]
                if column not in reference.quantities:
                    message = f"{column} was not read from {reference.id}, a {kind}"
                    cure = "move the value to its column, clear it, or correct the reference"
                    yield rows.fault(METHOD_MIXTURE, row, column, message, cure)


def media_that_do_not_fit(survey: Survey) -> Iterator[Fault]:
    """A blank medium is the chamber."""
    rows = survey.rows
    medium = rows.shared_words("medium")
    for kind, method in METHODS.items():
        fitting = method.media
        fits = medium.among(fitting) | (~medium.filled if "chamber" in fitting else False)
        for row in row_numbers(_of_kind(survey, kind) & ~fits):
            shown = repr(medium[row]) if medium[row] else "blank (the chamber)"
            message = f"medium is {shown} for a {kind}"
            cure = f"write {' or '.join(repr(word) for word in fitting)} under medium"
            yield rows.fault(MEDIUM_MISMATCH, row, "medium", message, cure)
    beside = _of_kind(survey, "transfer_probe") & rows.read("air_temperature")
    for row in row_numbers(beside & ~medium.among(("in air", "salt cell"))):
        message = "air_temperature is read where sensor and probe stand in air, and medium is the chamber"
        cure = "write 'in air' under medium, or clear air_temperature"
        yield rows.fault(MEDIUM_MISMATCH, row, "air_temperature", message, cure)


def gauge_pressures(survey: Survey) -> Iterator[Fault]:
    """Gauge plus ambient is absolute; what gives the ambient pressure is named, for its uncertainty."""
    rows = survey.rows
    ambient, barometer = rows.shared("ambient_pressure"), rows.shared_words("barometer")
    for row in row_numbers(rows.gauge("ambient_pressure") & rows.reading):
        message = "ambient_pressure is given as a gauge pressure"
        cure = "read it absolute, e.g. ambient_pressure [hPa absolute]"
        yield rows.fault(AMBIENT_NOT_ABSOLUTE, row, "ambient_pressure", message, cure)
    counts = np.zeros(rows.n, bool)
    for column in _PRESSURES:
        gauge = rows.gauge(column) & rows.own
        counts |= gauge
        for row in row_numbers(gauge & np.isnan(ambient)):
            message = f"{column} is a gauge pressure, and the room's pressure is missing"
            cure = "fill in ambient_pressure and its barometer"
            yield rows.fault(GAUGE_WITHOUT_AMBIENT, row, column, message, cure)
    mirror = _of_kind(survey, "chilled_mirror")
    counts |= mirror & np.isnan(rows.shared("chamber_pressure"))
    for row in row_numbers(counts & ~np.isnan(ambient) & ~barometer.filled):
        message = "ambient_pressure counts in the result, and no barometer is named"
        cure = "fill in the id of what read it under barometer"
        yield rows.fault(NO_BAROMETER, row, "barometer", message, cure)


def saturators_below_their_chamber(survey: Survey) -> Iterator[Fault]:
    """Gas flows from the saturator to the chamber: often kPa and psi, or gauge and absolute, are mixed up."""
    rows = survey.rows
    ambient = rows.shared("ambient_pressure")
    saturation, chamber = (
        rows.shared(name) + np.where(rows.gauge(name), ambient, 0.0)
        for name in ("saturation_pressure", "chamber_pressure")
    )
    below = _of_kind(survey, "two_pressure") & (saturation < chamber - _OUTLET_PA)
    for row in row_numbers(below & rows.read("saturation_pressure")):
        message = (
            f"the saturator's {saturation[row] / 1e3:.4g} kPa is below the chamber's "
            f"{chamber[row] / 1e3:.4g} kPa (both absolute)"
        )
        cure = "check both readings and the units in the header: kPa or psi, gauge or absolute"
        yield rows.fault(SATURATION_BELOW_CHAMBER, row, "saturation_pressure", message, cure)


def salts_not_in_cells(survey: Survey) -> Iterator[Fault]:
    """A salt of the row is one of the reference's cells, by formula or by name."""
    rows, salts = survey.rows, survey.rows.words("salt")
    named = rows.words("reference")
    for reference in survey.records.references.values():
        if reference.kind != "saturated_salt":
            continue
        other = {salt for salt in salts.values if salt not in reference.solutions}
        for row in row_numbers(rows.own & named.among((reference.id,)) & salts.among(other)):
            message = f"{reference.id} has no cell of {salts[row]!r}"
            cure = f"write one of {', '.join(reference.solutions)}, or add it to references/{reference.id}.yml"
            yield rows.fault(SALT_NOT_IN_CELLS, row, "salt", message, cure)


RULES: tuple[RuleAcross, ...] = (
    readings_without_reference,
    missing_readings,
    missing_indications,
    dew_or_frost,
    mixed_methods,
    media_that_do_not_fit,
    gauge_pressures,
    saturators_below_their_chamber,
    salts_not_in_cells,
)
