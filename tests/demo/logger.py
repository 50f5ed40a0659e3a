"""The logger on the cart: what reference and sensor show every few seconds, as a file of its own making."""

from __future__ import annotations

from datetime import datetime

from tests.demo.displays import Cells

HEADINGS = {
    "output [mA]": "Loop / mA",
    "far_end [%RH]": "Building system / %RH",
    "saturation_pressure [kPa absolute]": "Ps / kPa",
    "saturation_temperature [degC]": "Ts / C",
    "chamber_pressure [kPa absolute]": "Pc / kPa",
    "chamber_temperature [degC]": "Tc / C",
}
"""Header of a visit's column → what the logger calls it."""


class Logger:
    """Semicolons, decimal commas, day and time in two columns, some lines about itself on top."""

    def __init__(self) -> None:
        self.lines = ["Cart logger;channels;6", "", ";".join(["Day", "Clock", *HEADINGS.values()])]

    def write(self, time: datetime, cells: Cells) -> None:
        """One sample."""
        shown = [cells.get(header, "").replace(".", ",") for header in HEADINGS]
        self.lines.append(";".join([f"{time:%d.%m.%Y}", f"{time:%H:%M:%S}", *shown]))

    def content(self) -> bytes:
        """The file."""
        return ("\r\n".join(self.lines) + "\r\n").encode()
