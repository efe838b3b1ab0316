"use strict";
// What was typed at the bench outlives a lost network. A form is first kept on the device, under a
// key of its own, with who typed it and when; then it is sent, and sent again until the server has
// done it, which it does once for each key. It goes from here only when it was done, or when whoever
// typed it withdraws it: it is sent in nobody else's name, and no page where somebody types is left.

const KEPT = "stillroom.kept";
// How often what waits is sent again, how long an answer may take, and when what was sent is shown
// to be kept here.
const EVERY_MS = 30_000;
const PATIENCE_MS = 60_000;
const SOON_MS = 5_000;
// The server knows for seven days what it did under a key; later it might do it twice.
const LONGEST_MS = 6 * 24 * 3_600_000;

const whose = () => document.body.dataset.whose;
const words = () => document.getElementById("kept-words").dataset;
const all = () => JSON.parse(localStorage.getItem(KEPT) || "[]");
const write = (rows) => localStorage.setItem(KEPT, JSON.stringify(rows));
const mine = () => all().filter((one) => one.whose === whose());
const found = (key) => mine().find((one) => one.key === key);
const drop = (key) => write(all().filter((one) => one.key !== key));
const change = (key, facts) =>
  write(all().map((one) => (one.key === key ? { ...one, ...facts } : one)));
const keep = (one) => (found(one.key) ? change(one.key, one) : write([...all(), one]));

const newKey = () =>
  [...crypto.getRandomValues(new Uint8Array(16))]
    .map((byte) => byte.toString(16).padStart(2, "0"))
    .join("");
const keyFields = () => [...document.querySelectorAll("[name=form_key]")];
// What stands in a form of this page is put right there, and is neither shown nor sent besides.
const openHere = (key) => keyFields().some((field) => field.value === key);

// Two tabs do not send at once. Where a browser has no locks, a form is still done once for its key.
const alone = (work, how = {}) =>
  navigator.locks ? navigator.locks.request(KEPT, how, (lock) => lock && work()) : work();

// What is sent: what was typed, and how long ago and by whom. The page's own token goes with it,
// since signing in makes a new one.
function fieldsOf(one) {
  const token = document.querySelector("[name=csrfmiddlewaretoken]").value;
  const ago = Math.max(0, Date.now() - one.at);
  return [...one.body, ["csrfmiddlewaretoken", token], ["ago", ago], ["whose", one.whose]];
}

// What became of one form: `to` where it led to, `refused` why not, with the page that says so, or
// `why` it waits. Only an answer about what was typed is a refusal; `reused` is one that no other
// figure puts right, since the key stands for what was done already.
async function send(one) {
  if (Date.now() - one.at > LONGEST_MS) return { refused: words().old };
  try {
    const answer = await fetch(one.to, {
      method: "POST",
      body: new URLSearchParams(fieldsOf(one)),
      credentials: "same-origin",
      signal: AbortSignal.timeout?.(PATIENCE_MS),
    });
    const { pathname } = new URL(answer.url);
    if (answer.redirected && ["/sign-in", "/makers"].includes(pathname)) return { why: "out" };
    if (answer.redirected && answer.ok) return { to: answer.url };
    const page = new DOMParser().parseFromString(await answer.text(), "text/html");
    const reused = page.querySelector("[data-reused]");
    if (reused) return { refused: reused.textContent, reused: true };
    if (![400, 404, 413, 422].includes(answer.status)) return { why: "later" };
    const said = [...page.querySelectorAll("#main .errorlist li")];
    const told = said.length ? said : [page.querySelector("#main p, #main h1")];
    return { refused: told.map((one) => one?.textContent.trim()).join(" "), page };
  } catch {
    return { why: "away" };
  }
}

// Everything that waits, in its order; what became of each, by its key. What follows at the same
// batch on what was not taken waits too, but for `own`, the form that is being sent just now.
async function sendAll(own) {
  const came = new Map();
  const stuck = new Set();
  for (const { key } of mine()) {
    // It may have been withdrawn meanwhile.
    const one = found(key);
    if (!one) continue;
    const about = one.to.split(/[/?]/).slice(1, 3).join("/");
    if (key !== own && (one.refused || openHere(key) || stuck.has(about))) {
      stuck.add(about);
      continue;
    }
    const outcome = await send(one);
    came.set(key, outcome);
    if (outcome.to) {
      drop(key);
      continue;
    }
    stuck.add(about);
    const { why, refused, reused } = outcome;
    change(key, { waited: true, why, refused, reused });
    if (["away", "out"].includes(why)) break;
  }
  return came;
}

