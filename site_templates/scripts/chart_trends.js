/* Charts of trends: changes against their control limits ("control") and drift of many sensors side by side ("fleet").
 *
 * control, besides what charts.js says; two sheets under each other, single values above, their weighted mean below:
 *   points    list of {date, value, mean, mean_low, mean_high, hover, signals}, in order of days
 *     mean          exponentially weighted moving average up to there, with its own limits
 *     signals       list of "value" and "mean": what lies beyond its limits; gets a cross
 *   centre, lower, upper   of the single values; mean_centre of their average
 *   mean_title   text of the lower vertical axis
 *   events    list of {date, text}: a vertical line with a number, its text under the sheet
 *
 * fleet, one row a sensor, in the order given:
 *   points    list of {group, label, value, U, state, hover}: a new group has a heading; state as in `states`
 *   states    list of states in words, at most four; each has a glyph of its own
 *   x_title   text of the horizontal axis
 */
(() => {
  "use strict";

  const { kinds, plain, distinct, mark } = window.asfoundCharts;

  const ROW = { screen: 21, paper: 15 }; // pixels a row of the fleet: on paper all of it on one sheet

  const hover = (point) => point.hover.map(plain).join("<br>");

  /* Values joined by a line, with limits as steps, and crosses where they lie beyond. */
  function controlled({ points, value, low, high, signal, axis, name, colour, shape, dash, look }) {
    const x = points.map((point) => point.date);
    const limits = [low, high].map((limit) => ({
      type: "scatter", mode: "lines", x, y: points.map(limit), yaxis: axis, hoverinfo: "skip", showlegend: false,
      line: { color: look.edge, width: 1.4, dash: "dash", shape: "hvh" },
    }));
    const line = {
      type: "scatter", mode: "lines+markers", name: plain(name), x, y: points.map(value), yaxis: axis,
      hovertext: points.map(hover), hoverinfo: "text", showlegend: false,
      line: { color: colour, width: 1.2, dash }, marker: { color: colour, size: 8, symbol: shape },
    };
    const beyond = points.filter((point) => point.signals.includes(signal));
    const crosses = {
      type: "scatter", mode: "markers", name: `signal ${signal}`, x: beyond.map((point) => point.date), y: beyond.map(value),
      yaxis: axis, hoverinfo: "skip", showlegend: false,
      marker: { color: look.fail, size: 16, symbol: "x-thin-open", line: { color: look.fail, width: 2.5 } },
    };
    return beyond.length ? [...limits, line, crosses] : [...limits, line];
  }

  function control(chart, look) {
    const { points, centre, lower, upper } = chart;
    const both = { points, look };
    const traces = [
      ...controlled({
        ...both, value: (p) => p.value, low: () => lower, high: () => upper, signal: "value", axis: "y",
        name: "single changes", colour: look.series[0], shape: "circle", dash: "solid",
      }),
      ...controlled({
        ...both, value: (p) => p.mean, low: (p) => p.mean_low, high: (p) => p.mean_high, signal: "mean", axis: "y2",
        name: "moving average", colour: look.series[1], shape: "square", dash: "dot",
      }),
    ];
    const centreLine = (yref, at) => ({
      type: "line", xref: "paper", yref, x0: 0, x1: 1, y0: at, y1: at, line: { color: look.quiet, width: 1 },
    });
    const events = chart.events ?? [];
    const marks = events.map((event, i) => mark(event.date, String(i + 1), look, "dash"));
    const key = ["● single changes", "■ their moving average", "dashed: limits", "thin line: centre"];
    if (points.some((point) => point.signals.length)) key.push("× signal: beyond its limits");
    return {
      traces,
      layout: {
        xaxis: { type: "date", anchor: "y2", tickformat: "%Y-%m" },
        yaxis: { title: { text: plain(chart.y_title) }, domain: [0.54, 1], zeroline: false },
        yaxis2: { title: { text: plain(chart.mean_title) }, domain: [0, 0.44], zeroline: false },
        shapes: [centreLine("y", centre), centreLine("y2", chart.mean_centre), ...marks.map(({ shape }) => shape)],
        annotations: marks.map(({ annotation }) => annotation),
      },
      key: [...key, ...events.map((event, i) => `${i + 1}: ${event.date} ${event.text}`)],
    };
  }

  const STATE_GLYPHS = ["diamond", "square-open", "circle-open", "cross-thin-open"];

  function fleet(chart, look, { printing }) {
    const rows = chart.points.flatMap((point, i, all) =>
      point.group !== all[i - 1]?.group ? [{ heading: point.group }, point] : [point]);
    const place = new Map(rows.map((row, i) => [row, i]));
    const shown = distinct(chart.points.map((point) => point.state));
    const traces = chart.states.filter((state) => shown.includes(state)).map((state) => {
      const own = chart.points.filter((point) => point.state === state);
      const colour = look.series[[1, 3, 0, 4][chart.states.indexOf(state)]];
      return {
        type: "scatter", mode: "markers", name: plain(state), x: own.map((point) => point.value),
        y: own.map((point) => place.get(point)), hovertext: own.map(hover), hoverinfo: "text", showlegend: true,
        marker: { color: colour, size: 10, symbol: STATE_GLYPHS[chart.states.indexOf(state)], line: { color: colour, width: 1.8 } },
        error_x: { type: "data", array: own.map((point) => point.U), color: colour, thickness: 1.4, width: 4 },
      };
    });
    const labelled = rows.filter((row) => !row.heading);
    return {
      traces,
      layout: {
        height: rows.length * (printing ? ROW.paper : ROW.screen) + 110,
        xaxis: { title: { text: plain(chart.x_title) }, zeroline: true, zerolinewidth: 1.4, side: "bottom" },
        yaxis: {
          title: { text: "" }, range: [rows.length - 0.4, -0.8], showgrid: false, zeroline: false,
          tickvals: labelled.map((row) => place.get(row)), ticktext: labelled.map((row) => plain(row.label)),
        },
        annotations: rows.filter((row) => row.heading).map((row) => ({
          x: 0, xref: "paper", xanchor: "left", y: place.get(row), yref: "y", yanchor: "middle", showarrow: false,
          text: `<b>${plain(row.heading)}</b>`, font: { color: look.ink }, bgcolor: look.ground,
        })),
        legend: { orientation: "h", x: 0, xanchor: "left", y: 1, yanchor: "bottom" },
      },
      key: ["bars: ± expanded uncertainty U of the rate"],
    };
  }

  kinds.control = control;
  kinds.fleet = fleet;
})();
