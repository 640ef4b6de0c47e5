// @ts-check
/**
 * A desk's list of conversations: signing in, the list as it changes, a new case in one line, a caller's by its code.
 */
import { grade, gradeText, sign } from "./danger.js";
import { h, patch } from "./dom.js";
import { dial } from "./socket.js";
import { percent } from "./state.js";
import { shorthand } from "./shorthand.js";
import { LANGUAGES, count, lang, relabel, speak, speakMore, t } from "./text.js";

/** @param {string} id @returns {any} */
const el = (id) => document.getElementById(id);
/** @type {any} */ let list = null;
let line = /** @type {any} */ (null), ended = false, due = false, plots = /** @type {any} */ (null),
    figures = /** @type {any} */ (null), keysOn = !/(^|; )keys=off/.test(document.cookie);

/** The keys and what each does. @type {[string, string, () => void][]} */
const KEYS = [
  ["/", "desk.new", () => el("case").focus()],
  ["f", "desk.code", () => el("code").focus()],
  ["j", "desk.key.down", () => move(1)],
  ["k", "desk.key.up", () => move(-1)],
  ["Enter", "desk.key.open", () => {}],
  ["e", "desk.ended", () => toggleEnded()],
  ["b", "desk.due", () => toggleDue()],
  ["p", "desk.statistics", () => statistics()],
];

/** @param {number} by */
function move(by) {
  const rows = /** @type {any[]} */ ([...document.querySelectorAll(".call-row")]),
      at = rows.indexOf(document.activeElement);
  const next = rows[at < 0 ? (by > 0 ? 0 : rows.length - 1) : Math.min(rows.length - 1, Math.max(0, at + by))];
  if (next) next.focus();
}

function toggleEnded() { ended = !ended; due = false; follow(); }
function toggleDue() { due = !due; follow(); }

async function statistics() {
  try {
    plots ||= await import("./stats.js");
    figures = await line.call("get_statistics", { locale: lang });
  } catch { return say("case-bad", t("code.later")); }
  render();
  el("statistics").scrollIntoView({ block: "nearest" });
}

/** @param {string} id @param {string} text */
function say(id, text) { el(id).textContent = text; }

function follow() {
  line.call("watch_list", { locale: lang, closed: ended, dueBack: due }).catch(refused);
}

/** @param {any} fault */
function refused(fault) {
  if (fault.code === "UNAUTHENTICATED" || fault.code === "PERMISSION_DENIED") location.reload();
  else if (line.isOpen()) line.drop();
}

/** How long ago, in words. @param {string} at */
function ago(at) {
  const minutes = Math.max(0, Math.round((Date.now() - Date.parse(at)) / 60000));
  return minutes < 1 ? t("desk.now") : minutes < 90 ? t("desk.minutes", { n: minutes }) : minutes < 2880 ?
      t("desk.hours", { n: Math.round(minutes / 60) }) : t("desk.days", { n: Math.round(minutes / 1440) });
}

/** @param {any} e */
function viewRow(e) {
  const d = (e.dangers || [])[0], ending = e.closing && t("outcome." + e.closing.outcome);
  const level = d && !ending ? " row-" + d.severity.slice(9).toLowerCase() : "";
  return h("li", { key: e.id }, h("a", { class: "call-row" + level, href: "/desk/c/" + encodeURIComponent(e.id),
      "data-row": e.id },
    h("span", { class: "danger-cell" }, d && !ending ? h("span", { class: "grade grade-" + grade(d)[1] }, sign(d),
        gradeText(d)) : h("span", { class: "soft" }, ending || t("desk.calm"))),
    h("span", { class: "what" }, (e.told || []).join(" · ") || t("desk.nothing")),
    h("span", { class: "lead soft" }, d && !ending ? d.title : e.causes ? e.causes.join("; ") : e.lead ?
        `${e.lead.title} ${percent(e.lead.probability || 0)}` : ""),
    h("span", { class: "soft held" }, e.assignedTo ? t("desk.held", { name: e.assignedTo }) : !ending &&
        t("desk.free")),
    h("span", { class: "soft when" }, ago(e.changedAt), e.noteCount ? " · " + count("desk.notes", e.noteCount) : "")));
}

function render() {
  document.title = t("desk.title");
  const entries = (list && list.entries) || [];
  patch(el("queue"), [
    h("h2", { id: "queue-title", key: "t" }, h("span", null, count("desk.calls", entries.length)),
        h("button", { type: "button", class: "small", id: "ended", "aria-pressed": String(ended),
        onclick: toggleEnded }, t("desk.ended"), " ", h("kbd", null, "e")),
      h("button", { type: "button", class: "small", id: "due", "aria-pressed": String(due), onclick: toggleDue },
          t("desk.due"), " ", h("kbd", null, "b"))),
    list && entries.length === 0 && h("p", { class: "soft", key: "none" }, t(due ? "desk.none_due" : "desk.none")),
    h("ol", { class: "queue", key: "q" }, entries.map(viewRow)),
    list && list.more && h("p", { class: "soft", key: "m" }, t("desk.more")),
  ]);
  patch(el("statistics"), [
    h("h2", { id: "statistics-title" }, h("span", null, t("desk.statistics")), h("button", { type: "button",
        class: "small", id: "plots", onclick: statistics }, t(figures ? "desk.again" : "desk.show"), " ",
        h("kbd", null, "p"))),
    figures && plots.viewStatistics(figures),
  ]);
  patch(el("keys"), [
    h("h2", { id: "keys-title" }, h("span", null, t("desk.keys")), h("button", { type: "button", class: "small",
        id: "keys-switch", "aria-pressed": String(keysOn), onclick: switchKeys }, t("desk.keys_on"))),
    h("ul", { class: "keys-list" }, KEYS.map(([key, what]) => h("li", { key }, h("kbd", null, key), t(what)))),
  ]);
}

