"""What a certificate states of its results: rows by phase and channel, the decision, reservations by mark."""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import Field

from asfound.records.channels import Channel
from asfound.records.models.fields import Day
from asfound.records.models.stated import Number, Stated


class RowRepeatability(Stated):
    """How far single readings of a row scatter."""

    s: Number
    """standard deviation of single readings, in the group's unit"""
    nu: Number
    """its degrees of freedom"""
    basis: str
    """pooled, declared, own, log; "own, beyond …" where the readings scatter more than the one that is named"""


class WithheldAnswer(Stated):
    """No U is stated: a reservation withholds the certificate from the row."""

    kind: Literal["withheld"]
    """which answer it is"""


class LinearAnswer(Stated):
    """U = k·u after JCGM 100:2008."""

    kind: Literal["linear"]
    """which answer it is"""


class MonteCarloAnswer(Stated):
    """U is the larger side of the interval of drawn errors, after JCGM 101:2008."""

    kind: Literal["monte carlo"]
    """which answer it is"""
    seed: str
    """of the draws; text, since it is longer than the numbers that some programs read from JSON"""
    trials: int = Field(ge=1)
    """how many errors were drawn"""
    low: Number
    """lower end of the 95.45 % interval of the error, in the group's unit"""
    high: Number
    """its upper end"""


Answer = Annotated[WithheldAnswer | LinearAnswer | MonteCarloAnswer, Field(discriminator="kind")]


class Split(Stated):
    """Sensor and loop apart, each by its linear budget; all in the group's unit but k."""

    sensor_indication: Number
    """mean of what the sensor itself showed"""
    sensor_error: Number
    """indication of the sensor − reference value"""
    sensor_U: Number
    """expanded uncertainty of the sensor's error"""
    sensor_k: Number
    """its coverage factor"""
    loop_error: Number
    """far end − sensor"""
    loop_U: Number
    """expanded uncertainty of the loop's error"""
    loop_k: Number
    """its coverage factor"""


class Row(Stated):
    """The result of one plateau and channel. Error = indication − reference value; unrounded."""

    plateau: int = Field(ge=1)
    """its number in the visit"""
    time: str
    """local time of its first reading, `YYYY-MM-DD HH:MM[:SS]`"""
    target: Number
    """humidity that was aimed at, %RH"""
    direction: str
    """start, rising or falling: where the humidity came from"""
    method: str
    """reference method, e.g. `two_pressure`, `saturated_salt (NaCl)`"""
    reference: str
    """id of the reference standard"""
    part: Literal["total", "sensor", "loop"]
    """what is judged: the far end of the loop, or the sensor itself"""
    readings: int = Field(ge=1)
    """how many rows of the record were averaged"""
    temperature_c: Number
    """at the sensor, °C"""
    reference_value: Number
    """in the group's unit, as all that follows unless said otherwise"""
    indication: Number
    """mean of what is judged"""
    error: Number
    """corrected for settling"""
    u: Number
    """standard uncertainty of the error"""
    nu_eff: Number
    """effective degrees of freedom (Welch–Satterthwaite)"""
    k: Number
    """coverage factor for 95.45 %"""
    U: Number
    """expanded uncertainty of the error"""
    tolerance: Number
    """± limit at this reference value; null where none is declared"""
    p_outside: Number
    """probability that the error lies outside the tolerance, from 0 to 1"""
    tur: Number
    """tolerance divided by U"""
    settling_correction: Number
    """what of the error was taken off for what was left of settling"""
    repeatability: RowRepeatability
    """how far its readings scatter"""
    answer: Answer
    """how U came about"""
    split: Split | None
    """null where the sensor and the far end were not both read"""
    verdict: str
    """pass, conditional pass, conditional fail, fail, or no verdict"""
    reservations: tuple[str, ...]
    """marks of those that bear on the row"""
    one_way: str = ""
    """rising or falling, where the other way to the point was not read: result and verdict hold for that way"""


class StatedTolerance(Stated):
    """The tolerance that rows are judged by."""

    words: str
    """as it is declared, e.g. `±(1 %RH + 2 % of reading)`"""
    from_: Day | None = Field(alias="from")
    """first day on which it held; null where it has held ever since"""


class StatedHysteresis(Stated):
    """How far falling and rising readings lie apart at one point."""

    target: Number
    """%RH"""
    width: Number
    """error falling − error rising, in the group's unit"""
    U: Number
    """its expanded uncertainty"""


class Group(Stated):
    """The rows of one phase and channel."""

    phase: str
    """as_found, as_left or check"""
    phase_words: str
    """as the page says it"""
    channel: Channel
    """what was measured"""
    unit: str
    """of the rows' values: %RH or degC"""
    tolerance: StatedTolerance | None
    """null where none is declared"""
    rows: tuple[Row, ...] = Field(min_length=1)
    """by plateau"""
    hysteresis: tuple[StatedHysteresis, ...]
    """by target"""


class Decision(Stated):
    """The decision rule, and what it says of the results (ILAC-G8)."""

    rule: Literal["simple_acceptance", "guard_band", "specific_risk"]
    """of the policy in force on the day of the visit"""
    from_: Day | None = Field(alias="from")
    """first day of the policy; null where it has held ever since"""
    guard_band: float | None
    """its width as a multiple of U; null under another rule"""
    largest_risk: float | None
    """largest probability of a false accept, from 0 to 1; null under another rule"""
    largest_u_over_t: float | None
    """largest U divided by the tolerance with which something is decided; null under another rule"""
    words: str
    """the rule in a sentence"""
    tolerance: str
    """whose tolerance it is, in a sentence"""
    summary: tuple[str, ...]
    """a sentence for each group that is judged"""


class Reservation(Stated):
    """What must be known beside results; rows name it by its mark."""

    mark: str
    """a, b, … z, aa, …"""
    rule: str
    """name of the rule that found it"""
    withholds_verdict: bool
    """whether rows that name it have no verdict"""
    withholds_certificate: bool
    """whether rows that name it have neither U nor verdict"""
    words: str
    """what was found, and where"""