// What was sent while this page stood open.
const sent = [];
const typedHere = (one) => one.to.split("?")[0] === location.pathname;
const isTyping = () =>
  [...document.forms]
    .filter((form) => form.method === "post")
    .flatMap(typedIn)
    .some(({ checked, defaultChecked, value, defaultValue }) =>
      checked === defaultChecked ? value !== (defaultValue ?? value) : true,
    );

// Send what waits, and say so. A page where it was typed is shown anew, unless somebody types there.
async function sendQuietly(how = { ifAvailable: true }) {
  if (!mine().some((one) => !one.refused)) return;
  const before = mine();
  const came = (await alone(() => sendAll(), how)) ?? new Map();
  const done = before.filter((one) => came.get(one.key)?.to);
  sent.push(...done.map((one) => ({ as: one.as, to: came.get(one.key).to })));
  const here = done.filter(typedHere).at(-1);
  if (here && !isTyping()) goTo(came.get(here.key).to);
  else show();
}

// An address that differs from the page's own in its place alone would not be loaded anew.
function goTo(address) {
  const [page] = address.split("#");
  location.assign(page === location.href.split("#")[0] ? page : address);
}

// A form as it is kept. One that was kept before and is put right keeps its key and its time.
function recordOf(form, button) {
  const key = form.elements.form_key;
  const before = found(key.value);
  // The forms of a page share a key until one of them is sent.
  if (before && before.form !== form.dataset.kept) key.value = newKey();
  const body = [...new FormData(form)].filter(([name]) => name !== "csrfmiddlewaretoken");
  if (button?.name) body.push([button.name, button.value]);
  return {
    key: key.value,
    whose: whose(),
    form: form.dataset.kept,
    to: location.pathname + location.search,
    as: described(form, button),
    at: found(key.value)?.at ?? Date.now(),
    body,
    refused: undefined,
  };
}

function described(form, button) {
  const told = typedIn(form)
    .filter((one) => one.value && (one.type === "radio" ? one.checked : one.type !== "checkbox"))
    .map((one) => {
      const label = one.labels[0]?.textContent.trim() ?? "";
      if (one.type === "radio") return label;
      return `${label} ${one.matches("select") ? one.selectedOptions[0].text : one.value}`;
    });
  const done = button?.dataset.as ?? (told.length ? "" : button?.textContent);
  return [form.dataset.as, done, ...told].filter(Boolean).join(" · ");
}

// Keep a form and send it; false where nothing can be kept, and the browser sends it by itself.
function sendKept(form, button) {
  if (!whose()) return false;
  const record = recordOf(form, button);
  const again = Boolean(found(record.key));
  try {
    keep(record);
  } catch {
    return false;
  }
  forgetDraft(form);
  carry(form, button, record, again);
  return true;
}

async function carry(form, button, record, again) {
  let settled = false;
  const settle = () => {
    if (settled) return show();
    settled = true;
    change(record.key, { waited: true });
    makeRoom(form, button, record.key);
    show();
  };
  const soon = setTimeout(settle, SOON_MS);
  const came = await alone(() => sendAll(record.key));
  clearTimeout(soon);
  // Another tab may have sent it.
  const outcome = came.get(record.key) ?? (found(record.key) ? {} : { to: record.to });
  if (outcome.to && (!settled || !isTyping())) return goTo(outcome.to);
  if (outcome.to) sent.push({ as: record.as, to: outcome.to });
  if (!outcome.page || (settled && isTyping())) return settle();
  // It was refused where it was typed, and is put right there.
  if (!again && !settled) drop(record.key);
  const main = document.adoptNode(outcome.page.getElementById("main"));
  document.getElementById("main").replaceWith(main);
  document.title = outcome.page.title;
  htmx.process(main);
  ready();
  for (const one of document.forms) if (one.dataset.kept === record.form) saveDraft(one, true);
  document.querySelector("[autofocus]")?.focus();
}

