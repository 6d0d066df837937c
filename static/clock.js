"use strict";

/* The clock of the house is the server's: it says its time with every answer, and between two
   answers only the time that passed is added. How the tablet's own clock is set changes nothing. */

const HouseClock = (() => {
  const shown = document.getElementById("house-clock");
  let nowMs = Number(shown.dataset.nowMs);
  let zoneName = shown.dataset.zoneName;
  // The page's own answer came when its first byte did, not when this script began.
  const arrived = performance.getEntriesByType("navigation")[0]?.responseStart ?? performance.now();
  let heardAt = Date.now() - Math.max(0, performance.now() - arrived);

  const options = { timeZone: shown.dataset.zone, hour: "2-digit", minute: "2-digit", hourCycle: "h23" };
  const isCalm = matchMedia("(prefers-reduced-motion: reduce)").matches;
  const short = new Intl.DateTimeFormat("en", options);
  const long = new Intl.DateTimeFormat("en", { ...options, second: "2-digit" });
  // "sv" writes a day as the server reads it: 2026-03-01 14:05.
  const whole = new Intl.DateTimeFormat("sv", { ...options, year: "numeric", month: "2-digit", day: "2-digit" });

  const now = () => Math.floor(nowMs + Date.now() - heardAt);

  function hear(ms, zone) {
    if (!ms) return;
    nowMs = Number(ms);
    heardAt = Date.now();
    if (zone) zoneName = zone;
  }

  function tick() {
    shown.querySelector("time").textContent = `${(isCalm ? short : long).format(now())} ${zoneName}`;
    setTimeout(tick, 1000 - (now() % 1000));
  }

  tick();
  return {
    now,
    hear,
    words: (ms) => `${short.format(ms)} ${zoneName}`,
    exactWords: (ms) => `${long.format(ms)} ${zoneName}`,
    written: (ms) => whole.format(ms),
  };
})();
