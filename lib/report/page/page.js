// What the page does: puts the plots in their places, lists their series, reads points off, zooms, gives data away.
"use strict";

const plots = JSON.parse(document.getElementById("plots").textContent);
const charts = new Map();

function element(name, attributes, ...content) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  made.append(...content);
  return made;
}

function svgElement(name, attributes) {
  const made = document.createElementNS("http://www.w3.org/2000/svg", name);
  for (const [key, value] of Object.entries(attributes)) made.setAttribute(key, value);
  return made;
}

/** The sample of a series in the list: its line, its bar or its point. */
function swatch(group) {
  const style = styleOf(group);
  const svg = svgElement("svg", { width: 30, height: 14, viewBox: "0 0 30 14", "aria-hidden": "true" });
  const stroke = { stroke: style.colour, "stroke-width": group.faint ? 1 : 2, fill: "none" };
  if (group.kind === "bars") {
    svg.append(svgElement("rect", { ...stroke, x: 2, y: 2, width: 26, height: 10, fill: style.colour, "fill-opacity": 0.16, "stroke-width": 1.5 }));
  } else if (group.kind === "points") {
    const shapes = {
      circle: "M15 3a4 4 0 1 0 .01 0z",
      triangle: "M15 2.5l4.5 8h-9z",
      rect: "M11.5 3.5h7v7h-7z",
      rectRot: "M15 2.5l4.5 4.5l-4.5 4.5l-4.5-4.5z",
      crossRot: "M11.5 3.5l7 7m0-7l-7 7",
      star: "M15 2.5v9M10.5 7h9M11.8 3.8l6.4 6.4M18.2 3.8l-6.4 6.4",
    };
    svg.append(svgElement("path", { ...stroke, d: shapes[style.shape], fill: style.colour, "stroke-width": 1.5 }));
  } else {
    const path = group.kind === "steps" ? "M1 10h9v-6h10v6h9" : "M1 7h28";
    svg.append(svgElement("path", { ...stroke, d: path, "stroke-dasharray": style.dash.join(" ") }));
  }
  return svg;
}

/** The list of the series: each a button that hides and shows it. */
function legendOf(chart, groups) {
  return groups.map((group) => {
    const count = group.faint && group.members.length > 1 ? ` (${group.members.length})` : "";
    const button = element("button", { type: "button", class: "series", "aria-pressed": "true" }, swatch(group), group.label + count);
    button.addEventListener("click", () => {
      const shown = button.getAttribute("aria-pressed") !== "true";
      button.setAttribute("aria-pressed", String(shown));
      for (const index of group.members) chart().setDatasetVisibility(index, shown);
      chart().update("none");
    });
    return button;
  });
}

/** Gives a text to the person as a file. */
function giveAway(name, text) {
  const link = element("a", { href: URL.createObjectURL(new Blob([text], { type: "text/csv" })), download: name });
  link.click();
  setTimeout(() => URL.revokeObjectURL(link.href), 1000);
}

/** Shows this range of both axes; without ranges the whole plot. */
function zoom(figure, ranges) {
  const chart = charts.get(figure);
  const extent = extentOf(chart.config.options.plot);
  for (const axis of ["x", "y"]) {
    const [min, max] = ranges?.[axis] ?? rangeOf(chart.config.options.plot, axis, extent[axis]);
    Object.assign(chart.options.scales[axis], { min, max });
  }
  chart.update("none");
  figure.querySelector(".whole").hidden = !ranges;
  figure.dispatchEvent(new CustomEvent("zoomed"));
}

/** The range between two pixels of a scale, in rising order. */
function between(scale, from, to) {
  return [scale.getValueForPixel(from), scale.getValueForPixel(to)].sort((a, b) => a - b);
}

/** Dragging a mouse or pen over a plot zooms into what was dragged over; a finger scrolls the page as ever. */
function zoomByDragging(figure, canvas) {
  const frame = figure.querySelector(".frame");
  const box = element("div", { class: "zoom-box", hidden: "" });
  frame.append(box);
  let start = null;
  const place = (event) => {
    const { left, top } = canvas.getBoundingClientRect();
    const { chartArea } = charts.get(figure);
    return {
      x: Math.min(chartArea.right, Math.max(chartArea.left, event.clientX - left)),
      y: Math.min(chartArea.bottom, Math.max(chartArea.top, event.clientY - top)),
    };
  };
  canvas.addEventListener("pointerdown", (event) => {
    if (event.pointerType === "touch" || event.button !== 0) return;
    start = place(event);
    canvas.setPointerCapture(event.pointerId);
  });
  canvas.addEventListener("pointermove", (event) => {
    if (!start) return;
    const end = place(event);
    box.hidden = false;
    box.style.left = `${Math.min(start.x, end.x)}px`;
    box.style.top = `${Math.min(start.y, end.y)}px`;
    box.style.width = `${Math.abs(end.x - start.x)}px`;
    box.style.height = `${Math.abs(end.y - start.y)}px`;
  });
  canvas.addEventListener("pointerup", (event) => {
    if (!start) return;
    const end = place(event);
    const { scales } = charts.get(figure);
    const enough = 8;
    if (Math.abs(end.x - start.x) > enough && Math.abs(end.y - start.y) > enough) {
      zoom(figure, { x: between(scales.x, start.x, end.x), y: between(scales.y, start.y, end.y) });
    }
    start = null;
    box.hidden = true;
  });
  canvas.addEventListener("dblclick", () => zoom(figure, null));
}

