/* Charts of results: errors over the years ("history") and errors over the reference value ("visit").
 *
 * Both kinds, besides what charts.js says:
 *   points    list of results:
 *     target        point as text, "11 %RH" or "11 %RH rising"; one series each, in order of first appearance
 *     set_point     its set point, "11 %RH": series of one set point share a colour; the target itself if left out
 *     phase         "as_found", "as_left" or "check"
 *     error, U      number; U may be null
 *     low, high     limits on the error; null where there are none
 *     verdict       text; "fail" gets a cross over its glyph, the others none
 *     hover         list of texts, one a line
 *     reservations  list of texts; a result with any is drawn hollow and joins no line
 *     date          history only: "YYYY-MM-DD" or "YYYY-MM-DDTHH:MM"
 *     segment       history only: no line joins results of two segments, as before and after an adjustment
 *     reference     visit only: the reference value, number
 *   limits    what low and high are; "tolerance" if left out
 *
 * history, besides:
 *   events    list of {date, kind, text}: kind "adjusted", "element" or "other" is a vertical line with a number, kind
 *             "reference" a short mark with a letter at the foot; the text stands beside number or letter under the sheet
 *   drift     list of {target, dates, error, low, high, text, thin}: the line that is expected of one series, `low` and
 *             `high` its band (may be left out); thin where it is no more than a line
 *   drift_key what the lines are, under the sheet
 *   due       {date, text}: a day that the lines run to
 *   control   {lower, upper, text}: limits for all points, long dashes; `text` under the sheet says whose
 *
 * visit, besides:
 *   x_title   text of the horizontal axis: "Reference value / %RH"
 *   working   {low, high, text}: the range the sensor works in, marked along the foot of the sheet
 *
 * A series differs from the next by glyph and dash as well as colour. As found is filled, as left is open with a dot,
 * a result with a reservation is hollow. Where all points of a day share their limits there is one band, else each
 * series has its limits as dotted lines in its colour.
 */
