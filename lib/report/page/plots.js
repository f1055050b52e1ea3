// One plot of the page: a Chart.js chart with error bars, bins, overlaid traces and marked values.
"use strict";

// Line patterns and point shapes of the series, so that they can be told apart without colour.
const DASHES = [[], [8, 4], [2, 3], [10, 3, 2, 3], [4, 4], [12, 3]];
const SHAPES = ["circle", "triangle", "rect", "rectRot", "crossRot", "star"];
const SERIES_COLOURS = 6;
const MANY_FAINT_LABELS = 6;
const FAINTEST = 0.6; // a trace alone stays 3 to 1 against its ground
const TITLE_SIZE = 13.5; // of an axis, pixels

function colour(name) {
  return getComputedStyle(document.documentElement).getPropertyValue(`--${name}`).trim();
}

function translucent(hex, share) {
  return hex + Math.round(share * 255).toString(16).padStart(2, "0");
}

/** Series that are shown and hidden together: each by itself, faint ones by their label. */
function groupsOf(plot) {
  const faintLabels = new Set(plot.series.filter((series) => series.faint).map((series) => series.label));
  const many = faintLabels.size > MANY_FAINT_LABELS;
  const groups = [];
  plot.series.forEach((series, index) => {
    const label = series.faint && many ? "overlaid traces" : series.label;
    const group = series.faint && groups.find((other) => other.faint && other.label === label);
    if (group) group.members.push(index);
    else groups.push({ label, members: [index], kind: series.kind, faint: series.faint });
  });
  return numbered(groups, many || faintLabels.size === 1);
}

/** Gives each group its place among the colours, the line patterns and the point shapes. */
function numbered(groups, faintIsGrey) {
  const faintLast = [...groups].sort((a, b) => a.faint - b.faint);
  const counts = { colour: 0, dash: 0, shape: 0 };
  for (const group of faintLast) {
    group.grey = group.faint && faintIsGrey;
    group.colour = group.grey ? 0 : counts.colour++;
    const stroked = !group.faint && (group.kind === "line" || group.kind === "steps");
    group.dash = stroked ? counts.dash++ : 0;
    group.shape = group.kind === "points" ? counts.shape++ : 0;
  }
  return groups;
}

/** Once the colours have all been used, they come again with other shapes and patterns, so that no two series look alike. */
function styleOf(group) {
  const again = Math.floor(group.colour / SERIES_COLOURS);
  return {
    colour: colour(group.grey ? "faint" : `series-${(group.colour % SERIES_COLOURS) + 1}`),
    dash: DASHES[(group.dash + again) % DASHES.length],
    shape: SHAPES[(group.shape + again) % SHAPES.length],
  };
}

