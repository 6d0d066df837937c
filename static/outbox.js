"use strict";

/* What is entered at the machine is sent from here: at once, or, where the network is away, when
   it is back. Until then it waits in this browser, under the member who entered it, with the time
   by the server's clock and a token by which the server records it once however often it is sent.
   Nothing that signs is kept. */

const NEVER_KEPT = ["csrfmiddlewaretoken", "password", "pin"]; // as crematory/middleware.py
const ANSWER_MS = 8000;
const AGAIN_MS = 15000;

const ground = document.querySelector("[data-outbox-staff]");
const MINE = `waiting/${ground.dataset.outboxStaff}/`;
const live = document.getElementById("live");
const state = { csrf: "", isAway: false, isSignedOut: false, heardAt: HouseClock.now(), isSending: false };

/* Storage: one key an entry, so that two pages never write over each other. */

function waiting() {
  return Object.keys(localStorage)
    .filter((key) => key.startsWith(MINE))
    .map((key) => JSON.parse(localStorage.getItem(key)))
    .sort((a, b) => a.happenedMs - b.happenedMs);
}

const othersWait = () => Object.keys(localStorage).some((key) => key.startsWith("waiting/") && !key.startsWith(MINE));

// False where the browser keeps nothing (full, or told not to): then what was typed must stay.
function put(entry) {
  try {
    localStorage.setItem(MINE + entry.token, JSON.stringify(entry));
    return true;
  } catch {
    return false;
  }
}

const drop = (entry) => localStorage.removeItem(MINE + entry.token);

function newToken() {
  const bytes = crypto.getRandomValues(new Uint8Array(24));
  return btoa(String.fromCharCode(...bytes)).replaceAll("+", "-").replaceAll("/", "_");
}

function entryOf(form) {
  const fields = [];
  for (const field of form.elements) {
    const name = field.name;
    if (!name || field.type === "submit" || NEVER_KEPT.some((part) => name.includes(part))) continue;
    if (["token", "stated_ms"].includes(name)) continue;
    if (["checkbox", "radio"].includes(field.type) && !field.checked) continue;
    const isShown = field.type !== "hidden" && field.type !== "checkbox";
    fields.push({ name, value: field.value, label: isShown ? (field.labels?.[0]?.textContent.trim() ?? "") : "" });
  }
  return { token: newToken(), url: form.action, what: form.dataset.outbox, happenedMs: HouseClock.now(), fields, reason: "" };
}

/* Sending */

function bodyOf(entry) {
  const body = new URLSearchParams();
  for (const { name, value } of entry.fields) body.append(name, value);
  for (const [name, value] of Object.entries(entry.confirmed ?? {})) body.set(name, value);
  body.set("token", entry.token);
  if (!body.get("at")) body.set("stated_ms", entry.happenedMs);
  body.set("csrfmiddlewaretoken", state.csrf || document.querySelector("[name=csrfmiddlewaretoken]").value);
  return body;
}

async function ask(url, options) {
  const answer = await fetch(url, {
    headers: { Accept: "application/json" },
    redirect: "manual",
    signal: AbortSignal.timeout(ANSWER_MS),
    ...options,
  });
  const told = (answer.headers.get("Content-Type") ?? "").startsWith("application/json") ? await answer.json() : {};
  HouseClock.hear(told.now_ms, told.zone);
  return { status: answer.status, isElsewhere: answer.type === "opaqueredirect", told };
}

// A page that stood open over a sign-in in another tab has an old token; the server gives a new one.
async function renewToken() {
  const { told } = await ask(ground.dataset.clock, {});
  if (String(told.staff) !== ground.dataset.outboxStaff) return false;
  state.csrf = told.csrf;
  return true;
}

/* Answers "sent", "refused", "signed-out" or "away"; `told` is what the server said. */
async function send(entry) {
  try {
    let answer = await ask(entry.url, { method: "POST", body: bodyOf(entry) });
    if (answer.told.code === "csrf" && (await renewToken())) answer = await ask(entry.url, { method: "POST", body: bodyOf(entry) });
    if (answer.isElsewhere || answer.status === 401 || answer.told.code === "csrf") return { result: "signed-out", told: {} };
    if (answer.status >= 500 || answer.status === 429) return { result: "away", told: {} };
    if (answer.told.ok) return { result: "sent", told: answer.told };
    return { result: "refused", told: { text: `The server refused it (${answer.status}).`, ...answer.told } };
  } catch {
    return { result: "away", told: {} };
  }
}