(() => {
  "use strict";

  const { kinds, plain, time, stamp, fade, distinct, field, mark, DAY } = window.asfoundCharts;

  const GLYPHS = [
    "circle", "square", "diamond", "triangle-up", "triangle-down", "pentagon", "star", "hexagon", "cross", "star-diamond",
  ];
  const DASHES = ["solid", "dash", "dot", "dashdot", "longdash", "longdashdot", "5px,2px", "8px,2px", "2px,4px", "9px,3px,2px"];
  const EVENT_DASHES = { adjusted: "dash", element: "dot", other: "dashdot" };
  const PHASES = { as_found: "as found", as_left: "as left", check: "check" };

  const day = (point) => point.date.slice(0, 10);
  const reserved = (point) => (point.reservations ?? []).length > 0;
  const limited = (point) => point.low != null && point.high != null;

  /* Lines with numbers, and marks of references with letters, each in order of days. */
  function eventsOf(chart) {
    const all = [...(chart.events ?? [])].sort((a, b) => time(a.date) - time(b.date));
    const references = all.filter((event) => event.kind === "reference");
    return {
      lines: all.filter((event) => event.kind !== "reference").map((event, i) => ({ ...event, sign: String(i + 1) })),
      feet: references.map((event, i) => ({ ...event, sign: letter(i) })),
    };
  }

  const letter = (i) => (i < 26 ? String.fromCharCode(97 + i) : letter(Math.floor(i / 26) - 1) + letter(i % 26));

  function hover(point) {
    const reasons = (point.reservations ?? []).map((reason) => `reservation: ${reason}`);
    return [...(point.hover ?? []), ...reasons].map(plain).join("<br>");
  }

  function glyph(point, shape) {
    if (reserved(point)) return `${shape}-open`;
    return point.phase === "as_left" ? `${shape}-open-dot` : shape;
  }

  /* A gap where a segment ends. */
  function joined(pairs) {
    return pairs.flatMap(([point, x], i) => {
      const parted = i > 0 && point.segment !== pairs[i - 1][0].segment;
      return parted ? [[null, x], [point, x]] : [[point, x]];
    });
  }

  /* One series of results: glyphs with bars of ± U, joined by a line that leaves out what has a reservation. */
  function series({ points, xs, name, colour, shape, dash, group, sample = shape }) {
    const settled = joined(points.map((point, i) => [point, xs[i]]).filter(([point]) => !reserved(point)));
    const line = {
      type: "scatter", mode: "lines", x: settled.map(([, x]) => x), y: settled.map(([point]) => point?.error ?? null),
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
    const setPoints = distinct(chart.points.map((point) => point.set_point ?? point.target));
    const drifts = chart.drift ?? [];
    const { lines, feet } = eventsOf(chart);
    const times = [
      ...points.map((point) => time(point.date)),
      ...(chart.events ?? []).map((event) => time(event.date)),
      ...drifts.flatMap((drift) => drift.dates.map(time)),
      ...(chart.due ? [time(chart.due.date)] : []),
    ];
    const [first, last] = [Math.min(...times), Math.max(...times)];
    const margin = Math.max((last - first) * 0.04, 5 * DAY);
    const [from, to] = [first - margin, last + margin];
    const place = dodge(points, targets, to - from);
    const traces = [];

    const colourOf = (target) => {
      const first = points.find((point) => point.target === target);
      return look.series[setPoints.indexOf(first?.set_point ?? target) % look.series.length];
    };
    const bands = shareLimits(points, day) ? [{ of: points }] : targets.map((target) => ({ target }));
    for (const { of, target } of bands) {
      const own = of ?? points.filter((point) => point.target === target);
      const limits = limitsByDate(own);
      if (!limits.length) continue;
      limits[0].at = from;
      const colour = of ? look.edge : colourOf(target);
      traces.push(...field({
        ...staircase(limits, to), fill: of ? look.band : null, edge: colour,
        name: limitsName(chart), group: of ? "limits" : target, showlegend: Boolean(of),
      }));
    }

    targets.forEach((target, i) => {
      const [colour, dash] = [colourOf(target), DASHES[i % DASHES.length]];
      const own = points.filter((point) => point.target === target);
      for (const drift of drifts.filter((line) => line.target === target)) {
        traces.push(...expected(drift, colour, dash));
      }
      traces.push(...series({
        points: own, xs: own.map(place), name: target, colour, group: target, shape: GLYPHS[i % GLYPHS.length], dash,
      }));
    });
    traces.push(...crosses(points, points.map(place), look));

    const marks = lines.map((event) => mark(event.date, event.sign, look, EVENT_DASHES[event.kind] ?? EVENT_DASHES.other));
    marks.push(...feet.map((event) => foot(event.date, event.sign, look)));
    if (chart.due) marks.push(mark(chart.due.date, chart.due.text, look, "2px,3px"));
    keepApart(marks.map(({ annotation }) => annotation), to - from);
    const shapes = [...marks.map(({ shape }) => shape), ...controlLines(chart, look)];
    const annotations = marks.map(({ annotation }) => annotation);
    const short = to - from < 200 * DAY;
    const xaxis = { type: "date", range: [stamp(from), stamp(to)], tickformat: short ? "%Y-%m-%d" : "%Y-%m" };
    return { traces, layout: { xaxis, shapes, annotations }, key: historyKey(chart, lines, feet) };
  }

  /* Numbers and letters of days that lie close together stand on two levels. */
  function keepApart(labels, span) {
    const byDay = [...labels].sort((a, b) => a.y - b.y || time(a.x) - time(b.x));
    byDay.forEach((label, i) => {
      const before = byDay[i - 1];
      const close = before && before.y === label.y && time(label.x) - time(before.x) < span * 0.025;
      if (close && !before.yshift) label.yshift = 11;
    });
  }

  const limitsName = (chart) => chart.limits ?? "tolerance";

  /* The line that is expected of one series, with its band: fill and edges, so that it is seen without colour. */
  function expected(drift, colour, dash) {
    const { dates: x, target } = drift;
    const band = drift.low && drift.high ? field({
      x, low: drift.low, high: drift.high, fill: fade(colour, 0.16), edge: fade(colour, 0.6), dash: "solid",
      name: "", group: target, showlegend: false,
    }) : [];
    const line = {
      type: "scatter", mode: "lines", x, y: drift.error, legendgroup: target, showlegend: false,
      name: plain(drift.text ?? `drift at ${target}`), line: { color: colour, width: drift.thin ? 1 : 3, dash },
      hoverinfo: "name", hoverlabel: { namelength: -1 },
    };
    return [...band, line];
  }

  /* A short mark at the foot of the sheet, with its letter. */
  function foot(date, text, look) {
    const { shape, annotation } = mark(date, text, look, "solid");
    return {
      shape: { ...shape, y1: 0.035 },
      annotation: { ...annotation, y: 0.035, text: plain(text), font: { size: 11, color: look.quiet }, bgcolor: look.ground },
    };
  }

  const controlLines = ({ control }, look) => (control ? [control.lower, control.upper] : []).map((y) => ({
    type: "line", xref: "paper", yref: "y", x0: 0, x1: 1, y0: y, y1: y, line: { color: look.quiet, width: 1.4, dash: "longdash" },
  }));

  function historyKey(chart, lines, feet) {
    const parts = [];
    const settled = (phase) => chart.points.some((point) => point.phase === phase && !reserved(point));
    if (settled("as_found")) parts.push("● as found");
    if (settled("as_left")) parts.push("⊙ as left");
    if (settled("check")) parts.push("● check");
    if (chart.points.some(limited) && !shareLimits(chart.points, day)) {
      parts.push(`dotted: ${limitsName(chart)} at each point, in its colour`);
    }
    parts.push(...resultsKey(chart));
    if (chart.drift?.length && chart.drift_key) parts.push(chart.drift_key);
    if (chart.control) parts.push(chart.control.text);
    return [...parts, ...[...lines, ...feet].map((event) => `${event.sign}: ${event.date.slice(0, 10)} ${event.text}`)];
  }

  function resultsKey(chart) {
    const parts = [];
    if (chart.points.some(reserved)) parts.push("○ with a reservation: not joined, its reason in the table");
    if (chart.points.some((point) => point.U != null)) parts.push("bars: ± expanded uncertainty U");
    return parts;
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
        name: one ? limitsName(chart) : `${limitsName(chart)} ${PHASES[phase]}`, group: `limits ${phase}`, showlegend: true,
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
    return { traces, layout: { xaxis, shapes, annotations }, key: resultsKey(chart) };
  }

  kinds.history = history;
  kinds.visit = visit;
})();
