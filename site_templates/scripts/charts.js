/* Charts of calibration results, drawn by plotly from what the page itself carries: nothing is fetched.
 *
 *   <div class="chart" data-chart='{"kind": …}'><p>shown where scripts are off</p></div>
 *
 * The value of data-chart is JSON, escaped for an attribute. Texts are plain, numbers come with their unit already in
 * `hover`: nothing is rounded or computed here but where things stand on the sheet.
 *
 * Both kinds:
 *   kind      "history" or "visit"
 *   title     what the chart shows, for those who cannot see it
 *   y_title   text of the vertical axis: "Error / %RH"
 *   height    of the sheet in pixels; 420 if left out
 *   points    list of results:
 *     target        set point as text, "11 %RH"; one series each, in order of first appearance
 *     phase         "as_found" or "as_left"
 *     error, U      number; U may be null
 *     low, high     tolerance limits on the error; null where there are none
 *     verdict       text; "fail" gets a cross over its glyph, the others none
 *     hover         list of texts, one a line
 *     reservations  list of texts; a result with any is drawn hollow and joins no line
 *     date          history only: "YYYY-MM-DD" or "YYYY-MM-DDTHH:MM"
 *     reference     visit only: the reference value, number
 *
 * history, besides:
 *   events    list of {date, kind, text}: kind "adjusted", "element" or "other"; a vertical mark with a number, the
 *             text beside that number under the sheet
 *   drift     list of {target, dates, error, low, high, text}: a line with its band (low and high may be left out)
 *   from, to  the days at the edges of the sheet; what the points and drift lines need if left out
 *
 * visit, besides:
 *   x_title   text of the horizontal axis: "Reference value / %RH"
 *   working   {low, high, text}: the range the sensor works in, marked along the foot of the sheet
 *
 * A series differs from the next by glyph and dash as well as colour. As found is filled, as left is open with a dot,
 * a result with a reservation is hollow. Where all points of a day share their limits there is one tolerance band,
 * else each series has its limits as dotted lines in its colour.
 */
