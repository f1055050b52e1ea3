// One plot of the page: a Chart.js chart with error bars, bins, overlaid traces and marked values.
"use strict";

// Line patterns and point shapes of the series, so that they can be told apart without colour.
const DASHES = [[], [8, 4], [2, 3], [10, 3, 2, 3], [4, 4], [12, 3]];
const SHAPES = ["circle", "triangle", "rect", "rectRot", "crossRot", "star"];
const SERIES_COLOURS = 6;
const MANY_FAINT_LABELS = 6;

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

function translucent(hex, share) {
  return hex + Math.round(share * 255).toString(16).padStart(2, "0");
}

/** Series that are shown and hidden together: each by itself, faint ones by their label. */
function groupsOf(plot) {
  const faint = plot.series.filter((series) => series.faint);
  const faintLabels = new Set(faint.map((series) => series.label));
  const groups = [];
  plot.series.forEach((series, index) => {
    if (!series.faint) {
      groups.push({ label: series.label, members: [index], kind: series.kind, number: groups.filter((g) => !g.faint).length });
      return;
    }
    const label = faintLabels.size > MANY_FAINT_LABELS ? "overlaid traces" : series.label;
    const group = groups.find((other) => other.faint && other.label === label);
    if (group) group.members.push(index);
    else groups.push({ label, members: [index], kind: series.kind, faint: true, alone: faintLabels.size === 1 || faintLabels.size > MANY_FAINT_LABELS });
  });
  // Faint groups get a colour of their own only where there is more than one to tell apart.
  let next = groups.filter((group) => !group.faint).length;
  for (const group of groups.filter((one) => one.faint && !one.alone)) group.number = next++;
  return groups;
}

function styleOf(group) {
  const alone = group.faint && group.alone;
  const number = group.number ?? 0;
  return {
    colour: colour(alone ? "faint" : `series-${(number % SERIES_COLOURS) + 1}`),
    dash: group.faint ? [] : DASHES[number % DASHES.length],
    shape: SHAPES[number % SHAPES.length],
  };
}

/** The smallest and largest of what is drawn along each axis, in the units of the axis. */
function extentOf(plot) {
  const extent = { x: [Infinity, -Infinity], y: [Infinity, -Infinity] };
  const take = (axis, value) => {
    if (!Number.isFinite(value) || (plot[axis].logarithmic && value <= 0)) return;
    extent[axis][0] = Math.min(extent[axis][0], value);
    extent[axis][1] = Math.max(extent[axis][1], value);
  };
  for (const series of plot.series) {
    const x = unpacked(series.x);
    const bins = series.kind === "bars" || series.kind === "steps";
    if (bins && x.length > 1) {
      binEdges(plot, x).forEach((edge) => take("x", edge));
    }
    x.forEach((value, i) => {
      if (series.y[i] === null) return;
      take("x", value);
      take("y", series.y[i]);
      if (series.u) {
        take("y", series.y[i] - series.u[i]);
        take("y", series.y[i] + series.u[i]);
      }
    });
    if (bins) take("y", 0);
  }
  for (const marker of plot.markers) take(marker.vertical ? "x" : "y", marker.at);
  for (const axis of ["x", "y"]) if (extent[axis][0] > extent[axis][1]) extent[axis] = plot[axis].logarithmic ? [1, 10] : [0, 1];
  return extent;
}

/** The outer edges of bins with these middles; on a logarithmic axis half-way is the geometric middle. */
function binEdges(plot, x) {
  const to = plot.x.logarithmic ? Math.log : (value) => value;
  const back = plot.x.logarithmic ? Math.exp : (value) => value;
  const last = x.length - 1;
  return [back(to(x[0]) - (to(x[1]) - to(x[0])) / 2), back(to(x[last]) + (to(x[last]) - to(x[last - 1])) / 2)];
}

/** The range shown along an axis: the extent with a little room, and nothing below an axis of counts. */
function rangeOf(plot, axis, extent) {
  const [low, high] = extent;
  const binned = plot.series.some((series) => series.kind === "bars" || series.kind === "steps");
  if (plot[axis].logarithmic) {
    const room = axis === "y" ? 0.06 : binned ? 0 : 0.02;
    const decades = Math.log10(high / low) || 1;
    const floor = axis === "y" && binned ? low / 2 : low / 10 ** (room * decades);
    return [floor, high * 10 ** (room * decades)];
  }
  const span = high - low || Math.abs(high) || 1;
  const room = axis === "y" ? 0.06 * span : binned ? 0 : 0.02 * span;
  return [axis === "y" && low === 0 ? 0 : low - room, high + room];
}

