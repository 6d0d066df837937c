"use strict";

/* The form of a step at the machine needs the network. What is typed into it stays in this browser
   until it was sent, under the member who typed it; PINs and tokens never do. */

const DRAFTS = "draft/";
const FORGET_MS = 12 * 60 * 60 * 1000; // a shift; only how long ago is asked, not what time it is
const SKIPPED = ["csrfmiddlewaretoken", "password", "pin", "token"];

const draftForm = document.querySelector("form[data-draft]");
const draftKey = draftForm ? `${DRAFTS}${draftForm.dataset.draft}/${location.pathname}` : "";

function draftFields() {
  return [...draftForm.elements].filter((field) => field.name && field.type !== "hidden" && !SKIPPED.some((part) => field.name.includes(part)));
}

function saveDraft() {
  const values = draftFields().map((field) => [field.name, field.type === "checkbox" || field.type === "radio" ? field.checked : field.value, field.value]);
  localStorage.setItem(draftKey, JSON.stringify({ keptAt: Date.now(), values }));
}

function bringBack(values) {
  let changed = false;
  for (const field of draftFields()) {
    const isBox = field.type === "checkbox" || field.type === "radio";
    const kept = values.find(([name, , value]) => name === field.name && (!isBox || value === field.value));
    if (!kept || kept[1] === (isBox ? field.checked : field.value)) continue;
    if (isBox) field.checked = kept[1];
    else field.value = kept[1];
    changed = true;
  }
  if (changed) draftForm.querySelector("[data-draft-told]").hidden = false;
}

// What was sent and led to another page was taken; a page that could not be reached shows none.
for (const key of Object.keys(localStorage).filter((name) => name.startsWith(DRAFTS))) {
  const draft = JSON.parse(localStorage.getItem(key));
  const isOld = Date.now() - draft.keptAt > FORGET_MS;
  if (isOld || (draft.wasSent && key !== draftKey)) localStorage.removeItem(key);
}

if (draftForm) {
  const kept = localStorage.getItem(draftKey);
  // What the server gives back is newer than what is kept here.
  if (kept && !("typed" in draftForm.dataset)) bringBack(JSON.parse(kept).values);
  draftForm.addEventListener("input", saveDraft);
  draftForm.addEventListener("submit", (event) => {
    if (event.defaultPrevented) return;
    saveDraft();
    if (navigator.onLine) {
      localStorage.setItem(draftKey, JSON.stringify({ ...JSON.parse(localStorage.getItem(draftKey)), wasSent: true }));
      return;
    }
    event.preventDefault();
    const told = draftForm.querySelector("[data-no-network]");
    told.hidden = false;
    told.focus();
  });
}
