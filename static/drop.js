"use strict";

/* Files are sent one after the other, each with a token of its own: sent again after a broken
   connection, it is not taken twice. Without this script the same form sends them all at once. */
const SENT_TO = document.querySelector("form[data-drop]");

function newToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(24));
  return btoa(String.fromCharCode(...bytes)).replace(/\+/g, "-").replace(/\//g, "_");
}

function row(name) {
  const item = document.createElement("li");
  const label = Object.assign(document.createElement("bdi"), { className: "name", textContent: name });
  const bar = Object.assign(document.createElement("progress"), { max: 100, value: 0 });
  bar.setAttribute("aria-label", `Sending ${name}`);
  const told = Object.assign(document.createElement("span"), { className: "told", textContent: "Waiting for its turn" });
  item.append(label, bar, told);
  SENT_TO.querySelector(".sending").append(item);
  item.scrollIntoView({ block: "nearest" });
  return { item, bar, told };
}

function refuse(shown, text, again) {
  shown.item.classList.add("is-refused");
  shown.bar.remove();
  shown.told.textContent = text;
  if (!again) return;
  const button = Object.assign(document.createElement("button"), { type: "button", className: "btn btn-quiet", textContent: "Send it again" });
  button.addEventListener("click", () => {
    shown.item.remove();
    again();
  });
  shown.item.append(button);
}

// Answers with true where the file was taken.
function send(file, token) {
  const shown = row(file.name);
  if (file.size > Number(SENT_TO.dataset.maxBytes)) {
    refuse(shown, SENT_TO.dataset.tooLarge);
    return Promise.resolve(false);
  }
  const data = new FormData();
  data.append("csrfmiddlewaretoken", SENT_TO.elements.csrfmiddlewaretoken.value);
  data.append("token", token);
  data.append("files", file, file.name);
  const request = new XMLHttpRequest();
  request.open("POST", SENT_TO.action);
  request.setRequestHeader("Accept", "application/json");
  request.responseType = "json";
  request.upload.addEventListener("progress", (event) => {
    if (!event.lengthComputable) return;
    shown.bar.value = (100 * event.loaded) / event.total;
    const done = event.loaded === event.total;
    shown.told.textContent = done ? "Sent; it is being looked through" : `${Math.floor(shown.bar.value)} % sent`;
  });
  return new Promise((answer) => {
    request.addEventListener("load", () => {
      const told = request.response;
      if (!told) {
        refuse(shown, "You are not signed in any more. Open this page again, sign in, and send the file again.");
      } else if (told.refused.length) {
        refuse(shown, told.refused[0].why);
      } else {
        shown.bar.value = 100;
        shown.told.textContent = "Taken";
      }
      answer(Boolean(told) && told.refused.length === 0);
    });
    request.addEventListener("error", () => {
      refuse(shown, "The connection broke off.", () => sendAll([file], token));
      answer(false);
    });
    request.send(data);
  });
}

// Where somebody is typing, the page stays as it is until they choose to go on.
function goOn(taken, all) {
  const filing = document.querySelector("form[data-filing]");
  const next = SENT_TO.dataset.next;
  if (taken === all && !(filing && holdsTypedText(filing))) {
    location.assign(next);
    return;
  }
  if (!taken) return;
  const item = document.createElement("li");
  const link = Object.assign(document.createElement("a"), { className: "btn btn-primary", href: next, textContent: taken === 1 ? "File the one that was taken" : `File the ${taken} that were taken` });
  item.append(link);
  SENT_TO.querySelector(".sending").append(item);
}

let queue = Promise.resolve();

function sendAll(files, token) {
  queue = queue.then(async () => {
    let taken = 0;
    for (const file of files) if (await send(file, token || newToken())) taken += 1;
    goOn(taken, files.length);
  });
}

if (SENT_TO) {
  SENT_TO.classList.add("is-live");
  SENT_TO.querySelectorAll("input[type=file]").forEach((input) =>
    input.addEventListener("change", () => {
      sendAll([...input.files]);
      input.value = "";
    }),
  );
  // A file dropped beside the zone would replace the page, and what was typed on it.
  const carriesFiles = (event) => event.dataTransfer && [...event.dataTransfer.types].includes("Files");
  document.addEventListener("dragover", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    SENT_TO.classList.add("is-over");
  });
  document.addEventListener("dragleave", (event) => {
    if (!event.relatedTarget) SENT_TO.classList.remove("is-over");
  });
  document.addEventListener("drop", (event) => {
    if (!carriesFiles(event)) return;
    event.preventDefault();
    SENT_TO.classList.remove("is-over");
    sendAll([...event.dataTransfer.files]);
  });
}
