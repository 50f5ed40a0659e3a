/* Chart of a visit's log ("log"): what reference and sensor showed above, the error below, the windows shaded.
 *
 * log, besides what charts.js says:
 *   error_title   text of the axis of errors
 *   start     local time of the first sample; seconds: of each sample since then
 *   reference, sensor, error   by sample, null where there is none
 *   points    list of {name, begin, from, until, error, U, hover}, one a window, times in seconds since start; begin:
 *             of the soak; error ± U: settled, as the results have it
 */
(() => {
  "use strict";

  const { kinds, plain, time, stamp, fade } = window.asfoundCharts;

  const LEAST_REACH = 0.5; // %RH of errors that the lower sheet shows at least

  /* Errors of an approach begin far outside: the sheet shows what is near the settled ones and where windows begin. */
  function reach({ points, seconds, error }) {
    const shown = points.flatMap((point) => [point.error - point.U, point.error + point.U]);
    const read = error.filter((value, i) => value !== null
      && points.some((point) => seconds[i] >= point.from && seconds[i] <= point.until));
    const all = [...shown, ...read];
    const [low, high] = [Math.min(...all), Math.max(...all)];
    const room = Math.max(LEAST_REACH, 0.4 * (high - low));
    return [low - room, high + room];
  }

  function log(chart, look) {
    const zero = time(chart.start);
    const at = (second) => stamp(zero + 1000 * second);
    const x = chart.seconds.map(at);
    const line = (name, y, colour, axis, dash) => ({
      type: "scatter", mode: "lines", x, y, yaxis: axis, name: plain(name), hoverinfo: "x+y+name", connectgaps: false,
      line: { color: colour, width: 1.4, dash }, showlegend: axis === "y",
    });
    const [sensor, reference] = look.series;
    const shade = (from, until, colour, share) => ({
      type: "rect", xref: "x", yref: "paper", x0: at(from), x1: at(until), y0: 0, y1: 1, layer: "below",
      fillcolor: fade(colour, share), line: { width: 0 },
    });
    const { points } = chart;
    return {
      traces: [
        line("reference", chart.reference, reference, "y", "dash"),
        line("sensor", chart.sensor, sensor, "y", "solid"),
        line("error", chart.error, sensor, "y2", "solid"),
        {
          type: "scatter", mode: "markers", x: points.map((point) => at((point.from + point.until) / 2)),
          y: points.map((point) => point.error), yaxis: "y2", showlegend: false, hoverinfo: "text",
          hovertext: points.map((point) => point.hover.map(plain).join("<br>")),
          error_y: { type: "data", array: points.map((point) => point.U), color: look.ink, thickness: 1.4, width: 5 },
          marker: { color: look.ink, size: 7, symbol: "diamond" },
        },
      ],
      layout: {
        xaxis: { type: "date", tickformat: "%H:%M", anchor: "y2" },
        yaxis: { domain: [0.46, 1], zeroline: false, title: { text: plain(chart.y_title) } },
        yaxis2: { domain: [0, 0.4], range: reach(chart), title: { text: plain(chart.error_title) }, zeroline: true },
        shapes: points.flatMap((point) => [
          shade(point.begin, point.from, look.quiet, 0.12), shade(point.from, point.until, look.series[2], 0.3),
        ]),
      },
      key: ["above: reference (dashed) and sensor", "below: error, sensor minus reference", "grey: soak",
        "green: window whose mean was read", "◆ settled error ± U"],
    };
  }

  kinds.log = log;
})();
