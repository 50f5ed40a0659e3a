"""What the references' displays show of a true value: their hidden errors, their units, their last digit."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import date

from tests.demo.hidden import reference_error
from tests.demo.nameplates import in_unit

Cells = dict[str, str]
"""Header of a visit's column → what is written there."""


def written(value: float, decimals: int) -> str:
    """A number as a display shows it; never minus zero."""
    text = f"{value:.{decimals}f}"
    return text.removeprefix("-") if float(text) == 0.0 else text


@dataclass(frozen=True, kw_only=True)
class Display:
    """One display of a reference: the quantity, its unit as the header of a visit has it, its decimals."""

    quantity: str
    unit: str
    decimals: int

    @property
    def header(self) -> str:
        return f"{self.quantity} [{self.unit}]"

    @property
    def is_gauge(self) -> bool:
        return self.unit.endswith(" gauge")

    def cells(self, reference: str, truth: float, day: date) -> Cells:
        """What it shows of a true value in the SI unit (gauge for a gauge display)."""
        shown = truth + reference_error(reference, self.quantity, truth, day)
        return {self.header: written(in_unit(shown, self.unit.split()[0]), self.decimals)}


def _displays(*entries: tuple[str, str, int]) -> dict[str, Display]:
    return {q: Display(quantity=q, unit=unit, decimals=decimals) for q, unit, decimals in entries}


DISPLAYS: dict[str, dict[str, Display]] = {
    "GEN-01": _displays(
        ("saturation_pressure", "kPa absolute", 1),
        ("saturation_temperature", "degC", 2),
        ("chamber_pressure", "kPa absolute", 2),
        ("chamber_temperature", "degC", 2),
    ),
    "GEN-02": _displays(
        ("saturation_pressure", "psi gauge", 2),
        ("saturation_temperature", "degF", 2),
        ("chamber_pressure", "psi gauge", 3),
        ("chamber_temperature", "degF", 2),
    ),
    "MIR-01": _displays(("mirror_temperature", "degC", 2), ("chamber_temperature", "degC", 2)),
    "SALT-01": _displays(("chamber_temperature", "degC", 2)),
    "PROBE-01": _displays(("reference_temperature", "degC", 2), ("air_temperature", "degC", 2)),
    "BAR-01": _displays(("ambient_pressure", "hPa absolute", 1)),
    "BAR-02": _displays(("ambient_pressure", "inHg absolute", 2)),
}
"""The records name the instruments; which unit each display is set to stands in the visits alone."""
