"use strict";

/* A second click on a slow network must not send a form twice. The server's one-time token is the
   real guard; this one only spares the person a second page. The button is not disabled, because a
   disabled button would drop its own name and value from what is sent. */
const RELEASE_AFTER_MS = 10000;

function release(form) {
  delete form.dataset.sent;
  form.removeAttribute("aria-busy");
}

// What was typed into the form and not sent: also what came back with an error, or was kept.
function holdsTypedText(form) {
  if (form.method !== "post" || form.getAttribute("role") === "search" || !form.closest("main")) return false;
  const changed = [...form.elements].some((field) =>
    field.type === "checkbox" || field.type === "radio"
      ? field.checked !== field.defaultChecked
      : field.tagName === "SELECT"
        ? [...field.options].some((option) => option.selected !== option.defaultSelected && option.index > 0)
        : "defaultValue" in field && field.type !== "hidden" && field.value !== field.defaultValue,
  );
  return changed || "typed" in form.dataset || form.querySelector(".is-invalid") !== null;
}

// Leaving with something typed is the person's choice, never an accident.
document.addEventListener("submit", (event) => {
  const question = event.target.dataset.askBeforeLoss;
  if (!question || ![...document.forms].some((form) => form !== event.target && holdsTypedText(form))) return;
  if (!window.confirm(question)) event.preventDefault();
});

document.addEventListener("submit", (event) => {
  const form = event.target;
  if (event.defaultPrevented || form.method !== "post" || "repeatable" in form.dataset) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  form.setAttribute("aria-busy", "true");
  // Answers that are downloads leave the page standing, so the form has to become usable again.
  setTimeout(() => release(form), RELEASE_AFTER_MS);
});

// A page restored by the back button keeps its state; its forms must work again.
window.addEventListener("pageshow", () => document.querySelectorAll("form[data-sent]").forEach(release));

/* A paper opens in a tab of its own. Back on this page, it is read again: what was printed is then
   listed, and the next printing gets a token of its own. Pages where something is typed stay. */
document.addEventListener("submit", (event) => {
  if (event.defaultPrevented || event.target.target !== "_blank") return;
  const typing = document.querySelector("main form:not([target]) input:not([type=hidden])");
  if (typing) return;
  const again = () => {
    if (document.visibilityState === "visible") location.reload();
  };
  document.addEventListener("visibilitychange", again);
  window.addEventListener("focus", again);
});
