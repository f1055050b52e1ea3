// The plots of one trace: its samples, fit and baseline; what is drawn over them; what two cursors read off.
"use strict";

const seconds = { label: "Time", unit: "s", si: "s", factor: 1, prefixed: true, logarithmic: true }; // read off with a prefix of its own
const volts = { ...seconds, label: "Voltage", unit: "V", si: "V" };

function axisFor(label, si, values) {
  const size = values.reduce((most, value) => Math.max(most, Math.abs(value ?? 0)), 0);
  const exponent = prefixExponent(size);
  return { label, unit: PREFIXES[exponent] + si, si, factor: 10 ** exponent, prefixed: true, logarithmic: false };
}

const scaled = (values, axis) => values.map((value) => (value === null ? null : value / axis.factor));

function lineOf(label, first, interval, values, x, y, more = {}) {
  const at = { start: first / x.factor, step: interval / x.factor, count: values.length };
  return { label, kind: "line", faint: false, x: at, y: scaled(values, y), ...more };
}

function fileOf(trace, what) {
  return `${what}_record_${trace.record}_channel_${trace.channel + 1}_pulse_${trace.pulse + 1}`;
}

function tracePlot(trace) {
  const stamp = stampOf(trace);
  const last = trace.first + trace.interval * (trace.samples.length - 1);
  const x = axisFor("Time from the trigger", "s", [trace.first, last]);
  const y = axisFor("Voltage", "V", trace.samples);
  const series = [lineOf("Trace", trace.first, trace.interval, trace.samples, x, y)];
  if (trace.fit) series.push(lineOf("Template as fitted", trace.first, trace.interval, unpackedSteps(trace.fit), x, y));
  if (stamp && stamp.baseline !== null) {
    series.push({ label: "Baseline", kind: "line", faint: false, x: [trace.first / x.factor, last / x.factor], y: scaled([stamp.baseline, stamp.baseline], y) });
  }
  if (trace.recorded) {
    series.push(lineOf("As recorded, before the filters", trace.recordedFirst, trace.interval, unpackedSteps(trace.recorded), x, y, { faint: true }));
  }
  const markers = trace.others.map((time) => ({ label: "another pulse", at: time / x.factor, vertical: true }));
  if (stamp && stamp.time !== null) markers.push({ label: readOffWithUncertainty(x, stamp.time / x.factor, stamp.u / x.factor), at: stamp.time / x.factor, vertical: true });
  return { file: fileOf(trace, "trace"), x, y, series, markers, plugins: [windowMarks] };
}

/** Both pulses of a pair, each about its own time and from its baseline to its height. */
function pairPlot(pair) {
  const starts = pair.map((trace) => trace.first - stampOf(trace).time);
  const x = axisFor("Time from the pulse's own time", "s", starts);
  const y = { label: "Share of the height", unit: "", si: "", factor: 1, prefixed: false, logarithmic: false };
  const series = pair.map((trace, i) => {
    const { baseline, level, height } = stampOf(trace);
    const signed = Math.abs(height) * (level === null || level >= baseline ? 1 : -1);
    const shares = trace.samples.map((value) => (value === null ? null : (value - baseline) / signed));
    return lineOf(browsed.channels[trace.channel], starts[i], trace.interval, shares, x, y);
  });
  return { file: fileOf(pair[0], "pair"), x, y, series, markers: [{ label: "the pulse's time", at: 0, vertical: true }] };
}

function residualPlot(trace, x) {
  const fit = trace.fit ? unpackedSteps(trace.fit) : [];
  const left = fit.map((value, i) => (value === null || trace.samples[i] === null ? null : trace.samples[i] - value));
  const y = axisFor("Trace less fit", "V", left);
  const noise = stampOf(trace)?.noise ?? null;
  const markers = noise > 0 ? [1, -1].map((sign) => ({ label: "", at: (sign * noise) / y.factor, vertical: false })) : [];
  return { file: fileOf(trace, "residual"), x, y, series: [lineOf("Residual", trace.first, trace.interval, left, x, y)], markers };
}

