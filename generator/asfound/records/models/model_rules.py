"""The rules about records of one file, by which their models refuse what is written."""

from __future__ import annotations

from asfound.faults import error

MISSING_KEY = error("missing-key", "a key that the record needs is not there")
UNKNOWN_KEY = error("unknown-key", "a key is not one of the record's")
WRONG_VALUE = error("wrong-value", "a value is not of the kind that its key needs")

BAD_DATE = error("bad-date", "a day is not written YYYY-MM-DD")
BAD_AMOUNT = error("bad-amount", "an amount has no number, or no unit, or a unit of another quantity")
DATES_OUT_OF_ORDER = error("dates-out-of-order", "dated entries are not in order, or an end lies before its start")
EMPTY_TOLERANCE = error("empty-tolerance", "a tolerance gives no limit")
BAD_SCALING = error("bad-scaling", "a scaling's two ends do not make a line")
BAD_RANGE = error("bad-range", "a range's lower end is not below its upper end")
DEFERRAL_WITHOUT_REASON = error("deferral-without-reason", "a calibration is deferred without a reason or a day")
FINDING_HALF_CLOSED = error("finding-half-closed", "a finding is closed without who, when or what was decided")
INTERVAL_METHOD_INCOMPLETE = error(
    "interval-method-incomplete", "a method that proposes intervals lacks what it counts"
)
MIXED_QUANTITIES = error("mixed-quantities", "amounts of different quantities stand where one is needed")
CALIBRATION_INCOMPLETE = error("calibration-incomplete", "a reference's calibration lacks what its certificate states")
TABLE_OUT_OF_ORDER = error("table-out-of-order", "a calibration table's points do not rise")
QUANTITY_MISSING = error("quantity-missing", "a reference lacks a quantity (or salt) that its kind measures")
UNKNOWN_QUANTITY = error("unknown-quantity", "a reference names a quantity that no method uses")
COMMON_WITHOUT_CALIBRATION = error(
    "common-without-calibration", "a common component's day is not the day of the calibrations that share it"
)
DUPLICATE_ID = error("duplicate-id", "two records have one id, or ids that differ only in capitals")
SIZE_INCOMPLETE = error("size-incomplete", "the size of a source is not told, or told twice")
SHARED_TOO_LARGE = error("shared-too-large", "what calibrations share is more than the certificate's U holds")