function meet({ result }) {
  state.isAway = result === "away";
  state.isSignedOut = result === "signed-out";
  if (!state.isAway && !state.isSignedOut) state.heardAt = HouseClock.now();
}

async function sendAll() {
  if (state.isSending) return;
  state.isSending = true;
  const sent = [];
  for (const entry of waiting().filter((one) => !one.reason && !one.inForm)) {
    const answer = await send(entry);
    meet(answer);
    if (answer.result === "sent") {
      drop(entry);
      sent.push(answer.told.text);
    } else if (answer.result === "refused") put({ ...entry, reason: answer.told.text, confirm: answer.told.confirm });
    else break;
  }
  state.isSending = false;
  if (sent.length) news(`Sent now: ${sent.join(" ")}`);
  show();
}

/* What the page says */

function make(tag, text, attributes = {}) {
  const element = document.createElement(tag);
  element.textContent = text;
  for (const [name, value] of Object.entries(attributes)) element.setAttribute(name, value);
  return element;
}

function news(text) {
  const told = document.getElementById("outbox-news");
  told.replaceChildren(make("p", text, { class: "message" }));
  for (const part of document.querySelectorAll("[data-refresh]")) htmx.trigger(part, "entered");
}

function refuse(text) {
  const told = document.getElementById("outbox-news");
  told.replaceChildren(make("p", text, { class: "message message-error", role: "alert" }));
  told.scrollIntoView({ block: "center" });
}

function show() {
  const box = document.getElementById("outbox");
  const entries = waiting().filter((one) => !one.inForm);
  const said = [];
  if (state.isSignedOut) {
    const line = make("p", "You are signed out. What you entered is kept here. ", { class: "since" });
    line.append(make("a", "Sign in, and it is sent.", { class: "row-link", href: `${ground.dataset.signIn}?next=${encodeURIComponent(location.pathname)}` }));
    said.push(line);
  } else if (state.isAway) {
    said.push(
      make("p", `No network. What stands on this page is of ${HouseClock.exactWords(state.heardAt)}.`, { class: "since" }),
      make("p", "Readings and what happened can be entered: they are kept on this tablet and sent when the network is back. A step that is signed needs the network. Leave this page open: it cannot be opened without the network.", { class: "form-text" }),
    );
  }
  if (othersWait()) said.push(make("p", "Entries of another member wait on this tablet. They are sent when that member signs in here.", { class: "form-text" }));
  const lines = entries.map((entry) => (entry.reason ? refusedLine(entry) : waitingLine(entry)));
  const typing = box.contains(document.activeElement) && document.activeElement.tagName === "INPUT";
  if (typing && lines.length) return; // who is correcting an entry is not disturbed
  const list = make("ul", "", { class: "plain-list" });
  list.append(...lines);
  box.querySelector("[data-body]").replaceChildren(...said, ...(lines.length ? [list] : []));
  box.hidden = !said.length && !lines.length;
  document.body.classList.toggle("is-away", state.isAway || state.isSignedOut);
}

function headOf(entry, word) {
  const head = make("p", "", { class: "plain-head" });
  const values = entry.fields.filter(({ label, name, value }) => label && value && name !== "at").map(({ label, value }) => `${label}: ${value}`);
  const at = entry.fields.find(({ name }) => name === "at")?.value;
  head.append(make("span", [entry.what, ...values].join(" · ")), make("span", `${word}, ${at || HouseClock.words(entry.happenedMs)}`, { class: `state state-${entry.reason ? "refused" : "waiting"}` }));
  return head;
}

function waitingLine(entry) {
  const line = make("li", "", { "data-waiting": entry.token });
  line.append(headOf(entry, "Waiting to be sent"));
  return line;
}

