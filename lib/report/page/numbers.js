// Numbers of the plots: unpacked from the page's data, written for people, and given back as CSV.
"use strict";

const MINUS = "\u2212";
const PREFIXES = { "-18": "a", "-15": "f", "-12": "p", "-9": "n", "-6": "µ", "-3": "m", 0: "", 3: "k", 6: "M", 9: "G", 12: "T" };

/** A list of numbers as packed by the program: a list, or {start, step, count} for evenly spaced ones. */
function unpacked(packed) {
  if (Array.isArray(packed)) return packed;
  return Array.from({ length: packed.count }, (_, i) => packed.start + i * packed.step);
}

/** A whole number raised: -15 -> "⁻¹⁵". */
function raised(exponent) {
  return String(exponent).replace(/[-0-9]/g, (c) => (c === "-" ? "⁻" : "⁰¹²³⁴⁵⁶⁷⁸⁹"[c]));
}

function withMinus(text) {
  return text.replace("-", MINUS);
}

/** A number to so many digits, without zeros at its end, with a power of ten where it is far from one. */
function written(value, digits = 5) {
  if (value === null || !Number.isFinite(value)) return "–";
  const size = Math.abs(value);
  if (size !== 0 && (size < 1e-4 || size >= 1e7)) {
    const [mantissa, exponent] = value.toExponential(digits - 1).split("e");
    return `${withMinus(String(Number(mantissa)))} × 10${raised(Number(exponent))}`;
  }
  return withMinus(String(Number(value.toPrecision(Math.max(digits, size >= 1 ? Math.floor(Math.log10(size)) + 1 : 1)))));
}

/** The power of ten of the prefix that an SI number of this size takes. */
function prefixExponent(value) {
  const exponent = value === 0 ? 0 : 3 * Math.floor(Math.log10(Math.abs(value) * (1 + 1e-12)) / 3);
  const lowest = Math.abs(value) < 1e-17 ? -18 : -15; // 0.9 fs is read more easily than 900 as
  return Math.min(12, Math.max(lowest, exponent));
}

/** An SI number with the prefix for its size: 2.5e5, "Hz" -> "250 kHz". */
function withPrefix(value, unit, digits = 4) {
  const exponent = prefixExponent(value);
  return `${written(value / 10 ** exponent, digits)} ${PREFIXES[exponent]}${unit}`;
}

/** The digits that tell the values between two apart, and no fewer than five. */
function digitsFor(low, high) {
  const parts = Math.max(Math.abs(low), Math.abs(high)) / (high - low);
  return Math.min(15, Math.max(5, Number.isFinite(parts) ? 3 + Math.ceil(Math.log10(parts)) : 5));
}

/**
 * Where a linear axis counts from, in its units, and in what steps, if its ticks would have too many digits to be read:
 * {from, size and unit of a step}.
 */
function originOf(axis, { min, max }) {
  const span = max - min;
  if (axis.logarithmic || !(span > 0)) return null;
  const far = Math.max(Math.abs(min), Math.abs(max)) > 2e5 * span; // ticks of more than six digits or so
  const small = span < 1e-3; // of the unit
  if (!far && !small) return null;
  const decade = 10 ** (Math.floor(Math.log10(span)) + 1);
  const power = 3 * Math.floor(Math.log10(span * axis.factor * (1 + 1e-12)) / 3);
  const named = axis.prefixed && power in PREFIXES;
  const unit = named ? PREFIXES[power] + axis.si : [power ? `10${raised(power)}` : "", axis.si].filter(Boolean).join(" ");
  return { from: far ? Math.floor(min / decade) * decade : 0, size: 10 ** power / axis.factor, unit };
}

/** The ticks of a linear axis: as many decimals as their distance needs. */
function linearTick(at, index, ticks, origin) {
  const value = origin ? (at - origin.from) / origin.size : at;
  if (Math.abs(value) >= 1e9) return written(value, 3);
  const step = ticks.length > 1 ? Math.abs(ticks[1].value - ticks[0].value) / (origin?.size ?? 1) : Math.abs(value) || 1;
  const decimals = Math.max(0, Math.ceil(-Math.log10(step) - 1e-9));
  return withMinus((Math.abs(value) < step * 1e-9 ? 0 : value).toFixed(Math.min(decimals, 12)));
}

/** The only digit of a number, the 3 of 3e-9; 0 where it has more. */
function onlyDigit(value) {
  const mantissa = value / 10 ** Math.floor(Math.log10(value) + 1e-9);
  const digit = Math.round(mantissa);
  return Math.abs(mantissa - digit) < 1e-6 ? digit : 0;
}

/** Whether a logarithmic axis has too few powers of ten to be read by them. */
function isNarrow({ min, max }) {
  return max < 12 * min;
}

