"use strict";

/* The page of those who may authorize: what is not asked is not shown, and a signature can be
   drawn. Without this script everything else works, and one signs on paper. */

const HUNDREDTHS_A_PIXEL = 2540 / 96; // a CSS pixel is 1/96 inch; places are hundredths of a mm
const LONGEST_MS = 600000;

function chosen(root, name) {
  return root.querySelector(`[name=${name}]:checked`)?.value;
}

class Pad {
  constructor(box) {
    this.canvas = box.querySelector("canvas");
    this.field = document.getElementById(this.canvas.dataset.strokes);
    this.strokes = this.read();
    this.startedAt = 0;
    this.canvas.addEventListener("pointerdown", (event) => this.begin(event));
    this.canvas.addEventListener("pointermove", (event) => this.go(event));
    for (const end of ["pointerup", "pointercancel"]) this.canvas.addEventListener(end, () => this.end());
    box.querySelector("[data-clear]").addEventListener("click", () => this.clear());
    new ResizeObserver(() => this.draw()).observe(this.canvas);
  }

  // What was drawn before a refusal is shown again.
  read() {
    try {
      const found = JSON.parse(this.field.value || "[]");
      return Array.isArray(found) ? found : [];
    } catch {
      return [];
    }
  }

  point(event) {
    const box = this.canvas.getBoundingClientRect();
    const place = [event.clientX - box.left, event.clientY - box.top];
    const [x, y] = place.map((pixels) => Math.max(0, Math.round(pixels * HUNDREDTHS_A_PIXEL)));
    return [x, y, Math.min(LONGEST_MS, Math.max(0, Math.round(event.timeStamp - this.startedAt)))];
  }

  begin(event) {
    if (event.button > 0) return;
    event.preventDefault();
    if (!this.strokes.length) this.startedAt = event.timeStamp;
    this.canvas.setPointerCapture(event.pointerId);
    this.strokes.push([this.point(event)]);
    this.isDown = true;
    this.draw();
  }

  go(event) {
    if (!this.isDown) return;
    const between = event.getCoalescedEvents?.() ?? [];
    for (const part of between.length ? between : [event]) this.strokes.at(-1).push(this.point(part));
    this.draw();
  }

  end() {
    if (!this.isDown) return;
    this.isDown = false;
    this.field.value = JSON.stringify(this.strokes);
  }

  clear() {
    this.strokes = [];
    this.field.value = "";
    this.draw();
  }

  draw() {
    const scale = window.devicePixelRatio || 1;
    this.canvas.width = this.canvas.clientWidth * scale;
    this.canvas.height = this.canvas.clientHeight * scale;
    const pen = this.canvas.getContext("2d");
    pen.scale(scale / HUNDREDTHS_A_PIXEL, scale / HUNDREDTHS_A_PIXEL);
    pen.lineWidth = 50;
    pen.lineCap = pen.lineJoin = "round";
    pen.strokeStyle = getComputedStyle(this.canvas).color;
    for (const stroke of this.strokes) {
      pen.beginPath();
      stroke.forEach(([x, y], at) => (at ? pen.lineTo(x, y) : pen.moveTo(x, y)));
      if (stroke.length === 1) pen.lineTo(stroke[0][0], stroke[0][1]);
      pen.stroke();
    }
  }
}

for (const root of document.querySelectorAll("[data-right]")) {
  const pad = root.querySelector("[data-pad]");
  const signs = root.querySelector("[data-signs]");
  new Pad(pad);
  const show = () => {
    signs.hidden = root.querySelector("[name=position]") !== null && chosen(root, "position") !== "signed";
    const way = chosen(root, "way");
    pad.hidden = way !== "tablet";
    for (const part of root.querySelectorAll("[data-way]")) part.hidden = way !== undefined && !part.dataset.way.split(" ").includes(way);
    const rank = root.querySelector("[name=relation]")?.value.split("/")[0];
    for (const line of root.querySelectorAll("[data-before]")) line.hidden = line.dataset.before !== rank;
  };
  root.addEventListener("change", show);
  show();
}
