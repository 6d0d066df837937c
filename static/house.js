"use strict";

/* A second click on a slow network must not send a form twice. The server's one-time token is the
   real guard; this one only spares the person a second page. The button is not disabled, because a
   disabled button would drop its own name and value from what is sent. */
const RELEASE_AFTER_MS = 10000;

function release(form) {
  delete form.dataset.sent;
  form.removeAttribute("aria-busy");
}

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