function switchKeys() {
  keysOn = !keysOn;
  document.cookie = `keys=${keysOn ? "" : "off"}; path=/; max-age=31536000; samesite=lax`;
  render();
}

/** @param {any} e */
function pressed(e) {
  if (!keysOn || e.ctrlKey || e.altKey || e.metaKey || el("signed-in").hidden) return;
  if (e.target.matches("input, textarea, select")) { if (e.key === "Escape") e.target.blur(); return; }
  const found = KEYS.find(([key]) => key === e.key && key !== "Enter");
  if (found) { e.preventDefault(); found[2](); }
}

/** Opens a conversation with what the line says, and goes there. @param {any} e */
async function begin(e) {
  e.preventDefault();
  const text = shorthand(el("case").value.trim(), lang);
  say("case-bad", "");
  try {
    const { conversation } = await line.call("open", { locale: lang });
    if (text) await line.call("say", { id: conversation.id, text, locale: lang });
    await line.call("assign", { id: conversation.id });
    location.href = "/desk/c/" + encodeURIComponent(conversation.id);
  } catch (fault) { say("case-bad", t("code.later")); }
}

/** @param {any} e */
async function find(e) {
  e.preventDefault();
  say("code-bad", "");
  const typed = el("code").value.trim().replace(/^.*\/look\//, "");
  try { location.href = "/desk/c/" + encodeURIComponent((await line.call("find_by_code", { code: typed })).id);
      } catch (fault) {
    const kind = /** @type {any} */ (fault).code;
    say("code-bad", t(kind === "NOT_FOUND" || kind === "INVALID_ARGUMENT" ? "code.none" :
        kind === "RESOURCE_EXHAUSTED" ? "code.wait" : "code.later"));
  }
}

/** @param {any} e */
async function signIn(e) {
  e.preventDefault();
  say("token-bad", "");
  const answer = await fetch("/desk/sign-in", { method: "POST", headers: { "Content-Type": "application/json" },
      body: JSON.stringify({ token: el("token").value.trim() }) }).catch(() => null);
  el("token").value = "";
  if (answer && answer.ok) return start();
  say("token-bad", t(!answer || answer.status >= 500 ? "code.later" : answer.status === 403 ? "desk.no_desk" :
      answer.status === 429 ? "code.wait" : "desk.no_token"));
  el("token").focus();
}

/** Shows the list if somebody is signed in, and otherwise asks for a token. */
async function start() {
  const answer = await fetch("/desk/me").catch(() => null), ok = !!answer && answer.ok;
  el("sign-in").hidden = ok;
  el("signed-in").hidden = el("out").hidden = !ok;
  if (!ok) { say("link", ""); return el("token").focus(); }
  render();
  line ||= dial((location.protocol === "https:" ? "wss://" : "ws://") + location.host + "/desk/socket", {
    link(link) { queueMicrotask(() => { el("line").className = link; say("link", t(link === "open" ? "link.connected" :
        "desk.away")); if (link === "open") follow(); }); },
    push() {}, broken: refused,
    list: (news) => { list = news; const held = /** @type {any} */ (document.activeElement); render();
        if (held && held.isConnected && document.activeElement !== held) held.focus(); },
  });
  el("case").focus();
}

async function change(/** @type {string} */ wanted) {
  try { await speak(wanted); } catch { return; }
  document.cookie = `lang=${wanted}; path=/; max-age=31536000; samesite=lax`;
  relabel();
  if (line) { render(); follow(); }
}

for (;;) {
  try { await speak(document.documentElement.lang); await speakMore(); break; } catch { await new Promise((go) =>
      setTimeout(go, 3000)); }
}
const root = document.documentElement, night = el("night"), showNight = () => night.setAttribute("aria-pressed",
    String(root.dataset.look === "night"));
night.hidden = false;
night.onclick = () => { root.dataset.look = root.dataset.look === "night" ? "" : "night";
    document.cookie = `look=${root.dataset.look}; path=/; max-age=31536000; samesite=lax`; showNight(); };
showNight();
for (const each of LANGUAGES) el("lang-" + each).onclick = (/** @type {any} */ e) => { e.preventDefault();
    change(each); };
el("sign-in").onsubmit = signIn;
el("new").onsubmit = begin;
el("find").onsubmit = find;
el("out").onclick = async () => { await fetch("/desk/sign-out", { method: "POST" }).catch(() => null);
    location.reload(); };
document.addEventListener("keydown", pressed);
setInterval(() => line && !document.hidden && render(), 30000);
start();