function refusedLine(entry) {
  const line = make("li", "", { "data-refused": entry.token });
  const form = make("form", "", { class: "refused-entry", novalidate: "" });
  for (const field of entry.fields.filter(({ label, name }) => label && name !== "at")) form.append(inputFor(entry, field.name, field.label, field.value));
  const typedAt = entry.fields.find(({ name }) => name === "at")?.value;
  const at = typedAt || HouseClock.written(entry.happenedMs);
  form.append(inputFor(entry, "at", "Time", at));
  const actions = make("div", "", { class: "actions" });
  const discard = make("button", "Discard", { type: "button", class: "btn btn-alarm" });
  discard.addEventListener("click", () => {
    if (!window.confirm(`Discard “${entry.what}” of ${HouseClock.words(entry.happenedMs)}? It was not recorded.`)) return;
    drop(entry);
    show();
  });
  actions.append(make("button", "Send", { type: "submit", class: "btn btn-primary" }));
  if (entry.confirm) {
    const confirm = make("button", "It is right: send it", { type: "button", class: "btn btn-quiet" });
    confirm.addEventListener("click", () => again({ ...entry, confirmed: entry.confirm }));
    actions.append(confirm);
  }
  actions.append(discard);
  form.append(actions);
  form.addEventListener("submit", (event) => {
    event.preventDefault();
    again(edited(entry, new FormData(form), at));
  });
  line.append(headOf(entry, "Refused"), make("p", entry.reason, { class: "corrected", role: "alert" }), form);
  return line;
}

function inputFor(entry, name, label, value) {
  const id = `refused-${entry.token}-${name}`;
  const box = make("div", "", { class: "mb-3" });
  box.append(make("label", label, { class: "form-label", for: id }), make("input", "", { class: "form-control", id, name, value, autocomplete: "off" }));
  return box;
}

function edited(entry, typed, atBefore) {
  const fields = entry.fields
    .filter(({ name }) => !["at", "questioned", "is_confirmed"].includes(name))
    .map((field) => (field.label ? { ...field, value: typed.get(field.name) ?? field.value } : field));
  const at = typed.get("at");
  // An unchanged time keeps its seconds.
  if (at !== atBefore || entry.fields.some(({ name, value }) => name === "at" && value)) fields.push({ name: "at", label: "Time", value: at });
  return { ...entry, fields, confirmed: undefined };
}

function again(entry) {
  put({ ...entry, reason: "", confirm: undefined });
  document.activeElement?.blur();
  sendAll();
}

/* Entering */

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (event.defaultPrevented || !("outbox" in form.dataset)) return;
  event.preventDefault();
  const entry = { ...entryOf(form), inForm: true };
  put(entry); // kept before it is sent: whatever happens now, it is not lost
  const answer = await send(entry);
  meet(answer);
  release(form);
  if (answer.result === "sent") {
    drop(entry);
    news(answer.told.text);
    form.closest("details")?.removeAttribute("open");
    if (answer.told.html) replace(form, answer.told.html);
    else form.reset();
  } else if (answer.result === "refused") {
    drop(entry);
    if (answer.told.html) replace(form, answer.told.html);
    else refuse(`Refused: ${answer.told.text}`);
  } else if (put({ ...entry, inForm: false })) {
    form.reset();
    form.closest("details")?.removeAttribute("open");
  } else refuse("It was not sent, and this browser keeps nothing. Leave what you typed, and send it again.");
  show();
});

function replace(form, html) {
  const holder = form.parentElement;
  const made = document.createElement("template");
  made.innerHTML = html;
  form.replaceWith(made.content);
  holder.querySelector("[autofocus]")?.focus();
}

/* The network comes and goes */

// Who is signed out is led to the page for signing in, which is no news of a retort.
function isNews({ xhr, requestConfig }) {
  return !xhr.responseURL || new URL(xhr.responseURL).pathname === new URL(requestConfig.path, location).pathname;
}

document.addEventListener("htmx:beforeSwap", (event) => {
  if (isNews(event.detail)) return;
  event.detail.shouldSwap = false;
  meet({ result: "signed-out" });
  show();
});

document.addEventListener("htmx:afterRequest", (event) => {
  const { xhr, successful } = event.detail;
  if (!successful || !isNews(event.detail)) return;
  HouseClock.hear(xhr.getResponseHeader("X-House-Now"), xhr.getResponseHeader("X-House-Zone"));
  meet({ result: "sent" });
  sendAll();
});

for (const name of ["htmx:sendError", "htmx:timeout", "htmx:responseError"]) {
  document.addEventListener(name, () => {
    meet({ result: "away" });
    show();
  });
}
window.addEventListener("offline", () => {
  meet({ result: "away" });
  show();
});
window.addEventListener("online", sendAll);
window.addEventListener("storage", show);
setInterval(() => {
  if (waiting().length) sendAll();
}, AGAIN_MS);

// What stood in a form when its page was closed waits like the rest.
for (const entry of waiting()) if (entry.inForm) put({ ...entry, inForm: false });
show();
sendAll();
