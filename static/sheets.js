"use strict";

/* Pages of a file: larger, smaller, turned; by button, or by key while the pages have the focus. */
const STEPS = [50, 75, 100, 150, 200, 300];
const KEYS = { "+": "larger", "=": "larger", "-": "smaller", "−": "smaller", r: "turn", R: "turn" };

// A turned picture keeps its dots and changes the room that it takes.
function turnTo(image, quarters) {
  const room = image.parentElement;
  const sideways = quarters % 2 === 1;
  room.classList.toggle("is-sideways", sideways);
  const ratio = image.naturalWidth / image.naturalHeight || 1;
  room.style.aspectRatio = sideways ? `${1 / ratio}` : "";
  image.style.width = sideways ? `${100 * ratio}%` : "";
  image.style.transform = `${sideways ? "translate(-50%, -50%) " : ""}rotate(${quarters * 90}deg)`;
}

function openSheets(sheets) {
  const pages = sheets.querySelector(".sheets-pages");
  let step = STEPS.indexOf(100);
  let quarters = 0;
  const show = (change) => {
    if (change === "turn") quarters = (quarters + 1) % 4;
    else step = Math.min(Math.max(step + (change === "larger" ? 1 : -1), 0), STEPS.length - 1);
    pages.style.setProperty("--zoom", `${STEPS[step]}%`);
    pages.querySelectorAll("img").forEach((image) => turnTo(image, quarters));
  };
  pages.querySelectorAll("img").forEach((image) => {
    image.addEventListener("load", () => turnTo(image, quarters));
    image.addEventListener("error", () => {
      image.alt = "This page cannot be shown. Reload this page, or save the original.";
    });
  });
  sheets.querySelectorAll("[data-do]").forEach((button) =>
    button.addEventListener("click", () => show(button.dataset.do)),
  );
  pages.addEventListener("keydown", (event) => {
    if (event.ctrlKey || event.metaKey || event.altKey || !(event.key in KEYS)) return;
    event.preventDefault();
    show(KEYS[event.key]);
  });
}

document.querySelectorAll("[data-sheets]").forEach(openSheets);
