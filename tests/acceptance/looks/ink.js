// Runs before a page's own scripts: keeps account of the texts that are drawn on its canvases, as an element's text
// can be asked for its place and a canvas's cannot.
"use strict";
{
  const account = new Map(); // canvas -> texts drawn since it was last cleared
  window.drawnTexts = (canvas) => account.get(canvas) ?? [];
  const pen = CanvasRenderingContext2D.prototype;
  const { fillText, clearRect } = pen;
  pen.clearRect = function (x, y, width, height) {
    if (width >= this.canvas.clientWidth && height >= this.canvas.clientHeight) account.set(this.canvas, []);
    clearRect.call(this, x, y, width, height);
  };
  pen.fillText = function (text, x, y, ...more) {
    fillText.call(this, text, x, y, ...more);
    if (!text) return;
    const { actualBoundingBoxLeft: left, actualBoundingBoxRight: right, actualBoundingBoxAscent: up, actualBoundingBoxDescent: down } = this.measureText(text);
    const matrix = this.getTransform();
    const corners = [[x - left, y - up], [x + right, y - up], [x - left, y + down], [x + right, y + down]].map(([a, b]) => matrix.transformPoint({ x: a, y: b }));
    const scale = this.canvas.width / this.canvas.clientWidth;
    const [xs, ys] = [corners.map((one) => one.x / scale), corners.map((one) => one.y / scale)];
    const box = { left: Math.min(...xs), right: Math.max(...xs), top: Math.min(...ys), bottom: Math.max(...ys) };
    if (!account.has(this.canvas)) account.set(this.canvas, []);
    account.get(this.canvas).push({ text: String(text), colour: this.fillStyle, ...box });
  };
}
