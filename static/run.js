"use strict";

/* The chart of a run. Numbers come from the house in its unit; times are shown in its zone, never
   in the browser's. Drag to look closer; while the run is open, new readings are asked for. */
const HEIGHT = 420;
const NEWS_MS = 15000;
const LINES = {
  secondary: { stroke: "#123f66", width: 2 },
  primary: { stroke: "#7a3b10", width: 1.25 },
};
const LIMIT = "#8a1f11";
const INK = "#21272a";
const GRID = "#dcd9d1";
const FONT = '15px "Source Sans 3", system-ui, sans-serif';
const DRAWN = "run chart drawn";

function clockOf(zone) {
  const parts = { timeZone: zone, hourCycle: "h23", hour: "2-digit", minute: "2-digit" };
  const minute = new Intl.DateTimeFormat("en-GB", parts);
  const second = new Intl.DateTimeFormat("en-GB", { ...parts, second: "2-digit", day: "numeric", month: "short" });
  return {
    minute: (at) => minute.format(new Date(at * 1000)),
    second: (at) => second.format(new Date(at * 1000)),
  };
}

// Limits go over the lines and events over both, so that nothing hides them.
function drawOver(plot, told) {
  const { ctx } = plot;
  const dots = devicePixelRatio;
  ctx.save();
  ctx.font = FONT.replace(/^\d+/, (size) => `${Number(size) * dots * 0.93}`);
  ctx.textBaseline = "bottom";
  ctx.lineWidth = dots;
  ctx.strokeStyle = ctx.fillStyle = LIMIT;
  ctx.setLineDash([7 * dots, 4 * dots]);
  ctx.textAlign = "left";
  drawLimits(plot, told, dots);
  ctx.strokeStyle = "#555";
  ctx.fillStyle = INK;
  ctx.setLineDash([dots, 3 * dots]);
  ctx.textAlign = "center";
  drawMarks(plot, told, dots);
  ctx.restore();
}

// The words of a limit stand at that end of its line, above or below it, where the least is hidden.
function drawLimits(plot, told, dots) {
  const { ctx, bbox } = plot;
  const right = bbox.left + bbox.width;
  const lines = told.limits.map((limit) => plot.valToPos(limit.value, "y", true));
  const taken = [];
  told.limits.forEach((limit, place) => {
    const y = lines[place];
    if (y < bbox.top || y > bbox.top + bbox.height) return;
    line(ctx, bbox.left, y, right, y);
    const [width, height] = [ctx.measureText(limit.words).width, 18 * dots];
    const spots = [right - width - 6 * dots, bbox.left + 6 * dots].flatMap((left) =>
      [y - height - dots, y + 2 * dots].map((top) => ({ left, top, right: left + width, bottom: top + height })),
    );
    const hidden = spots.map((spot) => hides(plot, spot, lines, taken));
    const best = spots[hidden.indexOf(Math.min(...hidden))];
    taken.push(best);
    write(ctx, limit.words, best.left, best.bottom, dots);
  });
}

// How many readings lie under these words; other words and lines there count for more than all.
function hides(plot, spot, lines, taken) {
  const [first, last] = [spot.left, spot.right].map((x) => plot.valToIdx(plot.posToVal(x, "x", true)));
  const [high, low] = [spot.top, spot.bottom].map((y) => plot.posToVal(y, "y", true));
  let count = 0;
  for (const column of plot.data.slice(1)) {
    for (let i = first; i <= last; i += 1) if (column[i] != null && column[i] > low && column[i] < high) count += 1;
  }
  const crossing = lines.filter((y) => y > spot.top && y < spot.bottom).length;
  const over = taken.filter((one) => one.top < spot.bottom && one.bottom > spot.top && one.left < spot.right && one.right > spot.left).length;
  const outside = spot.bottom > plot.bbox.top + plot.bbox.height || spot.top < plot.bbox.top ? 1 : 0;
  return count + (crossing + over + outside) * plot.data[0].length;
}

function drawMarks(plot, told, dots) {
  const { ctx, bbox } = plot;
  let taken = -Infinity;
  told.marks.forEach((mark, place) => {
    const x = plot.valToPos(mark.at, "x", true);
    if (x < bbox.left || x > bbox.left + bbox.width) return;
    line(ctx, x, bbox.top, x, bbox.top + bbox.height);
    // Two numbers never lie on one another: the second stands a little to the right.
    taken = Math.max(x, taken + 16 * dots);
    ctx.fillText(String(place + 1), taken, bbox.top - 4 * dots);
  });
}

function line(ctx, x1, y1, x2, y2) {
  ctx.beginPath();
  ctx.moveTo(x1, y1);
  ctx.lineTo(x2, y2);
  ctx.stroke();
}

