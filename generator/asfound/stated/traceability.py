"""What a certificate states of its references: every calibration behind the results, and published values."""

from __future__ import annotations

from asfound.records.models.fields import Day
from asfound.records.models.stated import Number, Stated


class _Standard(Stated):
    """The reference standard that a link or a published value belongs to."""

    reference: str
    """its id"""
    name: str
    """as the records have it"""
    serial: str
    """its serial number"""
    kind: str
    """in words, e.g. `two-pressure humidity generator`"""


class CalibrationLink(_Standard):
    """One calibration of one quantity of one reference standard."""

    serves: str | None
    """id of the reference that was calibrated here with this one; null where the results lean on it themselves"""
    quantity: str
    """what was calibrated, e.g. `saturation_pressure`"""
    date: Day
    """of the calibration"""
    valid_until: Day
    """last day on which it holds"""
    laboratory: str | None
    """who calibrated, with accreditation; null where a visit here did"""
    certificate: str | None
    """number of the laboratory's certificate; null where a visit here calibrated"""
    from_visit: str | None
    """the visit here that calibrated it; null where a laboratory did"""
    certificate_issued: bool
    """a laboratory's was; of a calibration here there may be a preview only"""
    certificate_number: str | None
    """number of the certificate issued here of that visit"""
    lowest_U: Number
    """smallest expanded uncertainty of the calibration's points, in `unit`"""
    highest_U: Number
    """largest one"""
    unit: str
    """of the quantity: %RH, degC, Pa, mA or V"""
    lowest_k: Number
    """smallest coverage factor of the calibration's points"""
    highest_k: Number
    """largest one"""


class StatedPublishedValue(_Standard):
    """A published value where other standards have a calibration: no link of the chain."""

    salt: str
    """formula, e.g. `MgCl2`"""
    source: str
    """the publication"""
    lowest: Number
    """smallest of its stated uncertainties, taken as limits, in `unit`"""
    highest: Number
    """largest one"""
    unit: str
    """%RH"""