/** The points of a series as Chart.js takes them. Bins get their outer edges, closed down to the base. */
function pointsOf(plot, series, base) {
  const x = unpacked(series.x);
  const floor = plot.y.logarithmic ? base : -Infinity;
  const points = x.map((value, i) => {
    const y = series.y[i];
    return { x: value, y: y === null ? NaN : Math.max(y, floor), u: series.u?.[i], at: i };
  });
  // Chart.js looks for what is in view by halving, which needs rising x; a scatter has no order to lose.
  if (series.kind === "points") points.sort((a, b) => a.x - b.x);
  const bins = series.kind === "bars" || series.kind === "steps";
  if (!bins || points.length < 2) return points;
  const [first, last] = binEdges(plot, x);
  const corner = (at, y) => ({ x: at, y });
  return [corner(first, base), corner(first, points[0].y), ...points, corner(last, points[points.length - 1].y), corner(last, base)];
}

function datasetOf(plot, series, group, base) {
  const style = styleOf(group);
  const count = series.y.length;
  const dots = series.kind === "points";
  const bins = series.kind === "bars" || series.kind === "steps";
  const crowd = count > 1500;
  const shade = group.faint ? Math.max(0.12, Math.min(0.5, 4 / group.members.length)) : 1;
  const data = pointsOf(plot, series, base);
  return {
    label: series.label,
    group,
    data,
    parsing: !data.every((point, i) => i === 0 || point.x >= data[i - 1].x),
    showLine: !dots,
    stepped: bins ? "middle" : false,
    fill: series.kind === "bars" ? { value: base } : false,
    borderColor: translucent(style.colour, shade),
    backgroundColor: translucent(style.colour, series.kind === "bars" ? 0.16 : dots && crowd ? 0.45 : 1),
    borderDash: dots ? [] : bins && group.number === 0 ? [] : style.dash,
    borderWidth: group.faint ? 1 : dots ? 1.5 : bins ? 1.5 : 2,
    borderJoinStyle: "round",
    pointStyle: style.shape,
    pointRadius: dots ? (crowd ? 1.5 : count > 300 ? 2.5 : 4) : 0,
    pointBorderWidth: dots && crowd ? 0 : 1.25,
    pointHoverRadius: group.faint ? 0 : 5,
    pointHitRadius: group.faint ? 0 : 12,
    order: group.faint ? 2 : series.kind === "bars" ? 1 : 0,
  };
}

function axisOptions(plot, axis, extent) {
  const [min, max] = rangeOf(plot, axis, extent[axis]);
  const log = plot[axis].logarithmic;
  return {
    type: log ? "logarithmic" : "linear",
    min,
    max,
    title: { display: true, text: axisTitle(plot[axis]), color: colour("ink"), font: { size: 13.5 }, padding: 6 },
    border: { color: colour("axis") },
    grid: {
      color: (context) => (log && context.tick && firstDigit(context.tick.value) !== 1 ? colour("grid-minor") : colour("grid")),
      tickColor: colour("axis"),
      borderColor: colour("axis"),
      tickLength: 5,
    },
    ticks: {
      color: colour("muted"),
      includeBounds: false,
      maxRotation: 0,
      autoSkipPadding: log ? 4 : 18,
      maxTicksLimit: log ? 200 : axis === "x" ? 11 : 8,
      callback(value, index, ticks) {
        return log ? logarithmicTick(plot[axis], value, ticks) : linearTick(value, index, ticks);
      },
    },
  };
}

// Standard uncertainties as bars through the points, drawn under them.
const errorBars = {
  id: "errorBars",
  beforeDatasetDraw(chart, { index, meta }) {
    const dataset = chart.data.datasets[index];
    if (!meta.visible || !dataset.data.some((point) => point.u > 0)) return;
    const { ctx, chartArea, scales } = chart;
    ctx.save();
    ctx.beginPath();
    ctx.rect(chartArea.left, chartArea.top, chartArea.width, chartArea.height);
    ctx.clip();
    ctx.strokeStyle = dataset.borderColor;
    ctx.lineWidth = 1.25;
    ctx.beginPath();
    for (const { x, y, u } of dataset.data) {
      if (!(u > 0) || !Number.isFinite(y)) continue;
      const at = scales.x.getPixelForValue(x);
      const top = scales.y.getPixelForValue(y + u);
      const low = y - u;
      const bottom = scales.y.type === "logarithmic" && low <= 0 ? chartArea.bottom : scales.y.getPixelForValue(low);
      const cap = 3;
      ctx.moveTo(at, top);
      ctx.lineTo(at, bottom);
      ctx.moveTo(at - cap, top);
      ctx.lineTo(at + cap, top);
      ctx.moveTo(at - cap, bottom);
      ctx.lineTo(at + cap, bottom);
    }
    ctx.stroke();
    ctx.restore();
  },
};

/** Names above the plot in rows, so that none covers another: adds left and row to each marker. */
function inRows(markers, widths, positions, left, right) {
  const ends = [];
  return markers
    .map((marker, i) => ({ marker, width: widths[i], at: positions[i] }))
    .sort((a, b) => a.at - b.at)
    .map((one) => {
      const start = Math.max(left, Math.min(one.at - one.width / 2, right - one.width));
      let row = ends.findIndex((end) => start > end + 10);
      if (row < 0) row = ends.push(0) - 1;
      ends[row] = start + one.width;
      return { ...one, left: start, row };
    });
}

const MARKER_ROW = 17;