// Words over a line are read because of the pale rim around each letter.
function write(ctx, words, x, y, dots) {
  ctx.save();
  ctx.setLineDash([]);
  ctx.lineWidth = 4 * dots;
  ctx.strokeStyle = "rgba(255, 255, 255, 0.85)";
  ctx.strokeText(words, x, y);
  ctx.restore();
  ctx.fillText(words, x, y);
}

// From a hundred below the lowest in sight to the next above the highest, with the limits near it.
function inSight(told, low, high) {
  if (low == null) return [0, 100];
  const near = told.limits.map((limit) => limit.value).filter((value) => value > low - 100 && value < high + 100);
  const [least, most] = [Math.min(low, ...near), Math.max(high, ...near)];
  return [Math.max(0, Math.floor((least - 20) / 100) * 100), Math.ceil((most + 40) / 100) * 100];
}

function optionsOf(told, width) {
  const clock = clockOf(told.zone);
  const shown = (value) => (value == null ? "not read" : `${value.toLocaleString("en-US")} ${told.unit}`);
  const axis = { stroke: INK, font: FONT, grid: { stroke: GRID, width: 1 }, ticks: { stroke: GRID, width: 1 } };
  return {
    width,
    height: HEIGHT,
    padding: [28, 20, 0, 0],
    tzDate: (at) => uPlot.tzDate(new Date(at * 1000), told.zone),
    cursor: { y: false, drag: { x: true, y: false, dist: 6 }, points: { size: 8 } },
    scales: { x: { time: true, range: (plot, low, high) => [low, high] }, y: { range: (plot, low, high) => inSight(told, low, high) } },
    axes: [
      { ...axis, values: (plot, splits) => splits.map(clock.minute), space: 70 },
      { ...axis, values: (plot, splits) => splits.map(shown), size: 84 },
    ],
    series: [
      { label: "Time", value: (plot, at) => (at == null ? "–" : clock.second(at)) },
      ...told.channels.map((channel) => ({
        label: channel.words,
        ...(LINES[channel.name] || { stroke: INK, width: 1 }),
        value: (plot, value, series, at) => (at == null ? "–" : shown(value)),
      })),
    ],
    hooks: {
      draw: [(plot) => drawOver(plot, told)],
      ready: [() => performance.measure(DRAWN, DRAWN)],
    },
  };
}

function button(words, act) {
  const made = Object.assign(document.createElement("button"), { type: "button", className: "btn btn-quiet", textContent: words });
  made.addEventListener("click", act);
  return made;
}

function buttonsOf(told, look) {
  const row = Object.assign(document.createElement("div"), { className: "run-chart-buttons no-print" });
  row.append(button("Whole run", () => look(told.start, told.end)));
  if (told.burner_off_at) row.append(button("Charge to burner off", () => look(told.charged_at, told.burner_off_at)));
  row.append(Object.assign(document.createElement("p"), { textContent: "Drag across the chart to look closer; click a name below it to hide its line." }));
  return row;
}

function draw(room, told) {
  performance.mark(DRAWN);
  const plot = new uPlot(optionsOf(told, room.clientWidth), [told.times, ...told.columns], room);
  const look = (min, max) => plot.setScale("x", { min, max });
  look(told.start, told.end);
  room.prepend(buttonsOf(told, look));
  plot.ctx.canvas.setAttribute("role", "img");
  plot.ctx.canvas.setAttribute("aria-label", room.dataset.about);
  new ResizeObserver(() => plot.setSize({ width: room.clientWidth, height: HEIGHT })).observe(room);
  return plot;
}

// Who looks at the whole run goes on looking at the whole; who looks closer is not disturbed.
function renew(plot, told, news) {
  const { min, max } = plot.scales.x;
  const sawAll = min === told.start && max === told.end;
  Object.assign(told, news);
  plot.setData([told.times, ...told.columns], false);
  plot.setScale("x", sawAll ? { min: told.start, max: told.end } : { min, max });
}

// Without an answer the drawing of the house stands in: it is the same chart.
function standIn(room) {
  const picture = { className: "run-picture", src: room.dataset.picture, alt: room.dataset.about };
  room.replaceChildren(Object.assign(document.createElement("img"), picture));
}

async function fetched(room) {
  const response = await fetch(room.dataset.chart, { headers: { Accept: "application/json" } });
  if (!response.ok || response.redirected) throw new Error(`The chart was answered with ${response.status}.`);
  return response.json();
}

async function open(room) {
  let told;
  try {
    told = await fetched(room);
  } catch {
    standIn(room);
    return;
  }
  const plot = draw(room, told);
  const asking = setInterval(async () => {
    if (told.is_over) return clearInterval(asking);
    if (document.hidden) return undefined;
    try {
      const news = await fetched(room);
      if (news.channels.length !== told.channels.length) return location.reload();
      renew(plot, told, news);
    } catch {
      // No news this time: what is drawn stays, and its last reading shows how old it is.
    }
    return undefined;
  }, NEWS_MS);
}

document.querySelectorAll("[data-chart]").forEach(open);
