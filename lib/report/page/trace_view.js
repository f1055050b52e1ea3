// What is on view in the window onto traces: the page's traces, the list that is stepped through, the cursors.
"use strict";

const browsed = JSON.parse(document.getElementById("traces").textContent);
const part = (id) => document.getElementById(id);

const view = {
  traces: [], // positions of the list that is stepped through
  at: 0,
  edge: false, // shows the edge, not the whole trace
  both: false, // lays both pulses of the pair over each other
  cursors: { a: null, b: null }, // s
  cursor: "a", // the one that is set next
};

/** Values packed as 16-bit steps. */
function unpackedSteps({ low, step, steps }) {
  const bytes = Uint8Array.from(atob(steps), (letter) => letter.charCodeAt(0));
  return Array.from({ length: bytes.length / 2 }, (_, i) => {
    const n = bytes[2 * i] + 256 * bytes[2 * i + 1];
    return n === 65535 ? null : low + n * step;
  });
}

/** The trace on view, unpacked; nothing for an empty list. */
function traceOnView() {
  const trace = browsed.traces[view.traces[view.at]];
  if (trace && !trace.samples) trace.samples = unpackedSteps(trace.volts);
  return trace;
}

/** The stamp of the method chosen, if it looked at this pulse. */
function stampOf(trace) {
  return trace.stamps.find((stamp) => stamp.method === Number(part("method").value));
}

/** The trace of the other channel that the same trigger started, unpacked, if it is on the page and both have a time. */
function partnerOf(trace) {
  const timed = (one) => Number.isFinite(stampOf(one)?.time) && Number.isFinite(stampOf(one).baseline);
  const other = browsed.traces.find(({ record, channel, pulse }) => record === trace.record && channel !== trace.channel && pulse === trace.pulse);
  if (!other || !timed(other) || !timed(trace)) return null;
  other.samples ??= unpackedSteps(other.volts);
  return other;
}

/** The pair on view, its channels in order; nothing where one trace is shown alone. */
function pairOnView() {
  const trace = view.both ? traceOnView() : null;
  const partner = trace && partnerOf(trace);
  return partner && [trace, partner].sort((a, b) => a.channel - b.channel);
}

/** Calls back where the canvas is clicked and not dragged over. */
function onClick(canvas, call) {
  let pressed = null;
  canvas.addEventListener("pointerdown", ({ clientX, clientY }) => (pressed = { clientX, clientY }));
  canvas.addEventListener("click", (event) => {
    const moved = pressed ? Math.hypot(event.clientX - pressed.clientX, event.clientY - pressed.clientY) : 0;
    const { left, top } = canvas.getBoundingClientRect();
    if (moved < 5) call(event.clientX - left, event.clientY - top);
  });
}