/** Half or twice the range shown, about its middle. */
function zoomBy(figure, share) {
  const { scales, chartArea } = charts.get(figure);
  const part = (scale, low, high) => {
    const middle = (low + high) / 2;
    const half = ((high - low) / 2) * share;
    return between(scale, middle - half, middle + half);
  };
  zoom(figure, { x: part(scales.x, chartArea.left, chartArea.right), y: part(scales.y, chartArea.top, chartArea.bottom) });
}

/** With the plot in focus: arrows go from point to point and read them off, + - 0 zoom. */
function readByKeys(figure, canvas) {
  const told = figure.querySelector(".told");
  const at = { series: 0, point: -1 };
  const readable = (chart) => chart.data.datasets.map((set, index) => ({ set, index })).filter(({ set, index }) => !set.group.faint && chart.isDatasetVisible(index));
  const show = (chart, sets) => {
    const { index } = sets[at.series];
    const points = chart.data.datasets[index].data;
    const inside = points.map((point, i) => ({ point, i })).filter(({ point }) => point.at !== undefined && point.x >= chart.scales.x.min && point.x <= chart.scales.x.max);
    if (!inside.length) return;
    at.point = Math.max(0, Math.min(at.point, inside.length - 1));
    const { point, i } = inside[at.point];
    const active = [{ datasetIndex: index, index: i }];
    chart.setActiveElements(active);
    chart.tooltip.setActiveElements(active, { x: 0, y: 0 });
    chart.update("none");
    told.textContent = [sets[at.series].set.label, ...readings(chart.config.options.plot, point)].join(", ");
  };
  canvas.addEventListener("keydown", (event) => {
    const chart = charts.get(figure);
    const sets = readable(chart);
    const steps = { ArrowRight: 1, ArrowLeft: -1, PageDown: 10, PageUp: -10 };
    if (event.key in steps && sets.length) {
      at.point += steps[event.key];
      at.series = Math.min(at.series, sets.length - 1);
      show(chart, sets);
    } else if ((event.key === "ArrowDown" || event.key === "ArrowUp") && sets.length) {
      at.series = (at.series + (event.key === "ArrowDown" ? 1 : sets.length - 1)) % sets.length;
      show(chart, sets);
    } else if (event.key === "+" || event.key === "=") {
      zoomBy(figure, 0.5);
    } else if (event.key === "-") {
      zoomBy(figure, 2);
    } else if (event.key === "0" || event.key === "Escape") {
      zoom(figure, null);
    } else {
      return;
    }
    event.preventDefault();
  });
}

function draw(figure) {
  const plot = plots[Number(figure.dataset.plot)];
  const groups = groupsOf(plot);
  charts.get(figure)?.destroy();
  charts.set(figure, drawn(figure.querySelector("canvas"), plot, groups));
  const legend = figure.querySelector(".legend");
  const drawnGroups = groups.filter(({ members }) => members.some((index) => plot.series[index].y.some((y) => y !== null)));
  legend.replaceChildren(...(groups.length > 1 ? legendOf(() => charts.get(figure), drawnGroups) : []));
  figure.querySelector(".whole").hidden = true;
  figure.dispatchEvent(new CustomEvent("drawn"));
}

/** What every plot does, but for its keys. */
function setUp(figure) {
  figure.querySelector(".csv").addEventListener("click", () => {
    const plot = plots[Number(figure.dataset.plot)];
    giveAway(`${plot.file}.csv`, csvOf(plot));
  });
  figure.querySelector(".whole").addEventListener("click", () => zoom(figure, null));
  zoomByDragging(figure, figure.querySelector("canvas"));
  zoomByFingers(figure, figure.querySelector("canvas"));
}

function setTheme(theme) {
  document.documentElement.dataset.theme = theme;
  document.getElementById("theme").textContent = theme === "dark" ? "Light page" : "Dark page";
  document.querySelectorAll("figure[data-plot]").forEach(draw);
}

Chart.defaults.font.family = getComputedStyle(document.body).fontFamily;
Chart.defaults.font.size = 13;
document.querySelectorAll("figure[data-plot]").forEach((figure) => {
  setUp(figure);
  hintForFingers(figure, "A tap reads a point off.");
  readByKeys(figure, figure.querySelector("canvas"));
});
setTheme(document.documentElement.dataset.theme);
document.getElementById("theme").addEventListener("click", () => setTheme(document.documentElement.dataset.theme === "dark" ? "light" : "dark"));
document.getElementById("theme").hidden = false;

// Paper is white: print in light colours and at the width of the paper.
let themeOnScreen = null;
let closedOnScreen = [];

/** Sets a table smaller that is wider than the paper. */
function fitToPaper(table) {
  const share = document.querySelector("main").clientWidth / table.scrollWidth;
  if (share < 1) table.style.fontSize = `${0.98 * share * parseFloat(getComputedStyle(table).fontSize)}px`;
}

addEventListener("beforeprint", () => {
  themeOnScreen = document.documentElement.dataset.theme;
  document.documentElement.dataset.paper = "";
  closedOnScreen = [...document.querySelectorAll("details:not([open])")];
  closedOnScreen.forEach((details) => (details.open = true));
  document.querySelectorAll("table").forEach(fitToPaper);
  setTheme("light");
});
addEventListener("afterprint", () => {
  delete document.documentElement.dataset.paper;
  closedOnScreen.forEach((details) => (details.open = false));
  document.querySelectorAll("table").forEach((table) => table.style.removeProperty("font-size"));
  setTheme(themeOnScreen);
});
document.documentElement.dataset.ready = String(charts.size);
