// The window onto traces: steps through lists of pulses, shows what was found out about each, measures with two
// cursors. Every number is the program's; here they are drawn.
"use strict";

const ordinal = (number) => ["first", "second", "third"][number] ?? `${number + 1}th`;

function showCursors() {
  const trace = traceOnView();
  if (!trace) return;
  const pair = pairOnView();
  const timeOf = (one) => `${browsed.channels[one.channel]}: ${withUncertainty(seconds, stampOf(one).time, stampOf(one).u)}`;
  part("measured").textContent = pair ? pair.map(timeOf).join("   ") : measured(trace);
  part("measured").classList.toggle("unset", !pair && Object.values(view.cursors).every((time) => time === null));
  for (const name of ["a", "b"]) part(`cursor-${name}`).setAttribute("aria-pressed", String(view.cursor === name));
  charts.get(part("trace")).draw();
}

function setCursor(time) {
  if (pairOnView()) return; // two traces, two clocks: nothing to measure against
  view.cursors[view.cursor] = time;
  view.cursor = view.cursor === "a" ? "b" : "a";
  showCursors();
}

/** Chooses a cursor; one that stands nowhere yet comes to the pulse's time. */
function chooseCursor(name) {
  const trace = traceOnView();
  if (!trace) return;
  view.cursor = name;
  view.cursors[name] ??= stampOf(trace)?.time ?? trace.first + (trace.interval * trace.samples.length) / 2;
  showCursors();
}

function moveCursor(samples) {
  const trace = traceOnView();
  if (!trace || view.cursors[view.cursor] === null) return chooseCursor(view.cursor);
  const last = trace.first + trace.interval * (trace.samples.length - 1);
  view.cursors[view.cursor] = Math.min(last, Math.max(trace.first, view.cursors[view.cursor] + samples * trace.interval));
  showCursors();
}

/** Both plots of the window show the same times, one under the other. */
function align() {
  const both = ["trace", "residual"].map((id) => charts.get(part(id)));
  if (part("residual").hidden || both.includes(undefined)) return;
  const [from, to] = both;
  Object.assign(to.options.scales.x, { min: from.options.scales.x.min, max: from.options.scales.x.max });
  to.update("none");
  const width = Math.max(...both.map((chart) => chart.scales.y.width));
  for (const chart of both) {
    chart.config.options.plot.axisWidth = width;
    chart.update("none");
  }
}

/** Some rise times about the crossing, over the whole height. */
function showEdge(trace) {
  const stamp = stampOf(trace);
  if (!view.edge || !stamp || stamp.time === null) return;
  const { x, y } = plots[Number(part("trace").dataset.plot)];
  const middle = pairOnView() ? 0 : stamp.time;
  const reach = Math.max(2.5 * (stamp.transition ?? 0), 6 * trace.interval);
  const extent = extentOf(plots[Number(part("trace").dataset.plot)]);
  zoom(part("trace"), { x: [(middle - reach) / x.factor, (middle + reach) / x.factor], y: rangeOf({ y, series: [] }, "y", extent.y) });
}

function flagsOf(bits) {
  return browsed.flags.filter(({ bit }) => bits & bit);
}

const withUncertainty = (axis, value, u) => (value === null ? "–" : u > 0 ? readOffWithUncertainty(axis, value, u) : readOff(axis, value));

function showTable(trace) {
  const row = (kind, cells) => element("tr", {}, ...cells.map((text) => element(kind, kind === "th" ? { scope: "col" } : { class: "word" }, text)));
  const rows = trace.stamps.map((stamp) => [
    browsed.methods[stamp.method],
    withUncertainty(seconds, stamp.time, stamp.u),
    readOff(volts, stamp.height),
    stamp.transition === null ? "–" : readOff(seconds, stamp.transition),
    stamp.goodness === null ? "–" : stamp.goodness.toFixed(2),
    flagsOf(stamp.flags).map((flag) => flag.name).join(", ") || "none",
  ]);
  const head = ["Method", "Time", "Height", "10 % to 90 %", "χ² over d.o.f.", "Flags"];
  part("pulse").replaceChildren(element("thead", {}, row("th", head)), element("tbody", {}, ...rows.map((cells) => row("td", cells))));
  const bits = trace.stamps.reduce((all, stamp) => all | stamp.flags, 0);
  part("flag-words").replaceChildren(...flagsOf(bits).map((flag) => element("li", {}, `${flag.name}: ${flag.sentence}`)));
}

