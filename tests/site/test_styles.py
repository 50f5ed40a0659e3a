"""Colours can be read by everyone: WCAG 2.2, success criteria 1.4.3 (text, 4.5:1) and 1.4.11 (graphics, 3:1).

The contrast ratio and relative luminance are those of https://www.w3.org/TR/WCAG22/#dfn-contrast-ratio.
"""

from __future__ import annotations

import re
from pathlib import Path

import pytest

TEMPLATES = Path(__file__).parents[2] / "site_templates"
STYLES = (TEMPLATES / "styles" / "asfound.css").read_text(encoding="utf-8")
CHARTS = (TEMPLATES / "scripts" / "charts.js").read_text(encoding="utf-8")
STATES = ("ok", "close", "out", "drift", "due", "none")


def luminance(colour: str) -> float:
    channels = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    red, green, blue = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in channels)
    return 0.2126 * red + 0.7152 * green + 0.0722 * blue


def contrast(one: str, other: str) -> float:
    darker, lighter = sorted((luminance(one), luminance(other)))
    return (lighter + 0.05) / (darker + 0.05)


def scheme(selector: str) -> dict[str, str]:
    """The colours that the first rule of a selector sets."""
    rule = re.search(re.escape(selector) + r"\s*\{(.*?)\}", STYLES, re.DOTALL)
    assert rule is not None
    return dict(re.findall(r"--([\w-]+): (#[0-9a-f]{6});", rule.group(1)))


LIGHT = scheme(":root")
SCHEMES = {"light": LIGHT, "dark": LIGHT | scheme('[data-md-color-scheme="slate"]')}


def test_the_contrast_of_black_on_white_is_21():
    assert contrast("#000000", "#ffffff") == pytest.approx(21.0)
    assert contrast("#777777", "#ffffff") == pytest.approx(4.48, abs=0.005)  # just short, a well-known example


@pytest.mark.parametrize("name", SCHEMES)
def test_text_can_be_read_on_its_ground(name: str):
    colours = SCHEMES[name]
    pairs = [(text, ground) for text in ("ink", "quiet", "link", "link-hover") for ground in ("ground", "stripe")]
    pairs += [(text, f"{text}-ground") for text in STATES]
    pairs += [("ink", f"{state}-ground") for state in STATES]
    weak = {pair: ratio for pair in pairs if (ratio := contrast(*(colours[one] for one in pair))) < 4.5}
    assert weak == {}


def test_the_head_of_the_page_can_be_read():
    assert contrast(LIGHT["primary"], "#ffffff") >= 4.5


def test_every_state_has_a_glyph_of_its_own():
    glyphs = re.findall(r'\.state-(\w+) \{[^}]*--glyph: "(.)"', STYLES)
    assert {name for name, _ in glyphs} >= {*STATES, "off", "overdue", "reserved", "unreviewed", "void"}
    assert len({glyph for _, glyph in glyphs}) == len(glyphs)


@pytest.mark.parametrize("name", ["LIGHT", "DARK"])
def test_series_of_a_chart_can_be_told_from_the_ground_and_from_each_other(name: str):
    look = re.search(rf"const {name} = \{{(.*?)\}};", CHARTS, re.DOTALL)
    assert look is not None
    ground = re.search(r'ground: "(#[0-9a-f]{6})"', look.group(1))
    series = re.search(r"series: \[(.*?)\]", look.group(1))
    assert ground is not None and series is not None
    colours = re.findall(r"#[0-9a-f]{6}", series.group(1))
    assert len(colours) == len(set(colours)) == 7
    assert {
        colour: contrast(colour, ground.group(1)) for colour in colours if contrast(colour, ground.group(1)) < 3
    } == {}
    for other in ("ink", "quiet", "edge", "fail"):
        value = re.search(rf'{other}: "(#[0-9a-f]{{6}})"', look.group(1))
        assert value is not None and contrast(value.group(1), ground.group(1)) >= 3
