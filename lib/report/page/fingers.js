// Fingers on a plot: one taps, or scrolls the page as ever; two zoom and shift, what is under them staying under them.
"use strict";

const BY_FINGER = matchMedia("(pointer: coarse)").matches;
const FINGER = 40; // pixels that a finger covers

/** The range of a scale after two fingers went from these pixels to those. Side by side along the axis they shift it only. */
function pulled({ min, max, from, to, logarithmic }, before, now) {
  const apart = (fingers) => Math.abs(fingers[0] - fingers[1]);
  const middle = (fingers) => (fingers[0] + fingers[1]) / 2;
  const factor = apart(before) > FINGER ? Math.max(apart(now), 1) / apart(before) : 1;
  const valueAt = (pixel) => {
    const share = (middle(before) + (pixel - middle(now)) / factor - from) / (to - from);
    return logarithmic ? min * (max / min) ** share : min + (max - min) * share;
  };
  return [valueAt(from), valueAt(to)];
}

function zoomByFingers(figure, canvas) {
  let start = null;
  const fingers = (event) => {
    const { left, top } = canvas.getBoundingClientRect();
    const places = [...event.targetTouches].map(({ clientX, clientY }) => [clientX - left, clientY - top]);
    return { x: places.map(([x]) => x), y: places.map(([, y]) => y) };
  };
  const standing = ({ min, max, type }, from, to) => ({ min, max, from, to, logarithmic: type === "logarithmic" });
  const begin = (event) => {
    start = null;
    if (event.targetTouches.length !== 2) return;
    event.preventDefault();
    const { scales, chartArea } = charts.get(figure);
    const { left, right, bottom, top } = chartArea;
    start = { at: fingers(event), x: standing(scales.x, left, right), y: standing(scales.y, bottom, top) };
  };
  canvas.addEventListener("touchstart", begin, { passive: false });
  canvas.addEventListener(
    "touchmove",
    (event) => {
      if (!start) return;
      event.preventDefault();
      const now = fingers(event);
      zoom(figure, { x: pulled(start.x, start.at.x, now.x), y: pulled(start.y, start.at.y, now.y) });
    },
    { passive: false },
  );
  for (const end of ["touchend", "touchcancel"]) canvas.addEventListener(end, () => (start = null));
}

/** Says what fingers do where it stands what mouse and keys do. */
function hintForFingers(figure, tap) {
  const hint = figure.querySelector(".hint");
  if (BY_FINGER && hint) hint.textContent = `${tap} Two fingers zoom and shift.`;
}
