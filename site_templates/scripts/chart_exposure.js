/* Chart of a finding: the corrected humidity of each day until a sensor was found out of tolerance ("exposure").
 *
 * exposure, besides what charts.js says:
 *   points    list of {date, low, mean, high, U, outside, hover}, one a day, in order; outside: some of it left the limits
 *   limits    {low, high, text} or null
 *   opened, found   first and last day of the window
 *   crossed   {median, earliest, latest} days between which a drift line passed the tolerance, or null; latest may be null
 */
(() => {
  "use strict";

  const { kinds, plain, time, fade, mark, DAY } = window.asfoundCharts;

  /* Days that follow each other: nothing is drawn over days without a value. */
  function runs(points) {
    const found = [];
    points.forEach((point, i) => {
      if (!i || time(point.date) - time(points[i - 1].date) > 1.5 * DAY) found.push([]);
      found.at(-1).push(point);
    });
    return found;
  }

  function spread(run, colour) {
    const x = run.map((point) => point.date);
    return {
      type: "scatter", mode: "lines", x: [...x, ...[...x].reverse()],
      y: [...run.map((point) => point.low), ...run.map((point) => point.high).reverse()],
      fill: "toself", fillcolor: fade(colour, 0.28), line: { width: 0 }, hoverinfo: "skip", showlegend: false,
    };
  }

  function means(run, colour) {
    return {
      type: "scatter", mode: run.length > 1 ? "lines" : "markers", x: run.map((point) => point.date),
      y: run.map((point) => point.mean), hovertext: run.map((point) => point.hover.map(plain).join("<br>")),
      hoverinfo: "text", showlegend: false, line: { color: colour, width: 1.6 }, marker: { color: colour, size: 5 },
    };
  }

  /* A cross at whatever end of the day lies beyond its limit. */
  function crosses({ points, limits }, look) {
    const beyond = points.filter((point) => limits && point.outside).flatMap((point) => [
      ...(point.low < limits.low ? [[point.date, point.low]] : []),
      ...(point.high > limits.high ? [[point.date, point.high]] : []),
    ]);
    return {
      type: "scatter", mode: "markers", x: beyond.map(([date]) => date), y: beyond.map(([, value]) => value),
      hoverinfo: "skip", showlegend: false,
      marker: { color: look.fail, size: 7, symbol: "x-thin-open", line: { color: look.fail, width: 1.6 } },
    };
  }

  function exposure(chart, look) {
    const { limits, crossed } = chart;
    const colour = look.series[0];
    const all = runs(chart.points);
    const marks = [mark(chart.opened, "1", look, "dot"), mark(chart.found, "2", look, "solid")];
    const shapes = marks.map(({ shape }) => shape);
    const annotations = marks.map(({ annotation }) => annotation);
    const key = ["line: mean of the day", "band: lowest to highest of the day", `1: ${chart.opened} window opens`,
      `2: ${chart.found} found out of tolerance`];
    for (const limit of limits ? [limits.low, limits.high] : []) {
      shapes.push({
        type: "line", xref: "paper", x0: 0, x1: 1, y0: limit, y1: limit, line: { color: look.edge, width: 1.4, dash: "dash" },
      });
    }
    if (limits) key.push(`dashed: ${limits.text}`);
    if (chart.points.some((point) => point.outside)) key.push("× outside the limits");
    if (crossed) {
      const end = crossed.latest ?? chart.found;
      shapes.push({
        type: "rect", xref: "x", yref: "paper", x0: crossed.earliest, x1: end, y0: 0, y1: 1, layer: "below",
        fillcolor: fade(look.series[1], 0.14), line: { width: 0 },
      });
      const median = mark(crossed.median, "3", look, "dash");
      shapes.push(median.shape);
      annotations.push(median.annotation);
      key.push(`3: ${crossed.median} tolerance passed by the drift line; shaded: ${crossed.earliest} to ${end}, 95 %`);
    }
    return {
      traces: [...all.map((run) => spread(run, colour)), ...all.map((run) => means(run, colour)), crosses(chart, look)],
      layout: {
        xaxis: { type: "date", tickformat: "%Y-%m-%d", nticks: 7 },
        yaxis: { title: { text: plain(chart.y_title) }, zeroline: false },
        shapes,
        annotations,
      },
      key,
    };
  }

  kinds.exposure = exposure;
})();
