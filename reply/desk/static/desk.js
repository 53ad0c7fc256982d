"use strict";
// Conveniences of the staff page. Every one of them only saves a way that is
// there without scripts: keys bring to buttons, and a page says when it is stale.

const find = (s) => document.querySelector(s);
const keysOn = () => localStorage.getItem("keys") !== "off";

function typing(e) {
  return e.ctrlKey || e.metaKey || e.altKey || e.target.closest("input, select, textarea, [contenteditable]");
}

function step(by) {
  const all = [...document.querySelectorAll("[data-slip]")];
  if (!all.length) return;
  const at = all.indexOf(document.activeElement);
  const to = at < 0 ? (by > 0 ? 0 : all.length - 1) : Math.min(all.length - 1, Math.max(0, at + by));
  all[to].focus();
}

function bring(key) {
  const el = find(`[data-key="${key}"]`);
  if (!el) return;
  const box = el.closest("details");
  if (el.tagName === "SUMMARY") {
    box.open = true;
    const field = box.querySelector("textarea, input:not([type=hidden])");
    (field || el).focus();
  } else {
    el.focus();
  }
  document.activeElement.scrollIntoView({ block: "center" });
}

const ways = {
  j: () => step(1),
  k: () => step(-1),
  w: () => location.assign("/"),
  "?": () => location.assign("/keys"),
  n: () => { const a = find('[data-key="n"]'); if (a) a.click(); },
  s: () => {
    const field = find("[data-settings]");
    if (!field) return;
    field.closest("details").open = true;
    field.focus();
  },
};

document.addEventListener("keydown", (e) => {
  if (!keysOn() || typing(e)) return;
  if (ways[e.key]) ways[e.key]();
  else if ("aexb".includes(e.key)) bring(e.key);
  else return;
  e.preventDefault();
});

const toggle = find("[data-keys-toggle]");
if (toggle) {
  const name = () => { toggle.textContent = keysOn() ? toggle.dataset.on : toggle.dataset.off; };
  toggle.hidden = false;
  name();
  toggle.addEventListener("click", () => { localStorage.setItem("keys", keysOn() ? "off" : "on"); name(); });
}

// The small help on the page is there while the keys are.
function showHelp() {
  for (const help of document.querySelectorAll("[data-keyhelp]")) help.hidden = !keysOn();
}
showHelp();

// A page asks every second whether it is still right. A list then shows itself
// anew; a page that somebody reads says that it is out of date.
function tell(words) {
  const stale = find("[data-stale]");
  if (!stale || (stale.firstChild && stale.firstChild.textContent === words)) return;
  const link = document.createElement("a");
  link.href = location.pathname;
  link.textContent = stale.dataset.link;
  stale.replaceChildren(words, link);
  stale.hidden = false;
}

async function showAnew() {
  const r = await fetch(location.href, { headers: { "X-Desk": "list" } });
  if (!r.ok) return;
  const fresh = new DOMParser().parseFromString(await r.text(), "text/html").querySelector("main");
  const at = document.activeElement.getAttribute("href");
  find("main").replaceWith(fresh);
  const same = at && [...document.querySelectorAll("[data-slip]")].find((a) => a.getAttribute("href") === at);
  if (same) same.focus({ preventScroll: true });
  showHelp();
}

async function ask() {
  const page = find("[data-state]"), stale = find("[data-stale]"), others = find("[data-others]");
  const r = await fetch(page.dataset.state, { headers: { "X-Desk": "state" } });
  if (r.status === 403) tell(stale.dataset.out + " ");
  if (!r.ok) return;
  const now = await r.json();
  if (others) {
    others.hidden = !now.others;
    if (others.textContent !== now.others) others.textContent = now.others;
  }
  if (now.state === page.dataset.is) return;
  if ("live" in page.dataset) await showAnew();
  else tell(stale.dataset.words + " " + now.stale + " ");
}

if (find("[data-state]")) {
  let asking = false;
  const askOnce = async () => {
    if (document.hidden || asking) return;
    asking = true;
    try { await ask(); } catch { /* the next time may do */ } finally { asking = false; }
  };
  setInterval(askOnce, 1000);
  document.addEventListener("visibilitychange", askOnce);
}

// The frame of a reply is as high as its words.
for (const frame of document.querySelectorAll("[data-fit]")) {
  const fit = () => {
    const doc = frame.contentDocument;
    if (!doc || !doc.body) return;
    frame.style.height = "0";
    frame.style.height = doc.documentElement.scrollHeight + 2 + "px";
  };
  frame.addEventListener("load", fit);
  addEventListener("resize", fit);
  fit();
}

// One press sends a form once.
document.addEventListener("submit", (e) => {
  if (e.target.dataset.sent) { e.preventDefault(); return; }
  e.target.dataset.sent = "yes";
  addEventListener("pageshow", () => { delete e.target.dataset.sent; }, { once: true });
});
