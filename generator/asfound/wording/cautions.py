"""What to mind before work at a sensor: one text for every page, form, sheet and command that describes the work."""

from __future__ import annotations

SUMMARY = ("Before work at a sensor:", "live loops, compressed air and pressure vessels can hurt. Local codes prevail.")
"""What is seen where the rest is folded away: the first words are set in bold."""
LOCAL = "These steps do not replace local rules: local codes, the site's permits and licensed practice prevail."
IN_SHORT = (
    "Before work at the sensor: live loops, compressed air and pressure vessels can hurt people and goods. A control "
    "system acts on what a sensor shows: tell the operator and put the loop in hand before a sensor is pulled. Local "
    "codes, the site's permits and licensed practice prevail."
)
"""For a form on which the work is not described."""
CAUTIONS = (
    (
        "Live loops.",
        "A control system acts on what a sensor shows. Tell the operator, and put the loop in hand, before you pull a "
        "sensor, open its circuit or change its air. Give the loop back together when you are done, and look at it "
        "again before you leave.",
    ),
    (
        "Compressed air.",
        "Wear eye protection. Secure hoses before opening a valve. Never work on a line under pressure.",
    ),
    (
        "Pressure vessels.",
        "Relieve the pressure and see the gauge at zero before you open a saturator, a filter or a fitting. Use only "
        "parts rated for the pressure, with a relief valve in place.",
    ),
    (
        "Cold rooms, ladders, salts.",
        "Do not enter a cold vault alone. Secure the ladder. Keep salt solutions away from skin, electronics and food.",
    ),
)
"""What it is about, and what to do."""
LINES = (LOCAL, *(f"{about} {what}" for about, what in CAUTIONS))
"""The same one under the other, for paper and terminals."""