(() => {
  "use strict";

  const GLYPHS = ["circle", "square", "diamond", "triangle-up", "triangle-down", "pentagon", "star"];
  const DASHES = ["solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "5px,2px"];
  const EVENT_DASHES = { adjusted: "dash", element: "dot", other: "dashdot" };
  const PHASES = { as_found: "as found", as_left: "as left" };
  const DAY = 86400000;
  const FINGER = matchMedia("(pointer: coarse)");

  // Colours of Okabe and Ito, darkened for white paper where they fall below a contrast of 3 (WCAG 1.4.11).
  const LIGHT = {
    ink: "#1c2730", quiet: "#52616d", grid: "#d9dfe4", ground: "#ffffff", band: "rgba(0, 158, 115, 0.13)", edge: "#00805d",
    fail: "#9c3600",
    series: ["#0072b2", "#d55e00", "#00805d", "#a8497f", "#1c2730", "#9a6a00", "#2a86bd"],
  };
  const DARK = {
    ink: "#e4e9ed", quiet: "#a3b0ba", grid: "#34404a", ground: "#171e24", band: "rgba(0, 158, 115, 0.2)", edge: "#2cc295",
    fail: "#ff9d6b",
    series: ["#56b4e9", "#e69f00", "#2cc295", "#dd8fba", "#f0e442", "#e4e9ed", "#ff8a4c"],
  };
  const PAPER = { ...LIGHT, ink: "#000000", quiet: "#222222" };
  const PAPER_WIDTH = 660; // pixels of print between the margins of A4 and Letter alike

  const CONFIG = {
    displaylogo: false,
    plotlyServerURL: "",
    showSendToCloud: false,
    responsive: true,
    modeBarButtonsToRemove: ["sendDataToCloud", "sendChartToCloud", "lasso2d", "select2d", "autoScale2d"],
    toImageButtonOptions: { format: "svg" },
  };

  /* plotly reads tags in texts; ours are plain. */
  const plain = (text) => String(text).replace(/&/g, "&amp;").replace(/</g, "&lt;").replace(/>/g, "&gt;");
  const time = (date) => Date.parse(date.length > 10 ? `${date}Z` : `${date}T00:00Z`);
  const stamp = (ms) => new Date(ms).toISOString().slice(0, 19);
  const fade = (colour, share) => colour + Math.round(share * 255).toString(16).padStart(2, "0");
  const distinct = (values) => [...new Set(values)];
  const day = (point) => point.date.slice(0, 10);
  const reserved = (point) => (point.reservations ?? []).length > 0;
  const limited = (point) => point.low != null && point.high != null;

  const eventsOf = (chart) => [...(chart.events ?? [])].sort((a, b) => time(a.date) - time(b.date));

  function hover(point) {
    const reasons = (point.reservations ?? []).map((reason) => `reservation: ${reason}`);
    return [...(point.hover ?? []), ...reasons].map(plain).join("<br>");
  }

  function glyph(point, shape) {
    if (reserved(point)) return `${shape}-open`;
    return point.phase === "as_left" ? `${shape}-open-dot` : shape;
  }

  /* One series of results: glyphs with bars of ± U, joined by a line that leaves out what has a reservation. */
  function series({ points, xs, name, colour, shape, dash, group, sample = shape }) {
    const settled = points.map((point, i) => [point, xs[i]]).filter(([point]) => !reserved(point));
    const line = {
      type: "scatter", mode: "lines", x: settled.map(([, x]) => x), y: settled.map(([point]) => point.error),
      line: { color: colour, width: 1.2, dash }, hoverinfo: "skip", legendgroup: group, showlegend: false,
    };
    const marks = {
      type: "scatter", mode: "markers", name: plain(name), legendgroup: group, showlegend: false,
      x: xs, y: points.map((point) => point.error), hovertext: points.map(hover), hoverinfo: "text",
      marker: {
        color: colour, size: 9, symbol: points.map((point) => glyph(point, shape)),
        line: { color: colour, width: 1.6 },
      },
      error_y: { type: "data", array: points.map((point) => point.U ?? 0), color: colour, thickness: 1.3, width: 4 },
    };
    const legend = {
      type: "scatter", mode: "lines+markers", name: plain(name), legendgroup: group, x: [null], y: [null],
      line: { color: colour, width: 1.2, dash },
      marker: { color: colour, size: 9, symbol: sample, line: { color: colour, width: 1.6 } },
    };
    return [line, marks, legend];
  }

  /* Crosses over what failed: to be seen without reading the limits off. */
  function crosses(points, xs, look) {
    const failed = points.map((point, i) => [point, xs[i]]).filter(([point]) => point.verdict === "fail");
    if (!failed.length) return [];
    return [{
      type: "scatter", mode: "markers", name: "fail", hoverinfo: "skip",
      x: failed.map(([, x]) => x), y: failed.map(([point]) => point.error),
      marker: { color: look.fail, size: 16, symbol: "x-thin-open", line: { color: look.fail, width: 2.5 } },
    }];
  }

  /* The limits on both sides and, given a `fill`, the field between them: forwards along one, back along the other. */
  function field({ x, low, high, fill, edge, name, group, showlegend, dash = "dot" }) {
    const whole = {
      type: "scatter", mode: "lines", x: [...x, ...[...x].reverse()], y: [...high, ...[...low].reverse()],
      fill: "toself", fillcolor: fill, line: { width: 0 }, hoverinfo: "skip", legendgroup: group,
      name: plain(name), showlegend,
    };
    const edges = [low, high].map((y, i) => ({
      type: "scatter", mode: "lines", x, y, line: { color: edge, width: 1, dash }, hoverinfo: "skip",
      legendgroup: group, name: plain(name), showlegend: showlegend && !fill && i === 0,
    }));
    return fill ? [whole, ...edges] : edges;
  }

  /* Limits that hold from each date until the next, as the corners of a staircase. */
  function staircase(limits, end) {
    const corners = { x: [], low: [], high: [] };
    limits.forEach((limit, i) => {
      for (const at of [limit.at, limits[i + 1]?.at ?? end]) {
        corners.x.push(stamp(at));
        corners.low.push(limit.low);
        corners.high.push(limit.high);
      }
    });
    return corners;
  }

  function limitsByDate(points) {
    const found = new Map();
    for (const point of points.filter(limited)) {
      const at = time(point.date);
      const key = day(point);
      if (!found.has(key)) found.set(key, { at, low: point.low, high: point.high });
    }
    return [...found.values()].sort((a, b) => a.at - b.at);
  }

  const shareLimits = (points, key) => {
    const seen = new Map();
    return points.filter(limited).every((point) => {
      const limits = `${point.low} ${point.high}`;
      const before = seen.get(key(point)) ?? limits;
      seen.set(key(point), before);
      return before === limits;
    });
  };

  /* Results of one day would stand on each other: each series stands a little aside, as left after as found. The
   * hover text has the true date. */
  function dodge(points, targets, span) {
    const step = span * 0.007;
    const both = new Set();
    for (const one of distinct(points.map(day))) {
      const phases = distinct(points.filter((point) => day(point) === one).map((point) => point.phase));
      if (phases.length > 1) both.add(one);
    }
    return (point) => {
      const across = targets.indexOf(point.target) - (targets.length - 1) / 2;
      const pair = both.has(day(point)) ? (point.phase === "as_left" ? 0.5 : -0.5) : 0;
      return stamp(time(point.date) + step * (across + pair * (targets.length + 0.6)));
    };
  }

  function history(chart, look) {
    const points = [...chart.points].sort((a, b) => time(a.date) - time(b.date));
    const targets = distinct(chart.points.map((point) => point.target));
    const drifts = chart.drift ?? [];
    const events = eventsOf(chart);
    const times = [
      ...points.map((point) => time(point.date)),
      ...events.map((event) => time(event.date)),
      ...drifts.flatMap((drift) => drift.dates.map(time)),
      ...[chart.from, chart.to].filter(Boolean).map(time),
    ];
    const [first, last] = [Math.min(...times), Math.max(...times)];
    const margin = Math.max((last - first) * 0.04, 5 * DAY);
    const [from, to] = [first - margin, last + margin];
    const place = dodge(points, targets, to - from);
    const traces = [];

    const bands = shareLimits(points, day) ? [{ of: points }] : targets.map((target) => ({ target }));
    for (const { of, target } of bands) {
      const own = of ?? points.filter((point) => point.target === target);
      const limits = limitsByDate(own);
      if (!limits.length) continue;
      limits[0].at = from;
      const colour = of ? look.edge : look.series[targets.indexOf(target) % look.series.length];
      traces.push(...field({
        ...staircase(limits, to), fill: of ? look.band : null, edge: colour,
        name: "tolerance", group: of ? "tolerance" : target, showlegend: Boolean(of),
      }));
    }

    targets.forEach((target, i) => {
      const colour = look.series[i % look.series.length];
      const own = points.filter((point) => point.target === target);
      for (const drift of drifts.filter((line) => line.target === target)) {
        const x = drift.dates;
        if (drift.low && drift.high) {
          traces.push(...field({
            x, low: drift.low, high: drift.high, fill: fade(colour, 0.16), edge: fade(colour, 0.6), dash: "solid",
            name: "", group: target, showlegend: false,
          }));
        }
        traces.push({
          type: "scatter", mode: "lines", x, y: drift.error, legendgroup: target, showlegend: true,
          name: plain(drift.text ?? `drift at ${target}`), line: { color: colour, width: 3 }, hoverinfo: "name",
          hoverlabel: { namelength: -1 },
        });
      }
      traces.push(...series({
        points: own, xs: own.map(place), name: target, colour, group: target,
        shape: GLYPHS[i % GLYPHS.length], dash: DASHES[i % DASHES.length],
      }));
    });
    traces.push(...crosses(points, points.map(place), look));

    const shapes = events.map((event) => ({
      type: "line", xref: "x", yref: "paper", x0: event.date, x1: event.date, y0: 0, y1: 1,
      line: { color: look.quiet, width: 1.4, dash: EVENT_DASHES[event.kind] ?? EVENT_DASHES.other },
    }));
    const annotations = events.map((event, i) => ({
      x: event.date, xref: "x", y: 1, yref: "paper", yanchor: "bottom", showarrow: false,
      text: `<b>${i + 1}</b>`, font: { color: look.ink },
    }));
    const short = to - from < 200 * DAY;
    const xaxis = { type: "date", range: [stamp(from), stamp(to)], tickformat: short ? "%Y-%m-%d" : "%Y-%m" };
    return { traces, layout: { xaxis, shapes, annotations } };
  }

  function visit(chart, look) {
    const points = chart.points;
    const values = points.map((point) => point.reference);
    if (chart.working) values.push(chart.working.low, chart.working.high);
    const [least, most] = [Math.min(...values), Math.max(...values)];
    const pad = (most - least) * 0.06 || 2;
    const range = [least - pad, most + pad];
    const traces = [];

    const phases = Object.keys(PHASES).filter((phase) => points.some((point) => point.phase === phase));
    const one = shareLimits(points, (point) => point.target); // as left may have limits of its own
    for (const phase of one ? phases.slice(0, 1) : phases) {
      const own = points.filter((point) => limited(point) && (one || point.phase === phase));
      if (!own.length) continue;
      own.sort((a, b) => a.reference - b.reference);
      const [low, high] = [own[0], own[own.length - 1]];
      const corners = [{ ...low, reference: range[0] }, ...own, { ...high, reference: range[1] }];
      const filled = phase === phases[0];
      traces.push(...field({
        x: corners.map((point) => point.reference), low: corners.map((point) => point.low),
        high: corners.map((point) => point.high), fill: filled ? look.band : null, edge: look.edge,
        name: one ? "tolerance" : `tolerance ${PHASES[phase]}`, group: `tolerance ${phase}`, showlegend: true,
        dash: filled ? "dot" : "dashdot",
      }));
    }

    const apart = phases.length > 1 ? (range[1] - range[0]) * 0.008 : 0;
    const place = (point) => point.reference + (phases.indexOf(point.phase) - 0.5) * apart;
    phases.forEach((phase, i) => {
      const own = points.filter((point) => point.phase === phase);
      traces.push(...series({
        points: own, xs: own.map(place), name: PHASES[phase], group: phase,
        colour: look.series[i], shape: GLYPHS[i], dash: DASHES[i], sample: glyph({ phase }, GLYPHS[i]),
      }));
    });
    traces.push(...crosses(points, points.map(place), look));

    const shapes = [];
    const annotations = [];
    if (chart.working) {
      const { low, high, text } = chart.working;
      shapes.push({
        type: "rect", xref: "x", yref: "paper", x0: low, x1: high, y0: 0, y1: 0.018,
        fillcolor: look.quiet, line: { width: 0 },
      });
      annotations.push({
        x: (low + high) / 2, y: 0.02, xref: "x", yref: "paper", yanchor: "bottom", showarrow: false,
        text: plain(text ?? "works here"), font: { size: 11, color: look.quiet }, bgcolor: look.ground, borderpad: 1,
      });
    }
    const xaxis = { title: { text: plain(chart.x_title ?? "") }, range, zeroline: false };
    return { traces, layout: { xaxis, shapes, annotations } };
  }

  const KINDS = { history, visit };

  /* What the legend inside the sheet does not tell, under it: fill and bars, and what the marks with numbers mean. */
  function key(chart, box) {
    const parts = [];
    const points = chart.points;
    if (chart.kind === "history") {
      if (points.some((point) => point.phase === "as_found" && !reserved(point))) parts.push("● as found");
      if (points.some((point) => point.phase === "as_left" && !reserved(point))) parts.push("⊙ as left");
      if (points.some(limited) && !shareLimits(points, day)) parts.push("dotted: tolerance at each set point, in its colour");
    }
    if (points.some(reserved)) parts.push("○ with a reservation: not joined, its reason in the table");
    if (points.some((point) => point.U != null)) parts.push("bars: ± expanded uncertainty U");
    eventsOf(chart).forEach((event, i) => parts.push(`${i + 1}: ${event.date.slice(0, 10)} ${event.text}`));
    let line = box.nextElementSibling;
    if (!line?.classList.contains("chart-key")) {
      line = document.createElement("p");
      line.className = "chart-key";
      box.after(line);
    }
    line.replaceChildren(...parts.map((part) => {
      const item = document.createElement("span");
      item.textContent = part;
      return item;
    }));
  }

  function layout(chart, look, box, printing) {
    const narrow = !printing && box.clientWidth < 560;
    const text = { color: look.ink, size: narrow ? 11 : 12, family: getComputedStyle(document.body).fontFamily };
    const axis = { gridcolor: look.grid, linecolor: look.quiet, zerolinecolor: look.quiet, automargin: true, showline: true };
    return {
      height: chart.height ?? 420,
      width: printing ? PAPER_WIDTH : undefined,
      autosize: !printing,
      margin: { l: 8, r: 12, t: chart.events?.length ? 24 : 12, b: 8 },
      paper_bgcolor: "rgba(0,0,0,0)",
      plot_bgcolor: "rgba(0,0,0,0)",
      font: text,
      hoverlabel: { bgcolor: look.ground, bordercolor: look.quiet, font: { color: look.ink, size: 12 }, align: "left" },
      hovermode: "closest",
      // A finger on the sheet scrolls the page; a pointer draws a frame to look closer.
      dragmode: FINGER.matches ? false : "zoom",
      legend: { orientation: "h", x: 0, xanchor: "left", y: chart.x_title ? -0.2 : -0.1, yanchor: "top" },
      xaxis: axis,
      yaxis: { ...axis, title: { text: plain(chart.y_title ?? "") }, zeroline: true, zerolinewidth: 1.2 },
    };
  }

  function colours() {
    return document.body.dataset.mdColorScheme === "slate" ? DARK : LIGHT;
  }

  function draw(box, printing = false) {
    const look = printing ? PAPER : colours();
    const chart = JSON.parse(box.dataset.chart);
    if (!chart.points.length) {
      box.textContent = "No results yet.";
      return;
    }
    const { traces, layout: own } = KINDS[chart.kind](chart, look);
    const base = layout(chart, look, box, printing);
    const whole = { ...base, ...own, xaxis: { ...base.xaxis, ...own.xaxis } };
    if (!box.classList.contains("js-plotly-plot")) box.replaceChildren();
    box.setAttribute("role", "img");
    box.setAttribute("aria-label", `Chart: ${chart.title ?? ""}. The same numbers stand in the table.`);
    key(chart, box);
    const displayModeBar = printing || FINGER.matches ? false : "hover";
    Plotly.react(box, traces, whole, { ...CONFIG, displayModeBar });
  }

  function drawAll(printing = false) {
    for (const box of document.querySelectorAll(".chart[data-chart]")) {
      try {
        draw(box, printing);
      } catch (problem) {
        box.textContent = "This chart could not be drawn; the numbers stand in the table.";
        console.error(problem);
      }
    }
  }

  drawAll();
  new MutationObserver(() => drawAll()).observe(document.body, { attributeFilter: ["data-md-color-scheme"] });
  addEventListener("beforeprint", () => drawAll(true));
  addEventListener("afterprint", () => drawAll());
})();