/** The ends of the bar through a point: an interval about it, or its standard uncertainty to either side; or none. */
function barOf(series, i) {
  const finite = (value) => value !== null && value !== undefined;
  if (finite(series.low?.[i]) && finite(series.high?.[i])) return [series.low[i], series.high[i]];
  const u = series.u?.[i];
  if (series.y[i] === null || !(u > 0)) return [];
  const counts = series.kind === "bars" || series.kind === "steps";
  if (counts && series.y[i] === 0) return []; // an empty bin needs no bar to be seen as one
  return [counts && series.y[i] > 0 ? Math.max(0, series.y[i] - u) : series.y[i] - u, series.y[i] + u];
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
    if (bins && x.length > 0) binEdges(plot, x).forEach((edge) => take("x", edge));
    x.forEach((value, i) => {
      if (series.y[i] === null) return;
      take("x", value);
      take("y", series.y[i]);
      barOf(series, i).forEach((end) => take("y", end));
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
  if (last === 0) {
    const half = plot.x.logarithmic ? x[0] * 0.05 : Math.abs(x[0]) * 0.05 || 0.5; // its width is not told
    return [x[0] - half, x[0] + half];
  }
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
  return [axis === "y" && low >= 0 ? Math.max(0, low - room) : low - room, high + room];
}

/** The points of a series as Chart.js takes them. Bins get their outer edges, closed down to the base. */
function pointsOf(plot, series, base) {
  const x = unpacked(series.x);
  const floor = plot.y.logarithmic ? base : -Infinity;
  const points = x.map((value, i) => {
    const y = series.y[i];
    const interval = Boolean(series.low);
    return { x: value, y: y === null ? NaN : Math.max(y, floor), u: interval ? 0 : series.u?.[i], bar: barOf(series, i), at: i };
  });
  // Chart.js looks for what is in view by halving, which needs rising x; a scatter has no order to lose.
  if (series.kind === "points") points.sort((a, b) => a.x - b.x);
  const bins = series.kind === "bars" || series.kind === "steps";
  if (!bins || points.length === 0) return points;
  const [first, last] = binEdges(plot, x);
  const corner = (at, y) => ({ x: at, y });
  return [corner(first, base), corner(first, points[0].y), ...points, corner(last, points[points.length - 1].y), corner(last, base)];
}

/** Radii that show what a line cannot: points without a neighbour. */
function lonelyPoints(data) {
  const missing = (point) => point === undefined || Number.isNaN(point.y);
  const lonely = data.map((point, i) => !missing(point) && missing(data[i - 1]) && missing(data[i + 1]));
  return lonely.includes(true) ? lonely.map((alone) => (alone ? 3 : 0)) : 0;
}

function datasetOf(plot, series, group, base) {
  const style = styleOf(group);
  const count = series.y.length;
  const dots = series.kind === "points";
  const bins = series.kind === "bars" || series.kind === "steps";
  const crowd = count > 1500;
  const shade = group.faint ? FAINTEST : 1;
  const data = pointsOf(plot, series, base);
  return {
    // A scatter is drawn whole; a line may be thinned to the extremes of each column of pixels.
    type: dots ? "scatter" : "line",
    label: series.label,
    group,
    data,
    parsing: !data.every((point, i) => i === 0 || point.x >= data[i - 1].x),
    showLine: !dots,
    stepped: bins ? "middle" : false,
    fill: series.kind === "bars" ? { value: base } : false,
    borderColor: translucent(style.colour, shade),
    backgroundColor: translucent(style.colour, series.kind === "bars" ? 0.16 : dots && crowd ? 0.45 : 1),
    borderDash: style.dash,
    borderWidth: group.faint ? 1 : dots || bins || count > 400 ? 1.5 : 2,
    borderJoinStyle: "round",
    pointStyle: style.shape,
    pointRadius: dots ? (crowd ? 1.5 : count > 300 ? 2.5 : 4) : bins ? 0 : lonelyPoints(data),
    pointBorderWidth: dots && crowd ? 0 : 1.25,
    pointHoverRadius: group.faint ? 0 : 5,
    pointHitRadius: group.faint ? 0 : 12,
    order: group.faint ? plot.series.length : -plot.series.indexOf(series), // later series over earlier ones
  };
}

/** A text in as many lines as it takes to keep within a width, in pixels, broken between words. */
function inLines(text, width) {
  const pen = document.createElement("canvas").getContext("2d");
  pen.font = `${TITLE_SIZE}px ${Chart.defaults.font.family}`;
  const lines = [];
  for (const word of text.split(" ")) {
    const longer = lines.length ? `${lines[lines.length - 1]} ${word}` : word;
    if (lines.length && pen.measureText(longer).width <= width) lines[lines.length - 1] = longer;
    else lines.push(word);
  }
  return lines;
}

/** Whether an axis counts things, such as measurements in their order: there is nothing between two whole numbers. */
function isCounted(plot, axis) {
  if (plot[axis].unit !== "") return false;
  const valuesOf = (series) => (axis === "x" ? unpacked(series.x) : series.y);
  return plot.series.every((series) => valuesOf(series).every((value) => value === null || Number.isInteger(value)));
}

function axisOptions(plot, axis, extent) {
  const [min, max] = rangeOf(plot, axis, extent[axis]);
  const log = plot[axis].logarithmic;
  return {
    type: log ? "logarithmic" : "linear",
    min,
    max,
    afterBuildTicks(scale) {
      if (log && isNarrow(scale)) scale.ticks = evenTicks(scale);
    },
    afterFit(scale) {
      if (axis === "y") scale.width = Math.max(scale.width, plot.axisWidth ?? 0);
    },
    title: {
      display: true,
      text: ({ chart }) => inLines(axisTitle(plot[axis], chart.options.scales[axis]), axis === "x" ? chart.width - 100 : chart.height - chart.options.layout.padding.top - 60),
      color: colour("ink"),
      font: { size: TITLE_SIZE },
      padding: 6,
    },
    border: { color: colour("axis") },
    grid: {
      color: (context) => (log && context.tick && onlyDigit(context.tick.value) !== 1 ? colour("grid-minor") : colour("grid")),
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
      precision: isCounted(plot, axis) ? 0 : undefined,
      callback(value, index, ticks) {
        if (!log) return linearTick(value, index, ticks, originOf(plot[axis], this));
        const [length, room] = axis === "x" ? [this.width, 64] : [this.height, 20];
        return logarithmicTick(plot[axis], value, ticks, length, room);
      },
    },
  };
}

// Standard uncertainties and intervals as bars through the points, drawn under them.
const errorBars = {
  id: "errorBars",
  beforeDatasetDraw(chart, { index, meta }) {
    const dataset = chart.data.datasets[index];
    if (!meta.visible || !dataset.data.some((point) => point.bar?.length)) return;
    const { ctx, chartArea, scales } = chart;
    ctx.save();
    ctx.beginPath();
    ctx.rect(chartArea.left, chartArea.top, chartArea.width, chartArea.height);
    ctx.clip();
    ctx.strokeStyle = dataset.borderColor;
    ctx.lineWidth = 1.25;
    ctx.beginPath();
    for (const { x, y, bar } of dataset.data) {
      if (!bar?.length || !Number.isFinite(y)) continue;
      const at = scales.x.getPixelForValue(x);
      const [low, high] = bar;
      const top = scales.y.getPixelForValue(high);
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

function inView(chart, marker) {
  const scale = chart.scales[marker.vertical ? "x" : "y"];
  return marker.at >= scale.min && marker.at <= scale.max;
}

/** The vertical markers in view with the places of their names. */
function placedMarkers(chart) {
  const { ctx, chartArea, scales, config } = chart;
  const upright = config.options.plot.markers.filter((marker) => marker.vertical && inView(chart, marker));
  ctx.save();
  ctx.font = markerFont();
  const widths = upright.map((marker) => ctx.measureText(marker.label).width);
  ctx.restore();
  return inRows(upright, widths, upright.map((marker) => scales.x.getPixelForValue(marker.at)), chartArea.left, chartArea.right);
}

function markerFont() {
  return `12.5px ${Chart.defaults.font.family}`;
}

function line(ctx, fromX, fromY, toX, toY) {
  ctx.beginPath();
  ctx.moveTo(fromX, fromY);
  ctx.lineTo(toX, toY);
  ctx.stroke();
}

/** Places for the names of level lines, over or under their line: where the fewest points lie and no other name. */
function besideLines(chart, names) {
  const { chartArea, scales, data } = chart;
  if (names.length === 0) return [];
  const points = data.datasets.filter((set, i) => chart.isDatasetVisible(i)).flatMap((set) => set.data);
  const every = Math.ceil(points.length / 5000); // an even choice tells where the crowds are
  const pixels = points.filter((_, i) => i % every === 0).map(({ x, y }) => [scales.x.getPixelForValue(x), scales.y.getPixelForValue(y)]);
  const taken = [];
  for (const { text, at, width } of names) {
    const room = chartArea.width - width - 16;
    const hiddenAt = (x, y) => {
      if (y < chartArea.top + 13 || y > chartArea.bottom - 3) return 2e6;
      const other = taken.some((one) => Math.abs(one.y - y) < MARKER_ROW && x < one.x + one.width + 12 && one.x < x + width + 12);
      return (other ? 1e6 : 0) + pixels.filter(([left, top]) => left > x - 5 && left < x + width + 5 && top > y - 15 && top < y + 6).length;
    };
    const candidates = [1, 0.75, 0.5, 0.25, 0].flatMap((share) => {
      const x = chartArea.left + 8 + share * room;
      const rows = [0, 1, 2].flatMap((row) => [at - 6 - row * MARKER_ROW, at + 16 + row * MARKER_ROW]); // the nearest first
      return rows.map((y) => ({ text, x, y, width, hidden: hiddenAt(x, y) }));
    });
    taken.push(candidates.reduce((best, one) => (one.hidden < best.hidden ? one : best)));
  }
  return taken;
}

// Marked values: dashed lines, their names above the plot (vertical) or on the line (horizontal).
const marks = {
  id: "marks",
  afterDatasetsDraw(chart) {
    const { ctx, chartArea, scales, config } = chart;
    const { plot } = config.options;
    ctx.save();
    ctx.font = markerFont();
    ctx.strokeStyle = colour("marker");
    ctx.fillStyle = colour("ink");
    ctx.lineWidth = 1.25;
    ctx.setLineDash([5, 4]);
    const names = [];
    for (const { marker, at, left, row } of placedMarkers(chart)) {
      const foot = chartArea.top - 7 - row * MARKER_ROW;
      line(ctx, at, marker.label ? foot + 4 : chartArea.top, at, chartArea.bottom);
      names.push({ text: marker.label, x: left, y: foot });
    }
    const level = plot.markers.filter((one) => !one.vertical && inView(chart, one));
    const places = level.map((marker) => scales.y.getPixelForValue(marker.at));
    for (const at of places) line(ctx, chartArea.left, at, chartArea.right, at);
    names.push(...besideLines(chart, level.map((marker, i) => ({ text: marker.label, at: places[i], width: ctx.measureText(marker.label).width }))));
    // Names last, on a ground of their own, so that no line runs through them.
    ctx.setLineDash([]);
    ctx.strokeStyle = colour("panel");
    ctx.lineWidth = 4;
    ctx.lineJoin = "round";
    for (const { text, x, y } of names) {
      ctx.strokeText(text, x, y);
      ctx.fillText(text, x, y);
    }
    ctx.restore();
  },
};

/** Makes room above the plot for the names of its vertical markers, as many rows as they need at this width. */
function makeMarkerRoom(chart) {
  if (!chart.scales.x) return; // not laid out yet
  const named = placedMarkers(chart).filter((one) => one.marker.label);
  const room = named.length ? MARKER_ROW * (1 + Math.max(...named.map((one) => one.row))) : 0;
  if (chart.options.layout.padding.top === room + 8) return;
  chart.options.layout.padding.top = room + 8;
  chart.canvas.parentElement.style.setProperty("--names", `${room}px`);
  chart.resize();
  chart.update("none");
}

/** The chart of a plot on a canvas. */
function drawn(canvas, plot, groups) {
  const extent = extentOf(plot);
  for (const axis of ["x", "y"]) plot[axis].digits = digitsFor(...extent[axis]);
  // On a logarithmic axis bins stand on a line out of sight.
  const base = plot.y.logarithmic ? rangeOf(plot, "y", extent.y)[0] / 10 : 0;
  const groupOf = (index) => groups.find((group) => group.members.includes(index));
  const chart = new Chart(canvas, {
    type: "line",
    data: { datasets: plot.series.map((series, index) => datasetOf(plot, series, groupOf(index), base)) },
    plugins: [errorBars, marks, ...(plot.plugins ?? [])],
    options: {
      plot,
      animation: false,
      parsing: false,
      normalized: true,
      responsive: true,
      maintainAspectRatio: false,
      onResize: (resized) => makeMarkerRoom(resized),
      layout: { padding: { top: 8, right: 24 } },
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
  makeMarkerRoom(chart);
  return chart;
}

/** What a point says, line by line. */
function readings(plot, point) {
  const y = point.u > 0 ? readOffWithUncertainty(plot.y, point.y, point.u) : readOff(plot.y, point.y);
  const interval = point.bar?.length && !(point.u > 0) ? [`from ${point.bar.map((end) => readOff(plot.y, end)).join(" to ")}`] : [];
  return [`${plot.x.label}: ${readOff(plot.x, point.x)}`, `${plot.y.label}: ${y}`, ...interval];
}