// What was kept makes room for what is typed next, which is another thing and has another key. Until
// then a second tap is the same tap.
function makeRoom(form, button, key) {
  const fresh = newKey();
  for (const field of keyFields()) if (field.value === key) field.value = fresh;
  for (const one of typedIn(form)) {
    if (one.type === "checkbox") one.checked = one.defaultChecked = false;
    else if (one.type === "radio") one.checked = one.defaultChecked;
    else if (!one.matches("select")) one.value = one.defaultValue = "";
  }
  form.querySelectorAll(".errorlist, .refusal").forEach((one) => one.remove());
  const unkept = document.querySelector(".unkept");
  if (unkept) document.title = document.title.replace(`${unkept.dataset.titled} `, "");
  unkept?.remove();
  form.dataset.done = button?.value ?? "";
  delete form.dataset.sent;
}

// What waits, at the foot of the page: each may be withdrawn, and what was refused be put right.
function show() {
  document.querySelectorAll(".kept, .kept-by-others").forEach((one) => one.remove());
  const waiting = mine().filter((one) => one.waited && !openHere(one.key));
  const main = document.getElementById("main");
  if (waiting.length || sent.length) {
    const note = element("div", { className: "note kept" });
    note.setAttribute("role", "status");
    note.append(...sent.map(lineOfSent));
    if (waiting.length) note.append(why(waiting), element("ul", {}, ...waiting.map(lineOfWaiting)));
    main.append(note);
  }
  if (all().some((one) => one.whose !== whose())) {
    main.append(element("p", { className: "small kept-by-others", textContent: words().others }));
  }
}

// Why it waits, and what may be done about all of it.
function why(waiting) {
  const next = waiting.find((one) => !one.refused);
  const because = next?.why ?? (waiting.some((one) => one.refused) ? "refused" : "away");
  const line = element("p", {}, element("span", { textContent: words()[because] }));
  if (because === "out") {
    const back = encodeURIComponent(location.pathname + location.search);
    line.append(link(words().signIn, `/sign-in?next=${back}`));
  } else if (because !== "refused") line.append(button(words().send, () => sendQuietly({})));
  return line;
}

function lineOfSent({ as, to }) {
  const told = element("span", { textContent: `${words().sent} ${as}` });
  return element("p", {}, told, link(words().see, to));
}

function lineOfWaiting(one) {
  const at = new Date(one.at);
  const today = at.toDateString() === new Date().toDateString();
  const moment = { dateStyle: today ? undefined : "short", timeStyle: "short" };
  const when = at.toLocaleString(document.documentElement.lang, moment);
  const line = element("li", {}, element("div", { textContent: `${one.as} · ${when}` }));
  if (one.refused) {
    line.append(element("div", { className: "errorlist", textContent: one.refused }));
    if (!one.reused) line.append(button(words().putRight, () => putRight(one)));
  }
  line.append(button(words().withdraw, () => withdraw(one)));
  return line;
}

// The server's own page shows what is wrong beside what was typed.
function putRight(one) {
  change(one.key, { refused: undefined });
  const form = element("form", { method: "post", action: one.to, hidden: true });
  for (const [name, value] of fieldsOf(one)) {
    form.append(element("input", { type: "hidden", name, value }));
  }
  document.body.append(form);
  form.submit();
}

function withdraw(one) {
  if (!window.confirm(`${one.as}\n\n${words().sure}`)) return;
  alone(() => {
    drop(one.key);
    show();
  });
}

function element(name, facts, ...inside) {
  const made = Object.assign(document.createElement(name), facts);
  made.append(...inside);
  return made;
}
const link = (textContent, href) => element("a", { textContent, href, className: "button" });
const button = (textContent, onclick) => element("button", { type: "button", textContent, onclick });

// Another tab has sent what was typed here, or all of it was withdrawn there.
window.addEventListener("storage", ({ key, oldValue }) => {
  if (key !== KEPT) return;
  const gone = JSON.parse(oldValue || "[]").some((one) => typedHere(one) && !found(one.key));
  const over = gone && !mine().some((one) => typedHere(one) && !one.refused);
  if (over && !isTyping()) goTo(location.pathname + location.search);
  else show();
});
window.addEventListener("online", () => sendQuietly());
setInterval(() => sendQuietly(), EVERY_MS);
