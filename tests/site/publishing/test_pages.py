"""Pages of a whole store as HTML: what they promise to eyes, keyboards, screen readers, paper and other machines."""

from __future__ import annotations

import itertools
import json
import re
from collections import Counter
from html.parser import HTMLParser
from pathlib import Path

import pytest
from jinja2 import Environment, nodes

from asfound.printing import templates
from asfound.site.publishing.content import SitePage
from asfound.site.publishing.pages import Pages
from tests.site import store

TEMPLATES = templates.template_folders()[-1] / "pages"
VOID = {"area", "base", "br", "col", "hr", "img", "input", "link", "meta", "source", "wbr"}
LISTS = ("index", "sensors/index", "visits/index", "references/index", "schedule", "drift", "findings/index", "method")


class Outline(HTMLParser):
    """What a page is made of: headings with ids, tables with their parts, links, open tags at the end."""

    def __init__(self, page: SitePage) -> None:
        super().__init__()
        self.headings: list[tuple[int, str | None]] = []
        self.ids: list[str] = []
        self.links: list[str] = []
        self.loaded: list[str] = []
        self.problems: list[str] = []
        self.tables: list[dict[str, int]] = []
        self.charts: list[str] = []
        self._open: list[str] = []
        self.feed(page.body)
        self.close()
        if self._open:
            self.problems.append(f"left open: {self._open}")

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        given = dict(attrs)
        if tag not in VOID:
            self._open.append(tag)
        if re.fullmatch("h[1-6]", tag):
            self.headings.append((int(tag[1]), given.get("id")))
        if tag == "table":
            self.tables.append({"caption": 0, "thead": 0})
        if tag in ("caption", "thead") and self.tables:
            self.tables[-1][tag] += 1
        if tag == "th" and given.get("scope") not in ("col", "row", "rowgroup"):
            self.problems.append(f"a head without scope: {attrs}")
        if tag == "input" and "label" not in self._open:
            self.problems.append("a field without a label")
        if given.get("id"):
            self.ids.append(str(given["id"]))
        if tag == "a" and given.get("href"):
            self.links.append(str(given["href"]))
        self.loaded += [str(given[name]) for name in ("src", "srcset", "data", "poster") if given.get(name)]
        if given.get("data-chart"):
            self.charts.append(str(given["data-chart"]))
        if {name for name in given if name.startswith("on")} or tag in ("script", "style", "iframe"):
            self.problems.append(f"code in the page: {tag} {attrs}")

    def handle_endtag(self, tag: str) -> None:
        if not self._open or self._open.pop() != tag:
            self.problems.append(f"</{tag}> closes something else")


OUTLINES = {page.path: Outline(page) for page in store.content().pages}


@pytest.fixture(params=sorted(OUTLINES))
def page(request: pytest.FixtureRequest) -> SitePage:
    return store.page(request.param)


def text_of(body: str) -> str:
    return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", body))


def test_one_page_for_each_record_and_list():
    records = store.store()
    expected = {f"{name}.html" for name in (*LISTS, "data/index")}
    for path in records:
        folder, _, name = path.partition("/")
        if folder in ("sensors", "references"):
            expected.add(f"{folder}/{name.removesuffix('.yml')}.html")
        if folder == "visits":
            expected.add(f"visits/{Path(name).name.split('.')[0]}.html")
    expected |= {f"findings/{case.sensor}-{case.visit}.html" for case in store.assessment().cases}
    assert set(OUTLINES) == expected


def test_the_html_is_whole_and_holds_no_code(page: SitePage):
    assert OUTLINES[page.path].problems == []


def test_headings_step_down_one_by_one_and_each_has_an_id(page: SitePage):
    found = OUTLINES[page.path].headings
    levels = [level for level, _ in found]
    below = levels if levels[:1] == [1] else [1, *levels]
    assert below.count(1) == 1, "one title"
    assert all(after <= before + 1 for before, after in itertools.pairwise(below)), levels
    assert all(name for _, name in found)
    assert [name for name, _ in page.headings] == [name for level, name in found if level == 2]


