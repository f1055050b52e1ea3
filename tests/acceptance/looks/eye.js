// What an eye would see wrong on a page: looked() gives the faults in words, none for a page as it should be.
// Contrasts and sizes: Web Content Accessibility Guidelines 2.2, https://www.w3.org/TR/WCAG22/, criteria 1.4.3, 1.4.11
// and 2.5.8.
"use strict";

const LEAST_TEXT_CONTRAST = 4.5; // 1.4.3; the allowance for large text is not used
const LEAST_GRAPHICS_CONTRAST = 3; // 1.4.11
const LEAST_TARGET = 24; // CSS pixels, 2.5.8
const TOUCHING = 1.5; // pixels that boxes of letters may share: they hold a rim of nothing

function looked({ print = false } = {}) {
  const faults = new Set();
  const wide = print ? Math.round((182 / 25.4) * 96) : document.documentElement.clientWidth; // A4 less its margins
  const short = (text) => `“${text.trim().replace(/\s+/g, " ").slice(0, 40)}”`;

  // Colours as the browser paints them.
  const pen = new OffscreenCanvas(1, 1).getContext("2d", { willReadFrequently: true });
  const rgba = (colour) => {
    pen.clearRect(0, 0, 1, 1);
    pen.fillStyle = colour;
    pen.fillRect(0, 0, 1, 1);
    return [...pen.getImageData(0, 0, 1, 1).data];
  };
  const over = ([r, g, b, a], ground) => [r, g, b].map((value, i) => (value * a + ground[i] * (255 - a)) / 255);
  const luminance = (rgb) => {
    const [r, g, b] = rgb.map((value) => (value / 255 <= 0.04045 ? value / 255 / 12.92 : ((value / 255 + 0.055) / 1.055) ** 2.4));
    return 0.2126 * r + 0.7152 * g + 0.0722 * b;
  };
  const contrast = (one, other) => {
    const [low, high] = [luminance(one), luminance(other)].sort((a, b) => a - b);
    return (high + 0.05) / (low + 0.05);
  };
  const ground = (element) => {
    if (!element) return [255, 255, 255];
    const own = rgba(getComputedStyle(element).backgroundColor);
    return own[3] === 0 ? ground(element.parentElement) : over(own, own[3] < 255 ? ground(element.parentElement) : [0, 0, 0]);
  };

  const hidden = (element) => element.closest(".told, [hidden], script, style, noscript, option, canvas, i[data-fill]") || !element.checkVisibility() || element.getClientRects().length === 0;
  const visible = (selector) => [...document.querySelectorAll(selector)].filter((element) => !hidden(element));
  const charts = [...document.querySelectorAll("canvas")].filter((canvas) => canvas.checkVisibility());

  // Where letters stand: those of elements, a box a line, as far as they can be seen in what scrolls; and those of canvases.
  const texts = [];
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const node = walker.currentNode;
    const element = node.parentElement;
    if (!node.data.trim() || hidden(element)) continue;
    const range = document.createRange();
    range.selectNodeContents(node);
    const window_ = print ? null : element.closest(".scroll, pre");
    const seen = window_?.getBoundingClientRect();
    const size = parseFloat(getComputedStyle(element).fontSize);
    for (const box of range.getClientRects()) {
      const middle = (box.top + box.bottom) / 2; // of a line: letters reach some 0.4 of their size to either side
      let [left, right, top, bottom] = [box.left, box.right, middle - 0.4 * size, middle + 0.4 * size];
      if (seen) [left, right, top, bottom] = [Math.max(left, seen.left), Math.min(right, seen.right), Math.max(top, seen.top), Math.min(bottom, seen.bottom)];
      if (right - left > 0.5 && bottom - top > 0.5) texts.push({ text: node.data, element, left, right, top, bottom });
    }
  }
  for (const canvas of charts) {
    const place = canvas.getBoundingClientRect();
    const panel = ground(canvas);
    for (const one of drawnTexts(canvas)) {
      if (one.left < -1 || one.top < -1 || one.right > canvas.clientWidth + 1 || one.bottom > canvas.clientHeight + 1) faults.add(`cut off: ${short(one.text)} on a plot`);
      if (contrast(over(rgba(one.colour), panel), panel) < LEAST_TEXT_CONTRAST) faults.add(`pale text: ${short(one.text)} on a plot`);
      texts.push({ text: one.text, left: one.left + place.left, right: one.right + place.left, top: one.top + place.top, bottom: one.bottom + place.top, drawn: true });
    }
  }

  function offThePage() {
    const whole = document.documentElement.scrollWidth;
    if (!print && whole > wide) faults.add(`page too wide: ${whole} in ${wide}`);
    const edge = print ? document.querySelector("main").getBoundingClientRect().left : 0;
    for (const element of visible("body *:not(thead, tbody, tr)")) {
      const { left, right, width } = element.getBoundingClientRect();
      const scrolled = !print && element.parentElement.closest(".scroll, pre");
      if (!scrolled && !element.closest("i[data-fill]") && width > 0 && (left < edge - 1 || right > edge + wide + 1)) faults.add(`off the page: ${element.tagName} ${short(element.textContent)}`);
    }
  }

  function overOneAnother() {
    const sorted = texts.toSorted((a, b) => a.top - b.top);
    sorted.forEach((one, i) => {
      for (let j = i + 1; j < sorted.length && sorted[j].top < one.bottom; j++) {
        const other = sorted[j];
        const across = Math.min(one.right, other.right) - Math.max(one.left, other.left);
        const up = Math.min(one.bottom, other.bottom) - other.top;
        const head = (text) => !print && text.element?.closest("thead"); // stays while the rows scroll under it
        if (across > TOUCHING && up > TOUCHING && Boolean(head(one)) === Boolean(head(other))) faults.add(`over one another: ${short(one.text)} and ${short(other.text)}`);
      }
    });
  }

  function cutOff() {
    for (const element of visible("body *")) {
      const { overflowX, overflowY } = getComputedStyle(element);
      const lost = (overflow, inner, outer) => ["hidden", "clip"].includes(overflow) && inner > outer + 1;
      if (lost(overflowX, element.scrollWidth, element.clientWidth) || lost(overflowY, element.scrollHeight, element.clientHeight)) faults.add(`cut off: ${short(element.textContent)}`);
    }
    for (const select of visible("select")) {
      const style = getComputedStyle(select);
      pen.font = style.font;
      const room = select.clientWidth - parseFloat(style.paddingLeft) - parseFloat(style.paddingRight);
      const words = select.selectedOptions[0]?.textContent ?? "";
      if (pen.measureText(words).width > room) faults.add(`cut off: ${short(words)} in a list`);
    }
  }

  function pale() {
    for (const { element, text } of texts) {
      if (!element || element.closest(":disabled")) continue;
      const panel = ground(element);
      if (contrast(over(rgba(getComputedStyle(element).color), panel), panel) < LEAST_TEXT_CONTRAST) faults.add(`pale text: ${short(text)}`);
    }
    for (const canvas of charts) {
      const panel = ground(canvas);
      const { data, options } = Chart.getChart(canvas);
      const lines = data.datasets.filter((set) => !set.group.faint).map((set) => [set.label, set.borderColor]);
      lines.push(...Object.entries(options.scales).map(([name, axis]) => [`axis ${name}`, axis.border.color]), ["marker", getComputedStyle(document.documentElement).getPropertyValue("--marker")]);
      for (const [name, colour] of lines) if (contrast(over(rgba(colour), panel), panel) < LEAST_GRAPHICS_CONTRAST) faults.add(`pale line: ${name}`);
    }
    for (const swatch of visible(".series svg [stroke]")) {
      const panel = ground(swatch.parentElement);
      if (contrast(over(rgba(swatch.getAttribute("stroke")), panel), panel) < LEAST_GRAPHICS_CONTRAST) faults.add(`pale sample of a series: ${short(swatch.closest("button").textContent)}`);
    }
  }

  // Pixels of a plot that are neither its ground nor its grid.
  function inked(canvas) {
    const { left, right, top, bottom } = Chart.getChart(canvas).chartArea;
    const scale = canvas.width / canvas.clientWidth;
    const [x, y, width, height] = [left + 2, top + 2, right - left - 4, bottom - top - 4].map((value) => Math.round(value * scale));
    if (width < 1 || height < 1) return 0;
    const { data } = canvas.getContext("2d").getImageData(x, y, width, height);
    const quiet = ["panel", "grid", "grid-minor"].map((name) => rgba(getComputedStyle(document.documentElement).getPropertyValue(`--${name}`)));
    let count = 0;
    for (let at = 0; at < data.length; at += 4) {
      const alike = (colour) => colour.slice(0, 3).every((value, i) => Math.abs(value - data[at + i]) < 12);
      if (data[at + 3] > 40 && !quiet.some(alike)) count++;
    }
    return count;
  }

  function emptyPlots() {
    for (const canvas of charts) {
      const figure = canvas.closest("figure");
      const title = short(figure.querySelector("h3").textContent);
      const { chartArea, data, scales } = Chart.getChart(canvas);
      if (chartArea.width < 200 || chartArea.height < 80) faults.add(`no room in the plot ${title}`);
      const marks = data.datasets.flatMap((set) => set.data).filter(({ x, y }) => x >= scales.x.min && x <= scales.x.max && y >= scales.y.min && y <= scales.y.max);
      if (marks.length === 0 || inked(canvas) < 30) faults.add(`empty plot: ${title}`);
      if (figure.querySelector("figcaption").textContent.trim().length < 40) faults.add(`no caption that says what to look for: ${title}`);
      if (!figure.querySelector("button.csv")) faults.add(`no points as CSV: ${title}`);
      for (const axis of Object.values(scales)) if (!axis.options.title.text) faults.add(`no name of an axis: ${title}`);
    }
  }

  // A name on a plot that hides more than a few of its points.
  function namesOverPoints() {
    for (const canvas of charts) {
      const chart = Chart.getChart(canvas);
      const { scales, chartArea, data } = chart;
      const points = data.datasets.filter((set, i) => set.showLine === false && !set.group.faint && chart.isDatasetVisible(i)).flatMap((set) => set.data);
      const places = points.map(({ x, y }) => [scales.x.getPixelForValue(x), scales.y.getPixelForValue(y)]);
      for (const one of drawnTexts(canvas)) {
        if (one.left < chartArea.left || one.bottom > chartArea.bottom || one.top < chartArea.top) continue;
        const under = places.filter(([x, y]) => x > one.left && x < one.right && y > one.top && y < one.bottom).length;
        if (under > 0.03 * places.length) faults.add(`over points: ${short(one.text)} hides ${under}`);
      }
    }
  }

  function smallTargets() {
    for (const target of visible("button, select, input, summary, a")) {
      const { width, height } = target.getBoundingClientRect();
      if (Math.min(width, height) < LEAST_TARGET - 0.01) faults.add(`small target: ${short(target.textContent)} ${width.toFixed(0)} x ${height.toFixed(0)}`);
    }
  }

  offThePage();
  overOneAnother();
  cutOff();
  pale();
  emptyPlots();
  namesOverPoints();
  if (!print) smallTargets();
  return [...faults];
}
