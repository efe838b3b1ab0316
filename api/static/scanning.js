"use strict";
// Reading a lot's code with the camera, where the browser can. The camera is on only while somebody
// looks for a code with it: it goes off when one is found, when it is closed, and when one goes on to
// another field or away.

let looking = null;

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
      into.value = code.rawValue;
      into.dispatchEvent(new Event("input", { bubbles: true }));
      into.focus();
      return endScan();
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
document.addEventListener("keydown", ({ key }) => key === "Escape" && endScan());
document.addEventListener("visibilitychange", () => document.hidden && endScan());
window.addEventListener("pagehide", endScan);
