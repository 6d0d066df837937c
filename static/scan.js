"use strict";

/* A scanner types like a keyboard and ends with Enter. In a field for scans Enter goes on to the
   next field, so that one scan never sends a form that is half filled in. */
// A staff code that is filled in is passed over: a PIN would be typed over it, for all to read.
function isCodeFilledIn(field) {
  return (field.name || "").endsWith("_code") && field.value !== "";
}

function nextField(field) {
  const fields = [...field.form.elements].filter(
    (other) =>
      !other.disabled &&
      other.type !== "hidden" &&
      other.tagName !== "FIELDSET" &&
      other.offsetParent !== null &&
      !other.classList.contains("camera-button") &&
      (other === field || !isCodeFilledIn(other)),
  );
  return fields[fields.indexOf(field) + 1];
}

document.addEventListener("keydown", (event) => {
  if (event.key !== "Enter" || !("scan" in event.target.dataset)) return;
  event.preventDefault();
  nextField(event.target)?.focus();
});

// A second scan replaces the first instead of being typed behind it.
document.addEventListener("focusin", (event) => {
  if ("scan" in event.target.dataset && !isCodeFilledIn(event.target)) event.target.select();
});
