"""What a certificate states of the references behind its results: links of the chain, and published values."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from asfound.certificates import wording as words
from asfound.certificates.statement_results import number
from asfound.certificates.traceability import Link, PublishedValue
from asfound.records.methods import SALT_SOURCE
from asfound.records.models import Reference
from asfound.rounding import expanded
from asfound.stated.traceability import CalibrationLink, StatedPublishedValue


def calibration_links(links: Iterable[Link]) -> tuple[CalibrationLink, ...]:
    """Every calibration behind the results."""
    return tuple(
        CalibrationLink(
            **_standard(link.reference),
            serves=link.serves or None,
            quantity=link.quantity,
            date=link.calibration.date,
            valid_until=link.calibration.valid_until,
            laboratory=link.calibration.calibrated_by,
            certificate=link.calibration.certificate,
            from_visit=link.calibration.from_visit,
            certificate_issued=link.certificate_issued,
            certificate_number=link.certificate_number or None,
            lowest_U=number(link.lowest_U),
            highest_U=number(link.highest_U),
            unit=link.unit,
            lowest_k=number(link.lowest_k),
            highest_k=number(link.highest_k),
        )
        for link in links
    )


def published_values(values: Iterable[PublishedValue]) -> tuple[StatedPublishedValue, ...]:
    """Published values where other standards have a calibration: no link of the chain."""
    return tuple(
        StatedPublishedValue(
            **_standard(value.reference),
            salt=value.salt,
            source=SALT_SOURCE,
            lowest=number(value.lowest),
            highest=number(value.highest),
            unit="%RH",
        )
        for value in values
    )


def salts_sentence(values: Sequence[PublishedValue]) -> str | None:
    """What the humidity over salts rests on; None where none was used."""
    ends = [(v.salt, expanded(v.lowest), expanded(v.highest)) for v in values]
    sizes = [(salt, f"±{low if low == high else f'{low} to {high}'} %RH") for salt, low, high in ends]
    return words.salts(dict.fromkeys(sizes)) if sizes else None


def _standard(reference: Reference) -> dict[str, str]:
    return {
        "reference": reference.id,
        "name": reference.name,
        "serial": reference.serial,
        "kind": words.KINDS[reference.kind],
    }