/** The trace's voltage at a time, straight between its samples; null outside. */
function voltsAt(trace, time) {
  const at = (time - trace.first) / trace.interval;
  const before = Math.min(Math.floor(at), trace.samples.length - 2);
  if (at < 0 || at > trace.samples.length - 1 || trace.samples[before] === null || trace.samples[before + 1] === null) return null;
  return trace.samples[before] + (at - before) * (trace.samples[before + 1] - trace.samples[before]);
}

// Drawn over the trace: its samples where there is room for them, the time's uncertainty, the crossing, the cursors.
const windowMarks = {
  id: "windowMarks",
  afterDatasetsDraw(chart) {
    const trace = traceOnView();
    const { ctx, chartArea, scales } = chart;
    const { plot } = chart.config.options;
    const pixel = (time, level) => [scales.x.getPixelForValue(time / plot.x.factor), scales.y.getPixelForValue(level / plot.y.factor)];
    ctx.save();
    ctx.beginPath();
    ctx.rect(chartArea.left, chartArea.top, chartArea.width, chartArea.height);
    ctx.clip();
    drawSamples(ctx, chart, trace, pixel);
    const stamp = stampOf(trace);
    if (stamp && stamp.time !== null) {
      const [at] = pixel(stamp.time, 0);
      const [after] = pixel(stamp.time + stamp.u, 0);
      ctx.fillStyle = translucent(colour("series-2"), 0.25);
      ctx.fillRect(at - (after - at), chartArea.top, 2 * (after - at), chartArea.height);
      if (stamp.level !== null) dot(ctx, pixel(stamp.time, stamp.level), 5, colour("series-2"));
    }
    for (const [name, time] of Object.entries(view.cursors)) if (time !== null) drawCursor(ctx, chart, trace, name, time, pixel);
    ctx.restore();
  },
};

function dot(ctx, [x, y], radius, fill) {
  ctx.beginPath();
  ctx.arc(x, y, radius, 0, 2 * Math.PI);
  ctx.fillStyle = fill;
  ctx.fill();
}

function drawSamples(ctx, chart, trace, pixel) {
  const { x } = chart.scales;
  const apart = (trace.interval / chart.config.options.plot.x.factor / (x.max - x.min)) * chart.chartArea.width;
  const roomForDots = 7; // pixels
  if (apart < roomForDots || !chart.isDatasetVisible(0)) return;
  trace.samples.forEach((value, i) => value !== null && dot(ctx, pixel(trace.first + i * trace.interval, value), 2.5, colour("series-1")));
}

function drawCursor(ctx, chart, trace, name, time, pixel) {
  const level = voltsAt(trace, time);
  const [x, y] = pixel(time, level ?? 0);
  ctx.strokeStyle = colour("accent");
  ctx.lineWidth = name === view.cursor ? 2 : 1.25;
  line(ctx, x, chart.chartArea.top, x, chart.chartArea.bottom);
  if (level !== null) dot(ctx, [x, y], 4, colour("accent"));
  ctx.font = `600 ${markerFont()}`;
  ctx.fillStyle = colour("accent");
  ctx.fillText(name.toUpperCase(), name === "a" ? x - 15 : x + 5, chart.chartArea.bottom - 8); // on the outer sides of a pair
}

/** What the cursors say: where they stand, and the difference of the second from the first. */
function measured(trace) {
  const told = Object.entries(view.cursors)
    .filter(([, time]) => time !== null)
    .map(([name, time]) => ({ name: name.toUpperCase(), time, level: voltsAt(trace, time) }));
  const read = (time, level) => `${readOff(seconds, time)}, ${level === null ? "no trace" : readOff(volts, level)}`;
  const words = told.map((one) => `${one.name}: ${read(one.time, one.level)}`);
  if (told.length === 2) {
    const [a, b] = told;
    words.push(`B − A: ${read(b.time - a.time, a.level === null || b.level === null ? null : b.level - a.level)}`);
  }
  return words.join("   ") || "Click or tap the trace to set cursor A, then B.";
}
