/* The sheet that every chart of ours is drawn on, by plotly from what the page itself carries: nothing is fetched.
 *
 *   <div class="chart" data-chart='{"kind": …}'><p>shown where scripts are off</p></div>
 *
 * The value of data-chart is JSON, escaped for an attribute. Texts are plain, numbers come with their unit already in
 * `hover`: nothing is rounded or computed here but where things stand on the sheet.
 *
 * All kinds:
 *   kind      what is drawn; chart_results.js knows "history" and "visit", chart_trends.js "control" and "fleet",
 *             chart_exposure.js "exposure", chart_log.js "log"
 *   title     what the chart shows, for those who cannot see it
 *   y_title   text of the vertical axis: "Error / %RH"
 *   points    list of what is shown; a chart without any says so in words
 *
 * A kind is one entry of asfoundCharts.kinds: (chart, look, sheet) → { traces, layout, key }. `look` holds the
 * colours, `sheet` whether it is paper, `key` lists what the legend does not tell: lines of text under the sheet.
 */
(() => {
  "use strict";

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

  /* A vertical line at a day, with a number or word at its head. */
  function mark(date, text, look, dash) {
    return {
      shape: {
        type: "line", xref: "x", yref: "paper", x0: date, x1: date, y0: 0, y1: 1,
        line: { color: look.quiet, width: 1.4, dash },
      },
      annotation: {
        x: date, xref: "x", y: 1, yref: "paper", yanchor: "bottom", showarrow: false,
        text: `<b>${plain(text)}</b>`, font: { color: look.ink },
      },
    };
  }

  const kinds = {};
  window.asfoundCharts = { kinds, plain, time, stamp, fade, distinct, field, mark, DAY: 86400000 };

  /* What the legend inside the sheet does not tell, under it. */
  function key(parts, box) {
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

  const isNarrow = (box, printing) => !printing && box.clientWidth < 560;

  function layout(chart, look, box, printing) {
    const narrow = isNarrow(box, printing);
    const text = { color: look.ink, size: narrow ? 11 : 12, family: getComputedStyle(document.body).fontFamily };
    const axis = { gridcolor: look.grid, linecolor: look.quiet, zerolinecolor: look.quiet, automargin: true, showline: true };
    return {
      height: 420,
      width: printing ? PAPER_WIDTH : undefined,
      autosize: !printing,
      margin: { l: 8, r: 12, t: toolbar(box, printing) ? 36 : 24, b: 8 }, // the tools stand above the sheet, not on it
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

  /* Neither a finger nor a narrow sheet has use for the tools, and they would cover the newest results. */
  const toolbar = (box, printing) => !printing && !FINGER.matches && !isNarrow(box, printing);

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
    const base = layout(chart, look, box, printing);
    const { traces, layout: own, key: told } = kinds[chart.kind](chart, look, { printing });
    const whole = { ...base, ...own };
    for (const name of Object.keys(whole).filter((one) => /^[xy]axis/.test(one))) {
      whole[name] = { ...base[name.slice(0, 5)], ...own[name] };
    }
    if (!box.classList.contains("js-plotly-plot")) box.replaceChildren();
    box.setAttribute("role", "img");
    box.setAttribute("aria-label", `Chart: ${chart.title ?? ""}. The same numbers stand in the table.`);
    key(told, box);
    const displayModeBar = toolbar(box, printing) ? "hover" : false;
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

  // By then the kinds, whose scripts follow this one, are known.
  addEventListener("DOMContentLoaded", () => drawAll());
  new MutationObserver(() => drawAll()).observe(document.body, { attributeFilter: ["data-md-color-scheme"] });
  addEventListener("beforeprint", () => drawAll(true));
  addEventListener("afterprint", () => drawAll());
})();
