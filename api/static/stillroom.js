"use strict";
// Every page works without this file. With it a form is sent once however often it is tapped, and
// what was typed at the bench outlives a lost network: what was sent is kept here under the form's
// own key and sent again, and the server does it once; what was not sent yet is there again after
// the page was left.

const PENDING = "stillroom.pending";

const pending = () => JSON.parse(localStorage.getItem(PENDING) || "[]");
const keep = (sent) => {
  const others = pending().filter((one) => one.key !== sent.key);
  localStorage.setItem(PENDING, JSON.stringify([...others, sent]));
};
const drop = (key) => {
  localStorage.setItem(PENDING, JSON.stringify(pending().filter((one) => one.key !== key)));
};

// Where what is being typed into a form lies until it is sent. What a form is about changes when
// something was done, and a draft of what it was about before is not brought back.
const draftOf = (form) =>
  `stillroom.draft ${location.pathname} ${form.dataset.kept} ${form.dataset.clear || ""}`;
const typedIn = (form) =>
  [...form.elements].filter((one) => one.name && one.matches("input:not([type=hidden]), select"));

function bringBack(form) {
  const draft = JSON.parse(sessionStorage.getItem(draftOf(form)) || "{}");
  for (const one of typedIn(form)) {
    if (one.name in draft && (one.matches("select") || !one.value)) one.value = draft[one.name];
  }
}

document.addEventListener("input", (event) => {
  const form = event.target.form;
  if (!form?.dataset.kept) return;
  const typed = Object.fromEntries(typedIn(form).map((one) => [one.name, one.value]));
  sessionStorage.setItem(draftOf(form), JSON.stringify(typed));
});

function say(text, again) {
  document.querySelector(".kept")?.remove();
  const note = document.createElement("div");
  note.className = "note kept";
  note.setAttribute("role", "status");
  const words = document.createElement("p");
  words.textContent = text;
  note.append(words);
  if (again) {
    const button = document.createElement("button");
    button.type = "button";
    button.textContent = document.body.dataset.again;
    button.addEventListener("click", sendAll);
    note.append(button);
  }
  document.getElementById("main").append(note);
}

// One form, as it would be sent without this file. False if the network is away.
async function send(sent) {
  let answer;
  try {
    answer = await fetch(sent.to, {
      method: "POST",
      body: new URLSearchParams(sent.body),
      credentials: "same-origin",
    });
  } catch {
    return false;
  }
  if (answer.status >= 500) return false;
  // Whoever was signed out meanwhile signs in first; what was typed waits.
  if (!answer.url.includes("/sign-in")) drop(sent.key);
  if (answer.ok) {
    location.assign(answer.url);
    return true;
  }
  const page = new DOMParser().parseFromString(await answer.text(), "text/html");
  document.getElementById("main").replaceWith(document.adoptNode(page.getElementById("main")));
  ready();
  document.querySelector("[aria-invalid=true], .refusal")?.focus();
  return true;
}

async function sendAll() {
  for (const one of pending()) {
    if (!(await send(one))) return;
  }
  document.querySelector(".kept")?.remove();
}

document.addEventListener("submit", async (event) => {
  const form = event.target;
  if (form.method !== "post" || event.defaultPrevented) return;
  if (form.dataset.sent) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  if (!form.dataset.kept) return;
  event.preventDefault();
  const body = [...new FormData(form, event.submitter)];
  const sent = { key: form.elements.form_key.value, to: location.href, body };
  keep(sent);
  sessionStorage.removeItem(draftOf(form));
  if (!(await send(sent))) {
    delete form.dataset.sent;
    say(document.body.dataset.keptHere, true);
  }
});

// Reading a lot's code with the camera, where the browser can.
async function scan(into) {
  const video = document.createElement("video");
  video.setAttribute("playsinline", "");
  const stream = await navigator.mediaDevices.getUserMedia({ video: { facingMode: "environment" } });
  video.srcObject = stream;
  into.closest("form").before(video);
  await video.play();
  const detector = new BarcodeDetector({ formats: ["qr_code", "data_matrix"] });
  const look = async () => {
    const [found] = await detector.detect(video).catch(() => []);
    if (!found && video.isConnected) return requestAnimationFrame(look);
    stream.getTracks().forEach((track) => track.stop());
    video.remove();
    if (found) into.value = found.rawValue;
  };
  look();
}

function ready() {
  // A page that comes back by the browser's own button can send its form again.
  for (const form of document.forms) {
    delete form.dataset.sent;
    if (form.dataset.kept) bringBack(form);
  }
  for (const button of document.querySelectorAll("[data-print]")) {
    button.hidden = false;
    button.onclick = () => window.print();
  }
  for (const button of document.querySelectorAll("[data-copy]")) {
    const text = document.getElementById(button.dataset.copy).textContent;
    button.hidden = !navigator.clipboard;
    button.onclick = () =>
      navigator.clipboard.writeText(text).then(() => say(button.dataset.copied));
  }
  if (!("BarcodeDetector" in window) || !navigator.mediaDevices) return;
  for (const place of document.querySelectorAll("[data-scan]")) {
    place.hidden = false;
    const button = place.querySelector("button");
    const into = document.getElementById(button.dataset.scanInto);
    button.onclick = () =>
      scan(into).catch(() => {
        place.hidden = true;
        say(button.dataset.noCamera);
      });
  }
}

window.addEventListener("pageshow", () => {
  ready();
  if (pending().length) say(document.body.dataset.keptHere, true);
  if (pending().length && navigator.onLine) sendAll();
});
window.addEventListener("online", sendAll);
