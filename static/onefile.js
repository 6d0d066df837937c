"use strict";

/* One file may be dropped anywhere on the page: it is put into the form's own field, and sent only
   when the person says so. */
const FORM = document.querySelector("form[data-one-file]");

if (FORM) {
  const field = FORM.querySelector("input[type=file]");
  const told = FORM.querySelector("[data-told]");
  const carriesFiles = (event) => event.dataTransfer && [...event.dataTransfer.types].includes("Files");
  FORM.classList.add("is-live");
  document.addEventListener("dragover", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    FORM.classList.add("is-over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) FORM.classList.remove("is-over");
  });
  document.addEventListener("drop", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    FORM.classList.remove("is-over");
    if (event.dataTransfer.files.length !== 1) {
      told.textContent = "Bring one file at a time.";
      return;
    }
    field.files = event.dataTransfer.files;
    told.textContent = `${event.dataTransfer.files[0].name} is ready. Look at it now.`;
    FORM.querySelector("button[type=submit]").focus();
  });
}
