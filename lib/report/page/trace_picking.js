// The plots that lead to traces: a click or a key on a bin or a point brings the traces behind it into the window.
"use strict";

// The plots whose points lead to traces: figure -> the traces behind the points of each series.
const pickable = new Map();
for (const { plot, series, traces } of browsed.points) {
  const figure = part(`plot-${plot + 1}`);
  if (!pickable.has(figure)) pickable.set(figure, new Map());
  pickable.get(figure).set(series, traces);
}

/** The point of a plot nearest to a place on its canvas: of bins the one at that x, of points the nearest. */
function pointAt(chart, left, top) {
  const { plot } = chart.config.options;
  let nearest = null;
  chart.data.datasets.forEach((set, series) => {
    if (!chart.isDatasetVisible(series)) return;
    for (const point of set.data) {
      if (point.at === undefined || !Number.isFinite(point.y)) continue;
      const across = chart.scales.x.getPixelForValue(point.x) - left;
      const up = plot.series[series].kind === "points" ? chart.scales.y.getPixelForValue(point.y) - top : 0;
      const distance = Math.hypot(across, up);
      if (!nearest || distance < nearest.distance) nearest = { distance, series, at: point.at };
    }
  });
  const reach = plot.series[nearest?.series]?.kind === "points" ? 30 : Infinity; // pixels
  return nearest && nearest.distance < reach ? nearest : null;
}

/** Brings the traces behind a point into the window. */
function pick(figure, { series, at }) {
  const traces = pickable.get(figure).get(series)?.[at];
  if (!traces) return;
  const plot = plots[Number(figure.dataset.plot)];
  const x = readOff(plot.x, unpacked(plot.series[series].x)[at]);
  const single = plot.series[series].kind === "points";
  const what = single ? `the point at ${x}` : `the bin at ${x}`;
  const count = written(plot.series[series].y[at]);
  const title = figure.querySelector("h3").textContent;
  const rule = single ? `Picked: ${what} of “${title}”.` : `Picked: ${what} of “${title}”, which holds ${count}; chosen by lot.`;
  view.picked = { figure, series, at, traces, rule: traces.length ? rule : `${rule} No trace of it is on this page.` };
  const option = part("group").querySelector("option[value=picked]");
  option.textContent = `picked: ${what}`;
  option.hidden = false;
  part("group").value = "picked";
  takeGroup();
  part("window").scrollIntoView({ block: "start" });
}

// Drawn over the plots that lead to traces: the picked bin, and the point of the trace on view.
const pickMarks = {
  id: "pickMarks",
  afterDatasetsDraw(chart) {
    const figure = chart.canvas.closest("figure");
    const { ctx, scales, chartArea } = chart;
    const { plot } = chart.config.options;
    const onView = view.traces[view.at];
    ctx.save();
    ctx.beginPath();
    ctx.rect(chartArea.left, chartArea.top, chartArea.width, chartArea.height);
    ctx.clip();
    for (const [series, behind] of pickable.get(figure)) {
      const x = unpacked(plot.series[series].x);
      const points = plot.series[series].kind === "points";
      const at = points ? behind.findIndex((traces) => traces[0] === onView) : view.picked?.figure === figure ? view.picked.at : -1;
      if (at < 0 || !chart.isDatasetVisible(series)) continue;
      const left = scales.x.getPixelForValue(x[at]);
      ctx.strokeStyle = colour("ink");
      ctx.lineWidth = 2;
      ctx.beginPath();
      if (points) ctx.arc(left, scales.y.getPixelForValue(plot.series[series].y[at]), 9, 0, 2 * Math.PI);
      else {
        const half = (scales.x.getPixelForValue(x[1] ?? x[0] + 1) - scales.x.getPixelForValue(x[0])) / 2;
        const top = scales.y.getPixelForValue(plot.series[series].y[at]);
        ctx.rect(left - half, top, 2 * half, chartArea.bottom - top);
      }
      ctx.stroke();
    }
    ctx.restore();
  },
};

function setUpPicking(figure) {
  const canvas = figure.querySelector("canvas");
  plots[Number(figure.dataset.plot)].plugins = [pickMarks];
  onClick(canvas, (left, top) => {
    const point = pointAt(charts.get(figure), left, top);
    if (point) pick(figure, point);
  });
  canvas.addEventListener("keydown", (event) => {
    const chart = charts.get(figure);
    const [active] = chart.getActiveElements();
    const at = active && chart.data.datasets[active.datasetIndex].data[active.index]?.at;
    if (event.key !== "Enter" || at === undefined) return;
    pick(figure, { series: active.datasetIndex, at });
    event.preventDefault();
  });
  figure.querySelector(".hint").textContent = "Click picks, drag zooms. By keys: arrows read points off, Enter picks, + − 0 zoom.";
  hintForFingers(figure, "A tap picks.");
  draw(figure);
}