/** Shows the trace on view in all parts of the window. */
function show() {
  const trace = traceOnView();
  part("position").textContent = trace ? `${view.at + 1} of ${view.traces.length}` : "none";
  for (const id of ["previous", "next"]) part(id).disabled = view.traces.length < 2;
  if (!trace) return;
  const pair = pairOnView();
  const channels = (pair ?? [trace]).map((one) => browsed.channels[one.channel]).join(" and ");
  const words = `Record ${trace.record}, ${channels}, ${ordinal(trace.pulse)} pulse`;
  part("trace").querySelector("h3").textContent = words;
  part("trace").querySelector(".told").textContent = words;
  const plot = pair ? pairPlot(pair) : tracePlot(trace);
  plots[Number(part("trace").dataset.plot)] = plot;
  plots[Number(part("residual").dataset.plot)] = residualPlot(trace, plot.x);
  part("residual").hidden = !trace.fit || Boolean(pair);
  for (const id of ["cursor-a", "cursor-b"]) part(id).hidden = Boolean(pair);
  part("both").disabled = !partnerOf(trace);
  part("both").title = part("both").disabled ? "The other pulse of this trigger is not on this page" : "";
  draw(part("trace"));
  draw(part("residual"));
  showTable(trace);
  showCursors();
  for (const figure of pickable.keys()) charts.get(figure).draw();
}

function step(by) {
  if (view.traces.length === 0) return;
  view.at = (view.at + by + view.traces.length) % view.traces.length;
  show();
}

/** Takes up the list that is chosen. */
function takeGroup() {
  const choice = part("group").value;
  const group = choice === "picked" ? view.picked : browsed.groups[Number(choice)];
  if (choice !== "picked") view.picked = null;
  part("rule").textContent = group.rule;
  view.traces = group.traces;
  view.at = 0;
  show();
}

function nextGroup(by) {
  const select = part("group");
  const count = browsed.groups.length;
  const now = select.value === "picked" ? 0 : Number(select.value);
  select.value = String((now + by + count) % count);
  takeGroup();
}

function toggleEdge() {
  view.edge = !view.edge;
  part("edge").setAttribute("aria-pressed", String(view.edge));
  zoom(part("trace"), null);
  showEdge(traceOnView());
}

/** Lays the other pulse of the trigger over this one, where it is on the page. */
function toggleBoth() {
  view.both = !view.both;
  part("both").setAttribute("aria-pressed", String(view.both));
  show();
}

const keys = {
  ArrowRight: () => step(1),
  ArrowLeft: () => step(-1),
  ArrowDown: () => nextGroup(1),
  ArrowUp: () => nextGroup(-1),
  e: toggleEdge,
  p: toggleBoth,
  a: () => chooseCursor("a"),
  b: () => chooseCursor("b"),
  ",": () => moveCursor(-1),
  ".": () => moveCursor(1),
  "<": () => moveCursor(-10),
  ">": () => moveCursor(10),
  "+": () => zoomBy(part("trace"), 0.5),
  "=": () => zoomBy(part("trace"), 0.5),
  "-": () => zoomBy(part("trace"), 2),
  0: () => zoom(part("trace"), null),
  Escape: () => zoom(part("trace"), null),
};

function setUpWindow() {
  for (const id of ["trace", "residual"]) {
    part(id).dataset.plot = String(plots.push(null) - 1);
    setUp(part(id));
  }
  hintForFingers(part("trace"), "A tap sets a cursor.");
  part("trace").addEventListener("zoomed", align);
  part("residual").addEventListener("drawn", () => {
    align();
    if (traceOnView()) showEdge(traceOnView());
  });
  part("previous").addEventListener("click", () => step(-1));
  part("next").addEventListener("click", () => step(1));
  part("group").addEventListener("change", takeGroup);
  part("method").addEventListener("change", show);
  part("edge").addEventListener("click", toggleEdge);
  part("both").addEventListener("click", toggleBoth);
  for (const name of ["a", "b"]) part(`cursor-${name}`).addEventListener("click", () => chooseCursor(name));
  onClick(part("trace").querySelector("canvas"), (left) => {
    const chart = charts.get(part("trace"));
    setCursor(chart.scales.x.getValueForPixel(left) * chart.config.options.plot.x.factor);
  });
  part("window").addEventListener("keydown", (event) => {
    if (event.target.tagName === "SELECT" || event.ctrlKey || event.altKey || event.metaKey) return;
    const act = keys[event.key];
    if (!act) return;
    act();
    event.preventDefault();
  });
  takeGroup();
  [...pickable.keys()].forEach(setUpPicking);
  document.documentElement.dataset.ready = String(charts.size);
}

setUpWindow();