def test_no_id_stands_twice(page: SitePage):
    assert [name for name, count in Counter(OUTLINES[page.path].ids).items() if count > 1] == []


def test_every_table_has_a_caption_and_heads(page: SitePage):
    assert all(table == {"caption": 1, "thead": 1} for table in OUTLINES[page.path].tables)


def test_every_link_leads_somewhere(page: SitePage):
    places = {**{one.path: set(OUTLINES[one.path].ids) for one in store.content().pages}, **store.content().files}
    for link in OUTLINES[page.path].links:
        path, _, name = link.partition("#")
        steps = page.path.split("/")[:-1] + path.split("/") if path else page.path.split("/")
        while ".." in steps:
            at = steps.index("..")
            del steps[at - 1 : at + 1]
        target = "/".join(steps)
        assert target in places, f"{page.path}: {link} leads nowhere"
        assert not name or name in places[target], f"{page.path}: {link} names no id there"


def test_nothing_is_loaded_from_elsewhere(page: SitePage):
    assert OUTLINES[page.path].loaded == []
    assert not re.search(r"""(?:href|src|action)=["']?(?:https?:)?//""", page.body)


def test_names_cannot_break_a_page(page: SitePage):
    assert "<b>Bold" not in page.body
    if page.path in ("sensors/index.html", "sensors/FINE-1.html"):
        assert "&lt;b&gt;Bold&lt;/b&gt; &amp; &#34;quoted&#34; &#39;name&#39;" in page.body


def test_dates_are_days_and_never_ages(page: SitePage):
    assert not re.search(r"\b(?:ago|yesterday|today's date|last week|days old)\b", text_of(page.body))


def test_units_are_written_as_people_read_them(page: SitePage):
    """The rows as committed and the register of rules quote the records' own spelling."""
    shown = re.sub(r'<table class="table raw">.*?</table>|<code>.*?</code>', "", page.body, flags=re.DOTALL)
    if page.path != "data/index.html":
        assert "degC" not in text_of(shown)
    assert not re.search(r"\bnan\b|\bNone\b|\binf\b", text_of(shown).replace("nu_eff", ""))


def test_every_number_of_a_chart_stands_in_a_table_too():
    """Without scripts, or without eyes, the page still says what the chart shows."""
    drawn: Counter[str] = Counter()
    for path, outline in OUTLINES.items():
        text = text_of(store.page(path).body)
        for chart in map(json.loads, outline.charts):
            for point in chart["points"]:
                if chart["kind"] == "fleet":
                    said = point["hover"][1].partition(" of the tolerance")[0]
                elif chart["kind"] == "control":
                    said = point["hover"][1].removeprefix("change ").rpartition(" ")[0]
                elif chart["kind"] == "exposure":
                    said = point["date"][:7]  # its month; the days stand in the CSV beside
                else:
                    error = next(line for line in point["hover"] if line.startswith("error "))
                    said = error.removeprefix("error ").rpartition(" ")[0]
                assert said in text, (path, said)
                drawn[chart["kind"]] += 1
    assert drawn["history"] > 30 and drawn["visit"] > 20 and drawn["fleet"] > 0


RESULT = {"target", "phase", "error", "U", "low", "high"}
DRAWN = {
    "history": (RESULT | {"date"}, "y_title"),
    "visit": (RESULT | {"reference"}, "y_title"),
    "control": ({"date", "value", "mean", "mean_low", "mean_high", "signals"}, "y_title"),
    "fleet": ({"group", "label", "value", "U", "state"}, "x_title"),
    "exposure": ({"date", "low", "mean", "high", "U", "outside"}, "y_title"),
}


def test_charts_carry_what_the_script_draws_and_load_it():
    for page in store.content().pages:
        charts = [json.loads(chart) for chart in OUTLINES[page.path].charts]
        assert page.scripts == bool(charts)
        for chart in charts:
            needed, axis = DRAWN[chart["kind"]]
            assert chart["title"] and " / " in chart[axis]
            assert all(needed | {"hover"} <= set(point) for point in chart["points"])


