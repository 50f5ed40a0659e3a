"""The published tables: every column with its kind and meaning, declared here and nowhere else.

Names, order and meaning of columns are stable within a version of their table. No two columns of a table differ by case
alone: programs that ignore case would give one for the other.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from asfound.assessment.results.conformity import SMALLEST_P

Kind = Literal["text", "number", "whole", "day", "time", "list"]
"""text; floating-point; whole number; YYYY-MM-DD; UTC to the second; texts, in CSV with `;` between"""

ROW = "the row's unit"
"""The unit of a number that stands in the unit that its row names."""


class Column(NamedTuple):
    """One column: its name, what stands in it, what that means, and the unit of numbers ("": none)."""

    name: str
    kind: Kind
    meaning: str
    unit: str = ""


@dataclass(frozen=True)
class Table:
    """One published table; its last column names it and the version of its columns."""

    name: str
    version: int
    key: tuple[str, ...]
    """what no two rows share"""
    own: tuple[Column, ...]

    @property
    def format(self) -> str:
        """As its rows say it: `results/2`."""
        return f"{self.name}/{self.version}"

    @property
    def columns(self) -> tuple[Column, ...]:
        """All columns, in order."""
        return (*self.own, Column("format", "text", f"`{self.format}`: this table, and the version of its columns"))

    @property
    def names(self) -> tuple[str, ...]:
        """Names of all columns, in order."""
        return tuple(column.name for column in self.columns)


_CHANNEL = Column("channel", "text", "`humidity` or `temperature`")
_UNIT = Column("unit", "text", "unit of the row's numbers")
_SENSOR = Column("sensor", "text", "id of the sensor, or of the reference that was itself calibrated or checked")
_SERIAL = Column("serial", "text", "serial number of the instrument that served there on the day")
_TARGET = Column("target", "number", "what was aimed at", "%RH")
_DIRECTION = Column("direction", "text", "from where the point was approached: `start`, `rising` or `falling`")
_REFERENCE_VALUE = Column("reference_value", "number", "humidity or temperature by the reference", ROW)
_TOLERANCE = Column("tolerance", "number", "± limit", ROW)
_METHOD = Column("method", "text", "how the reference gives the value")

RESULTS = Table(
    "results",
    2,
    ("visit", "sensor", "channel", "plateau"),
    (
        Column("visit", "text", "id of the visit, without its revision"),
        Column("revision", "whole", "which revision of the visit stands: 1 is the first"),
        Column("time", "time", "middle of the plateau"),
        _SENSOR,
        _SERIAL,
        Column("place", "text", "id of the place where the sensor served on the day; of a reference none"),
        _CHANNEL,
        _UNIT,
        Column("plateau", "whole", "number within the visit and sensor"),
        Column("phase", "text", "`as_found`, `as_left`, `check` or `calibration`"),
        _TARGET,
        _DIRECTION,
        _METHOD,
        Column("medium", "text", "`chamber`, `air` or `salt`: what the probe was read in"),
        Column("reference", "text", "id of the reference"),
        _REFERENCE_VALUE,
        Column("output", "number", "reading at the sensor, scaled", ROW),
        Column("far_end", "number", "reading at the far end of its loop", ROW),
        Column("part", "text", "whose error is judged: `total` (far end), `sensor` or `loop`"),
        Column("error", "number", "the one that is judged: reading less reference", ROW),
        Column("error_sensor", "number", "of the sensor alone", ROW),
        Column("error_loop", "number", "of the loop alone", ROW),
        Column("standard_uncertainty", "number", "u of the error", ROW),
        Column("nu_eff", "number", "effective degrees of freedom of u; `inf` where they have no end"),
        Column("k", "number", "expanded over standard uncertainty; none where a laboratory stated neither k nor ν"),
        Column("expanded_uncertainty", "number", "U of the error, at 95.45 %", ROW),
        Column("expanded_uncertainty_sensor", "number", "U of `error_sensor`, linear", ROW),
        Column("expanded_uncertainty_loop", "number", "U of `error_loop`, linear", ROW),
        Column(
            "answer",
            "text",
            "how U came about: `linear`, `monte carlo` (further draws move only digits of U beyond the second, and "
            "`p_outside` by up to about 0.002) or `stated`",
        ),
        _TOLERANCE,
        Column("rule", "text", "the decision rule, in words"),
        Column("verdict", "text", "by that rule; `none` where nothing is said of conformity"),
        Column(
            "p_outside",
            "number",
            "probability that the true error lies outside, by this measurement alone (uniform prior): it knows nothing "
            "of how good such sensors usually are, and where most are good fewer lie outside",
        ),
        Column("p_outside_below", "number", f"{SMALLEST_P:g} where the probability is smaller: then none is told"),
        Column("tur", "number", "tolerance over U"),
        Column("status", "text", "`done`, `unsettled`, `not done` or `stated`"),
        Column("one_way", "text", "`rising` or `falling`, where the other way to the point was not read"),
        Column("loop", "number", "half the width of the declared hysteresis there, else 0", ROW),
        Column("reservations", "list", "names of the rules by which something is held against the result"),
        Column("approval", "text", "of the visit, for this sensor: `approved`, or how far it has come"),
        Column("certificate", "text", "number of the newest certificate that was issued of it up to the day"),
    ),
)

CONTRIBUTIONS = Table(
    "contributions",
    2,
    ("result", "part", "source"),
    (
        Column("result", "text", "visit/sensor/channel/plateau"),
        Column("part", "text", "`total`, `sensor` or `loop`: the error to which it contributes"),
        Column("source", "text", "identity of the source: two numbers are correlated through what they share"),
        Column("sensitivity", "number", "change of the error with the source"),
        Column("standard_uncertainty", "number", "u of the source", "the source's unit"),
        Column("unit", "text", "unit of the source's u"),
        Column("contribution", "number", "signed: sensitivity times u of the source", "the result's unit"),
        Column("nu", "number", "degrees of freedom of the source's u; `inf`: without end"),
        Column("variance_group", "text", "sources whose u is one and the same estimate; in ν_eff they count as one"),
        Column("distribution", "text", "`normal` (with few degrees of freedom Student's t) or `rectangular`"),
        Column("scope", "text", "how long the effect keeps its value; drawn anew only when that has ended"),
    ),
)

DRIFT = Table(
    "drift",
    2,
    ("sensor", "channel", "target", "direction"),
    (
        _SENSOR,
        _SERIAL,
        _CHANNEL,
        _UNIT,
        _TARGET,
        _DIRECTION,
        _REFERENCE_VALUE,
        Column("state", "text", "what is known of the drift, in a word"),
        Column("rate", "number", "per year", ROW),
        Column("expanded_uncertainty_rate", "number", "U of the rate", ROW),
        Column("nu", "number", "degrees of freedom of the rate"),
        Column("p_value", "number", "of a rate as large by chance alone"),
        Column("chi_squared", "number", "of the line"),
        Column("freedom", "whole", "degrees of freedom of `chi_squared`"),
        Column("between", "number", "standard deviation from visit to visit", ROW),
        Column("between_basis", "text", "how that is known"),
        _TOLERANCE,
        Column("limit", "number", "the tolerance less the newest U of the point", ROW),
        Column("error_today", "number", "what the line says of the error today", ROW),
        Column(
            "expanded_uncertainty_today",
            "number",
            "U of the true error today, in use: by the line, with one visit's shift, the constant part of what varies "
            "less than declared, and either side of the declared hysteresis",
            ROW,
        ),
        Column("due", "day", "when the sensor is due"),
        Column("error_due", "number", "what the line says of the error then", ROW),
        Column("expanded_uncertainty_due", "number", "half-width of what a measurement will show then", ROW),
        Column("leaves_earliest", "day", "95 % bound of the day on which |error| + U leaves the tolerance"),
        Column("leaves_median", "day", "that day, as likely earlier as later; none within 10 years: empty"),
        Column("leaves_latest", "day", "its other bound"),
    ),
)

SCALES = Table(
    "scales",
    2,
    ("model", "channel", "method", "kind"),
    (
        Column("model", "text", "family whose results these are"),
        _CHANNEL,
        _UNIT,
        Column("method", "text", "what they were read by; `stated`: by another laboratory"),
        Column(
            "kind",
            "text",
            "`own` of one result, `visit` shared by a visit's, `shift` of whole visits, `period` from calibration to "
            "calibration of a reference",
        ),
        Column("label", "text", "what most of it is"),
        Column("factor", "number", "variance seen over variance declared: 1 is as declared"),
        Column("factor_low", "number", "its lower 95 % bound"),
        Column("factor_high", "number", "its upper 95 % bound"),
        Column("shift", "number", "standard deviation of a whole visit's shift that `shift` is measured by", ROW),
        Column("instruments", "whole", "how many speak"),
        Column("visits", "whole", "how many of theirs"),
        Column("left_out", "whole", "instruments that scatter by far more"),
        Column("chi_squared", "number", "of all lines with everything as declared"),
        Column("freedom", "whole", "degrees of freedom of `chi_squared`"),
    ),
)

EXPOSURE = Table(
    "exposure",
    2,
    ("day",),
    (
        Column("day", "day", "a day before the finding, in the facility's zone"),
        Column("lowest", "number", "of the corrected humidity", "%RH"),
        Column("mean", "number", "of the corrected humidity", "%RH"),
        Column("highest", "number", "of the corrected humidity", "%RH"),
        Column("expanded_uncertainty", "number", "U of the mean", "%RH"),
    ),
)

TABLES = (RESULTS, CONTRIBUTIONS, DRIFT, SCALES, EXPOSURE)