// Marked values: dashed lines, their names above the plot (vertical) or on the line (horizontal).
const marks = {
  id: "marks",
  afterDatasetsDraw(chart) {
    const { ctx, chartArea, scales, config } = chart;
    const { plot } = config.options;
    const inside = (marker) => {
      const scale = scales[marker.vertical ? "x" : "y"];
      return marker.at >= scale.min && marker.at <= scale.max;
    };
    ctx.save();
    ctx.font = `12.5px ${Chart.defaults.font.family}`;
    ctx.strokeStyle = colour("marker");
    ctx.fillStyle = colour("ink");
    ctx.lineWidth = 1.25;
    const upright = plot.markers.filter((marker) => marker.vertical && inside(marker));
    const placed = inRows(upright, upright.map((m) => ctx.measureText(m.label).width), upright.map((m) => scales.x.getPixelForValue(m.at)), chartArea.left, chartArea.right);
    for (const { marker, at, left, row } of placed) {
      const bottomOfName = chartArea.top - 5 - row * MARKER_ROW;
      ctx.setLineDash([5, 4]);
      ctx.beginPath();
      ctx.moveTo(at, marker.label ? bottomOfName + 2 : chartArea.top);
      ctx.lineTo(at, chartArea.bottom);
      ctx.stroke();
      ctx.fillText(marker.label, left, bottomOfName - 2);
    }
    ctx.textAlign = "right";
    for (const marker of plot.markers.filter((one) => !one.vertical && inside(one))) {
      const at = scales.y.getPixelForValue(marker.at);
      ctx.setLineDash([5, 4]);
      ctx.beginPath();
      ctx.moveTo(chartArea.left, at);
      ctx.lineTo(chartArea.right, at);
      ctx.stroke();
      const below = at - chartArea.top < 20;
      ctx.setLineDash([]);
      ctx.strokeStyle = colour("panel");
      ctx.lineWidth = 4;
      ctx.strokeText(marker.label, chartArea.right - 8, below ? at + 16 : at - 6);
      ctx.fillText(marker.label, chartArea.right - 8, below ? at + 16 : at - 6);
      ctx.strokeStyle = colour("marker");
      ctx.lineWidth = 1.25;
    }
    ctx.restore();
  },
};

/** Room above the plot for the names of its vertical markers. */
function markerRoom(plot, width) {
  const upright = plot.markers.filter((marker) => marker.vertical && marker.label);
  if (!upright.length) return 6;
  const ctx = document.createElement("canvas").getContext("2d");
  ctx.font = `12.5px ${Chart.defaults.font.family}`;
  const [low, high] = rangeOf(plot, "x", extentOf(plot).x);
  const to = plot.x.logarithmic ? Math.log : (value) => value;
  const at = upright.map((m) => ((to(m.at) - to(low)) / (to(high) - to(low))) * width);
  const rows = inRows(upright, upright.map((m) => ctx.measureText(m.label).width), at, 0, width).map((one) => one.row);
  return 8 + MARKER_ROW * (Math.max(...rows) + 1);
}

/** The chart of a plot on a canvas. */
function drawn(canvas, plot, groups) {
  const extent = extentOf(plot);
  const base = plot.y.logarithmic ? rangeOf(plot, "y", extent.y)[0] : 0;
  const groupOf = (index) => groups.find((group) => group.members.includes(index));
  return new Chart(canvas, {
    type: "line",
    data: { datasets: plot.series.map((series, index) => datasetOf(plot, series, groupOf(index), base)) },
    plugins: [errorBars, marks],
    options: {
      plot,
      animation: false,
      parsing: false,
      normalized: true,
      responsive: true,
      maintainAspectRatio: false,
      layout: { padding: { top: markerRoom(plot, canvas.parentElement.clientWidth - 70), right: 14 } },
      interaction: { mode: "nearest", intersect: false, axis: "xy" },
      scales: { x: axisOptions(plot, "x", extent), y: axisOptions(plot, "y", extent) },
      plugins: {
        legend: { display: false },
        decimation: { enabled: true, algorithm: "min-max" },
        tooltip: {
          filter: (item) => item.raw.at !== undefined && !item.dataset.group.faint,
          backgroundColor: colour("ink"),
          titleColor: colour("panel"),
          bodyColor: colour("panel"),
          displayColors: false,
          caretSize: 0,
          caretPadding: 10,
          cornerRadius: 4,
          padding: 9,
          titleFont: { weight: "600" },
          callbacks: {
            title: (items) => items.slice(0, 1).map((item) => item.dataset.label),
            label: (item) => readings(plot, item.raw),
          },
        },
      },
    },
  });
}

/** What a point says, line by line. */
function readings(plot, point) {
  const y = point.u > 0 ? `${written(point.y)} ± ${written(point.u, 2)}${plot.y.unit ? ` ${plot.y.unit}` : ""}` : readOff(plot.y, point.y);
  return [`${plot.x.label}: ${readOff(plot.x, point.x)}`, `${plot.y.label}: ${y}`];
}