def test_records_are_searched_and_visits_are_not():
    """NOTES: with every visit in it the index of a large site weighs 27 MB."""
    for page in store.content().pages:
        assert page.in_search == (not re.match(r"visits/\d", page.path))


def test_the_overview_says_drifting_and_out_of_tolerance():
    body = store.page("index.html").body
    assert '<span class="state state-drift">drifting</span>' in body
    assert '<span class="state state-out">out of tolerance</span>' in body
    assert text_of(body).index("Built for 2026-12-31") < text_of(body).index("Needs action")


def test_a_finding_has_its_sensor_and_its_state_its_owner_in_the_first_two_cells():
    body = store.page("findings/index.html").body
    rows = re.findall(r'<th scope="row">(.*?)</th>\s*<td>(.*?)</td>', body, re.DOTALL)
    seen = [" | ".join(" ".join(text_of(cell).split()) for cell in row) for row in rows]
    assert [line.partition(" ")[0] for line in seen] == ["OUT-1,", "DEV-7"]
    assert seen[0].endswith("| nobody has it yet")
    assert "SET-1" in seen[1] and seen[1].endswith("| open Ben Sedge")


def test_a_state_is_a_word_and_never_a_colour_alone():
    for page in store.content().pages:
        for word in re.findall(r'<span class="state state-[a-z]+">(.*?)</span>', page.body):
            assert word.strip()


@pytest.mark.parametrize("path", ["schedule.html", "method.html"])
def test_cautions_stand_where_the_work_is_described(path: str):
    text = text_of(store.page(path).body)
    for said in (
        "Tell the operator, and put the loop in hand, before you pull a sensor",
        "Relieve the pressure and see the gauge at zero before you open",
        "Compressed air",
        "local codes, the site's permits and licensed practice prevail",
    ):
        assert said in text.replace("&#39;", "'")


@pytest.mark.parametrize("template", sorted(path.name for path in TEMPLATES.glob("*.html")))
def test_templates_do_no_arithmetic(template: str):
    """Views hand over what is shown; a template that computes would be a second place for the same number."""
    tree = Environment().parse((TEMPLATES / template).read_text(encoding="utf-8").replace("quoted_json", "string"))
    kinds = (nodes.Add, nodes.Sub, nodes.Mul, nodes.Div, nodes.FloorDiv, nodes.Mod, nodes.Pow)
    assert [node for kind in kinds for node in tree.find_all(kind)] == []
    rounding = {"round", "float", "int", "abs", "sum"}
    assert [node.name for node in tree.find_all(nodes.Filter) if node.name in rounding] == []


def test_a_template_of_ones_own_stands_in_for_ours(tmp_path: Path):
    (tmp_path / "pages").mkdir()
    (tmp_path / "pages" / "cautions.html").write_text("<p>Our own cautions.</p>", encoding="utf-8")
    shipped = templates.template_folders()[-1]
    view = type("View", (), {"day": "2026-12-31", "groups": (), "unused": (), "rounds": ()})()
    body = Pages([tmp_path, shipped]).page("schedule.html", "Schedule", "schedule.html", view).body
    assert "Our own cautions." in body and "Live loops" not in body


def test_a_name_that_a_view_lacks_is_an_error(tmp_path: Path):
    from jinja2 import UndefinedError

    (tmp_path / "pages").mkdir()
    (tmp_path / "pages" / "odd.html").write_text("{{ view.misspelt }}", encoding="utf-8")
    with pytest.raises(UndefinedError):
        Pages([tmp_path]).page("odd.html", "Odd", "odd.html", object())


def test_days_and_numbers_with_units_are_not_torn_apart():
    body = store.page("index.html").body
    assert "<time>2026-11-02</time>" in body
    assert re.search(r"\+3\.\d+\u00a0±\u00a00\.\d+\u00a0%RH at \d0\u00a0%RH", body)
