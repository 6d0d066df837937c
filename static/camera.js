"use strict";

/* The tablet's camera as a scanner: a button beside every field for scans. What is read goes into
   the field as a hand scanner would type it. Pictures stay in this page; none is sent or kept. */

const { reader: READER, wasm: WASM } = document.currentScript.dataset;
const FORMATS = ["qr_code", "data_matrix", "code_128", "code_39"];
const EVERY_MS = 150;
const FIELDS = "[data-scan], #scan";

// Why there is no camera here, in plain words; nothing where there is one.
async function whyNoCamera() {
  if (!window.isSecureContext) return "The camera reads codes only over HTTPS. Use a hand scanner, or type the number.";
  if (!navigator.mediaDevices?.enumerateDevices) return "This browser gives no camera. Use a hand scanner, or type the number.";
  const devices = await navigator.mediaDevices.enumerateDevices();
  return devices.some((device) => device.kind === "videoinput") ? "" : "No camera was found here. Use a hand scanner, or type the number.";
}

let detector = null;

async function newDetector() {
  if ("BarcodeDetector" in window) {
    const known = await BarcodeDetector.getSupportedFormats();
    if (known.includes("qr_code")) return new BarcodeDetector({ formats: FORMATS.filter((name) => known.includes(name)) });
    delete window.BarcodeDetector; // it knows no format: the vendored one steps in
  }
  await new Promise((resolve, reject) => {
    const script = document.createElement("script");
    script.src = READER;
    script.onload = resolve;
    script.onerror = () => reject(new Error("The part that reads codes could not be loaded."));
    document.head.append(script);
  });
  BarcodeDetectionAPI.prepareZXingModule({ overrides: { locateFile: () => WASM } });
  return new BarcodeDetector({ formats: FORMATS });
}

class Camera {
  constructor() {
    this.dialog = document.createElement("dialog");
    this.dialog.className = "camera";
    this.dialog.setAttribute("aria-label", "Read a code with the camera");
    this.video = document.createElement("video");
    this.video.muted = this.video.playsInline = true;
    this.told = document.createElement("p");
    this.told.setAttribute("role", "status");
    const close = document.createElement("button");
    close.type = "button";
    close.className = "btn btn-quiet";
    close.textContent = "Close the camera";
    close.addEventListener("click", () => this.dialog.close());
    this.dialog.append(this.video, this.told, close);
    this.dialog.addEventListener("close", () => this.stop());
    document.body.append(this.dialog);
  }

  async open(field) {
    this.field = field;
    this.told.textContent = "Hold the code in front of the camera.";
    this.dialog.showModal();
    try {
      this.stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
      if (!this.dialog.open) return this.stop();
      this.video.srcObject = this.stream;
      await this.video.play();
      detector ??= await newDetector();
      this.look();
    } catch (error) {
      if (!this.dialog.open) return;
      this.told.textContent =
        error.name === "NotAllowedError"
          ? "The browser was told to give no camera to this page. Allow it in the browser's settings, or type the number."
          : `The camera does not work: ${error.message} Use a hand scanner, or type the number.`;
    }
  }

  async look() {
    if (!this.dialog.open) return;
    const found = await detector.detect(this.video).catch(() => []);
    if (!this.dialog.open) return;
    if (found.length) return this.take(found[0].rawValue.trim());
    setTimeout(() => this.look(), EVERY_MS);
  }

  take(text) {
    const field = this.field;
    this.field = null; // the cursor goes on from here, not back
    this.dialog.close();
    field.value = text;
    field.dispatchEvent(new Event("input", { bubbles: true }));
    field.focus();
    // As after a hand scanner's Enter: on to the next field, or, in the bar, look it up.
    if ("scan" in field.dataset) nextField(field)?.focus();
    else field.form.requestSubmit();
  }

  stop() {
    for (const track of this.stream?.getTracks() ?? []) track.stop();
    this.video.srcObject = this.stream = null;
    this.field?.focus();
  }
}

function addButton(field, camera) {
  const button = document.createElement("button");
  button.type = "button";
  button.className = "btn btn-quiet camera-button";
  button.textContent = "Camera";
  const label = field.labels?.[0]?.textContent.replace("*", "").trim() ?? "code";
  button.setAttribute("aria-label", `Camera: ${label}`);
  button.addEventListener("click", () => camera.open(field));
  if (field.id === "scan") return field.after(button);
  const row = document.createElement("div");
  row.className = "scan-row";
  const typing = document.activeElement === field;
  field.before(row);
  row.append(field, button);
  if (typing) field.focus(); // moving a field takes the cursor out of it
}

async function addCamera() {
  const fields = [...document.querySelectorAll(FIELDS)];
  const why = await whyNoCamera().catch((error) => error.message);
  if (!why) {
    const camera = new Camera();
    return fields.forEach((field) => addButton(field, camera));
  }
  const first = fields.find((field) => "scan" in field.dataset);
  if (!first) return;
  const told = document.createElement("p");
  told.className = "form-text no-camera";
  told.textContent = why;
  first.closest(".mb-3")?.append(told);
}

addCamera();