/** Some five even ticks in a range, as Chart.js takes them. */
function evenTicks({ min, max }) {
  const rough = (max - min) / 5;
  const decade = 10 ** Math.floor(Math.log10(rough));
  const step = decade * [1, 2, 5, 10].find((times) => times * decade >= rough);
  const ticks = [];
  for (let n = Math.ceil(min / step); n * step <= max; n++) ticks.push({ value: n * step });
  return ticks;
}

/** The ticks of a logarithmic axis: the powers of ten, and 2 and 5 where there are few of those. */
function logarithmicTick(axis, value, ticks, length, room) {
  if (isNarrow({ min: ticks[0].value, max: ticks[ticks.length - 1].value })) return axis.prefixed ? withPrefix(value, axis.si) : written(value, 4);
  const decades = Math.log10(ticks[ticks.length - 1].value / ticks[0].value);
  const digit = onlyDigit(value);
  const told = (Math.log10(2) * length) / decades > room ? [1, 2, 5] : (Math.log10(3) * length) / decades > room ? [1, 3] : [1];
  if (!told.includes(digit)) return "";
  if (axis.prefixed) return withPrefix(value, axis.si);
  const exponent = Math.floor(Math.log10(value) + 1e-9);
  if (exponent >= -2 && exponent <= 4) return written(value);
  return digit === 1 ? `10${raised(exponent)}` : `${digit} × 10${raised(exponent)}`;
}

/** The title of an axis for a range: its label, where it counts from, and its unit where the ticks do not carry it. */
function axisTitle(axis, range) {
  const origin = originOf(axis, range);
  if (origin) {
    const from = `${written(origin.from, 15)}${axis.unit.startsWith("10") ? " ×" : ""} ${axis.unit}`.trim();
    return `${axis.label}${origin.from ? `, counted from ${from}` : ""}${origin.unit ? ` (${origin.unit})` : ""}`;
  }
  const unit = axis.logarithmic && axis.prefixed ? "" : axis.unit;
  return unit ? `${axis.label} (${unit})` : axis.label;
}

/** A value of an axis with its unit, for reading off. */
function readOff(axis, value) {
  if (axis.prefixed && axis.logarithmic) return withPrefix(value, axis.si, 5);
  return axis.unit ? `${written(value, axis.digits)} ${axis.unit}` : written(value, axis.digits);
}

/** A value with its standard uncertainty to two digits, the value to the same place: "(91.1 ± 4.6) ps". */
function readOffWithUncertainty(axis, value, uncertainty) {
  const own = axis.prefixed && axis.logarithmic;
  let exponent = own ? prefixExponent(Math.max(Math.abs(value), uncertainty)) : 0;
  const size = Math.max(Math.abs(value), uncertainty);
  const power = !own && (size < 1e-3 || size >= 1e6);
  if (power) exponent = Math.floor(Math.log10(size));
  const decimals = Math.min(12, Math.max(0, 1 - Math.floor(Math.log10(uncertainty / 10 ** exponent))));
  const fixed = (number) => withMinus((number / 10 ** exponent).toFixed(decimals));
  const unit = own ? PREFIXES[exponent] + axis.si : axis.unit;
  return `(${fixed(value)} ± ${fixed(uncertainty)})${power ? ` × 10${raised(exponent)}` : ""}${unit ? ` ${unit}` : ""}`;
}

/** A text as a field of a CSV file. A name that a spreadsheet would take for a formula is made a text. */
function csvField(text) {
  const safe = /^[=+\-@\t\r]/.test(text) ? `'${text}` : text;
  return /[",\r\n]/.test(safe) ? `"${safe.replace(/"/g, '""')}"` : safe;
}

/** All points of a plot as CSV (RFC 4180), one point a line, in SI units. */
function csvOf(plot) {
  const head = (name, axis) => csvField(`${name}: ${axis.label}${axis.si ? ` (${axis.si})` : ""}`);
  const si = (value, axis) => (value === null || value === undefined ? "" : String(Number((value * axis.factor).toPrecision(15))));
  const names = ["x", "y", "standard uncertainty of y"];
  const withIntervals = plot.series.some((series) => series.low);
  if (withIntervals) names.push("interval from", "interval to");
  const lines = [["series", ...names.map((name) => head(name, name === "x" ? plot.x : plot.y))].join(",")];
  for (const series of plot.series) {
    const x = unpacked(series.x);
    series.y.forEach((y, i) => {
      const ends = withIntervals ? [si(series.low?.[i], plot.y), si(series.high?.[i], plot.y)] : [];
      lines.push([csvField(series.label), si(x[i], plot.x), si(y, plot.y), si(series.u?.[i], plot.y), ...ends].join(","));
    });
  }
  return lines.join("\r\n") + "\r\n";
}
