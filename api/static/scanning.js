"use strict";
// Reading a lot's code with the camera, where the browser can. The camera is on only while somebody
// looks for a code with it: it goes off when one is found, when it is closed, and when one goes on to
// another field or away.

let looking = null;

// The lot in a code of ours: in brackets, as a link of GS1, or after AI 10 of an element string.
const CODES = [/\(10\)([^(\x1d]{1,20})/, /\/10\/([^/?#]{1,20})/, /^(?:01\d{14})?(?:17\d{6})?10([^\x1d]{1,20})$/];

// The bare code of the lot stands there, and what comes next is what the scale shows.
function readCode(into, text) {
  const found = CODES.map((code) => code.exec(text.trim())).find(Boolean);
  into.value = (found ? found[1] : text).trim();
  into.dispatchEvent(new Event("input", { bubbles: true }));
  const scale = into.form.querySelector("[name$=quantity]");
  (scale || into).focus();
}

function endScan() {
  if (!looking) return;
  const { button, called, stream, video } = looking;
  looking = null;
  stream?.getTracks().forEach((track) => track.stop());
  video.remove();
  button.textContent = called;
}

async function scan(button) {
  const video = document.createElement("video");
  video.setAttribute("playsinline", "");
  const own = { button, called: button.textContent, video };
  looking = own;
  button.textContent = button.dataset.close;
  const into = document.getElementById(button.dataset.scanInto);
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  own.stream = stream;
  // It may have been closed before the camera was there.
  if (looking !== own) return stream.getTracks().forEach((track) => track.stop());
  video.srcObject = stream;
  into.closest("form").before(video);
  await video.play();
  const detector = new BarcodeDetector({ formats: ["qr_code", "data_matrix"] });
  while (looking === own && video.isConnected) {
    const [code] = await detector.detect(video).catch(() => []);
    if (looking === own && code) {
      endScan();
      return readCode(into, code.rawValue);
    }
    await new Promise(requestAnimationFrame);
  }
  if (looking === own) endScan();
}

function offerScanning() {
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices) return;
  for (const place of document.querySelectorAll("[data-scan]")) {
    place.hidden = false;
    const button = place.querySelector("button");
    button.onclick = () => {
      if (looking) return endScan();
      scan(button).catch(() => {
        // Who closed it meanwhile has not been kept from using it.
        if (looking?.button !== button) return;
        endScan();
        place.hidden = true;
        say(button.dataset.noCamera);
      });
    };
  }
}

document.addEventListener("focusin", ({ target }) => {
  if (looking && target !== looking.button && target.id !== looking.button.dataset.scanInto) endScan();
});
// A scanner that types ends with Enter, which must not send a form whose scale was not read yet.
document.addEventListener("keydown", (event) => {
  const { key, target } = event;
  if (key === "Escape") endScan();
  if (key !== "Enter" || !target.matches("input[data-lot]")) return;
  const scale = target.form.querySelector("[name$=quantity]");
  if (!scale || scale.value || !target.value) return;
  event.preventDefault();
  readCode(target, target.value);
});
document.addEventListener("visibilitychange", () => document.hidden && endScan());
window.addEventListener("pagehide", endScan);
