"use strict";
// Every page works without this file. With it a form is sent once however often it is tapped, and
// what is being typed at the bench is there again after the page was left.

// Where what is being typed into a form lies until it is sent. What a form is about changes when
// something was done, and a draft of what it was about before is not brought back.
const draftOf = (form) =>
  `stillroom.draft ${whose()} ${location.pathname} ${form.dataset.kept} ${form.dataset.clear || ""}`;
const typedIn = (form) =>
  [...form.elements].filter(
    (one) => one.name && one.matches("input:not([type=hidden]), select, textarea"),
  );
const forgetDraft = (form) => sessionStorage.removeItem(draftOf(form));

const draftIn = (form) => JSON.parse(sessionStorage.getItem(draftOf(form)) || "{}");

// What stood in a field already is not typed, unless the form was refused with it: by the time that
// somebody comes back, something else may stand there.
function saveDraft(form, refused = false) {
  const draft = draftIn(form);
  for (const one of typedIn(form)) {
    if (one.type === "radio" ? !one.checked : one.type === "checkbox") continue;
    const chosen = one.matches("select, [type=radio]");
    if (refused || chosen || one.name in draft || one.value !== one.defaultValue)
      draft[one.name] = one.value;
  }
  sessionStorage.setItem(draftOf(form), JSON.stringify(draft));
}

// A tick says that somebody is sure; that is asked anew.
function bringBack(form) {
  const draft = draftIn(form);
  for (const one of typedIn(form).filter((one) => one.name in draft && one.type !== "checkbox")) {
    if (one.type === "radio") one.checked = one.value === draft[one.name];
    else one.value = draft[one.name];
    if (draft[one.name]) one.closest("details")?.setAttribute("open", "");
  }
}

document.addEventListener("input", ({ target: { form } }) => {
  if (!form || form.method !== "post") return;
  delete form.dataset.done;
  if (form.dataset.kept) saveDraft(form);
});

function say(text) {
  document.querySelector(".told")?.remove();
  const note = element("div", { className: "note told" }, element("p", { textContent: text }));
  note.setAttribute("role", "status");
  document.getElementById("main").append(note);
}

document.addEventListener("submit", (event) => {
  const { target: form, submitter } = event;
  if (form.method !== "post" || event.defaultPrevented) return;
  if (form.dataset.sent || form.dataset.done === (submitter?.value ?? "")) {
    event.preventDefault();
    return;
  }
  form.dataset.sent = "yes";
  endScan();
  // What a form would do can be looked at only where the server is.
  if (!form.dataset.kept || submitter?.value === "look") return;
  if (sendKept(form, submitter)) event.preventDefault();
});

// A figure of a page opens to its working on it; not every browser opens what that lies in.
document.addEventListener("click", ({ target }) => {
  const link = target.closest?.('a[href^="#"]');
  if (link) document.getElementById(link.hash.slice(1))?.closest("details")?.setAttribute("open", "");
});

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
  offerScanning();
  show();
}

// A form that was refused is the answer to what was sent, which a browser will not show again: its
// Back would lead to a page of its own about a resend. So it comes back as the page with that form,
// asked for anew: whoever has signed out meanwhile sees nothing of it.
history.replaceState(history.state, "", location.href);

window.addEventListener("pageshow", () => {
  ready();
  sendQuietly();
});
