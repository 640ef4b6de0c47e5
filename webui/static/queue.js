// @ts-check
/**
 * A desk's list of conversations: signing in, the list as it changes, a new case in one line, a caller's by its code.
 */
import { hear, isMuted, mute, show } from "./bell.js";
import { GROUPS, grouped, pause, viewRow } from "./calls.js";
import { h, patch } from "./dom.js";
import { dial } from "./socket.js";
import { shorthand } from "./shorthand.js";
import { LANGUAGES, count, lang, nameOf, relabel, speak, speakMore, t } from "./text.js";

const TYPED = 200,
  BACK = 300000; // ms: after the last letter of a search; between two looks at whom to ask back

/** @param {string} id @returns {any} */
const el = (id) => document.getElementById(id);
/** @type {any} */ let list = null;
/** @type {any[]} */ let back = [];
let line = /** @type {any} */ (null),
  ended = false,
  mine = false,
  search = "",
  plots = /** @type {any} */ (null),
  figures = /** @type {any} */ (null),
  weeks = 8,
  backAt = 0,
  timer = 0;

/** The keys and what each does: none of them writes a letter, for whatever is typed goes into the line.
 * @type {[string, string, () => void][]} */
const KEYS = [
  ["F1", "desk.keys", () => keys()],
  ["F2", "desk.take_row", () => takeRow()],
  ["F3", "desk.search", () => el("search").focus()],
  ["F4", "desk.code", () => el("code").focus()],
  ["F6", "desk.mine", () => toggle({ mine: !mine })],
  ["F7", "desk.ended", () => toggle({ ended: !ended })],
  [
    "F8",
    "bell.sound",
    () => {
      mute();
      render();
    },
  ],
  ["F9", "desk.statistics", () => statistics()],
  ["↓ ↑", "desk.key.move", () => {}],
  ["Enter", "desk.key.open", () => {}],
  ["Esc", "desk.key.line_back", () => {}],
];

/** @param {number} by */
function move(by) {
  const rows = /** @type {any[]} */ ([...document.querySelectorAll(".call-row")]).filter((r) => r.checkVisibility()),
    at = rows.indexOf(document.activeElement);
  const next = rows[at < 0 ? (by > 0 ? 0 : rows.length - 1) : Math.min(rows.length - 1, at + by)];
  at + by < 0 && at >= 0 ? el("case").focus() : next && next.focus();
}

/** @param {{mine?: boolean, ended?: boolean, search?: string}} what */
function toggle(what) {
  mine = what.mine ?? mine;
  ended = what.ended ?? ended;
  search = what.search ?? search;
  render();
  follow();
}

/** Takes over the call that has the focus or, if none has, the first that nobody attends to, and goes there. */
function takeRow() {
  const row = /** @type {any} */ (document.activeElement),
    id =
      (row && row.dataset && row.dataset.row) ||
      ((list && list.entries) || [])
        .filter((/** @type {any} */ e) => !e.assignedTo && !e.closing)
        .map((/** @type {any} */ e) => e.id)[0];
  if (id) take(id);
}

/** @param {string} id */
async function take(id) {
  try {
    await line.call("assign", { id });
  } catch {
    return say("case-bad", t("code.later"));
  }
  location.href = "/desk/c/" + encodeURIComponent(id);
}

async function statistics() {
  try {
    plots ||= await import("./stats.js");
    figures = await line.call("get_statistics", { locale: lang, weeks });
  } catch {
    return say("case-bad", t("code.later"));
  }
  render();
  el("statistics").scrollIntoView({ block: "start" });
  el("statistics-title").focus();
}

function keys() {
  const fold = el("keys-fold");
  fold.open = !fold.open;
  if (fold.open) fold.scrollIntoView({ block: "end" });
}

/** @param {string} id @param {string} text */
function say(id, text) {
  el(id).textContent = text;
}

function follow() {
  line.call("watch_list", { locale: lang, closed: ended, mine, search }).catch(refused);
  askBack();
}

/** Whom to ask back changes by the day, so it is asked for now and then. */
async function askBack() {
  try {
    back = (await line.call("list_calls", { locale: lang, dueBack: true, mine })).entries || [];
    backAt = Date.now();
  } catch {
    return;
  }
  render();
}

/** @param {any} fault */
function refused(fault) {
  if (fault.code === "UNAUTHENTICATED" || fault.code === "PERMISSION_DENIED") location.reload();
  else if (line.isOpen()) line.drop();
}

/** @param {string} group @param {any[]} entries @param {number} now */
function viewGroup(group, entries, now) {
  if (entries.length === 0) return null;
  const rows = h(
    "ol",
    { class: "queue", "aria-labelledby": "group-" + group },
    entries.map((e) => viewRow(e, group, now)),
  );
  const head = h(
    "h3",
    { id: "group-" + group },
    t("group." + group),
    h("span", { class: "soft" }, String(entries.length)),
  );
  return group === "quiet"
    ? h("details", { key: group, class: "group", "data-group": group }, h("summary", null, head), rows)
    : h("section", { key: group, class: "group", "data-group": group }, head, rows);
}

/** @param {string} id @param {string} key @param {string} words @param {boolean} on @param {() => void} does */
const switchKey = (id, key, words, on, does) =>
  h(
    "button",
    {
      type: "button",
      class: "small",
      id,
      key: id,
      "aria-pressed": String(on),
      "aria-keyshortcuts": key,
      onclick: does,
    },
    t(words),
    " ",
    h("kbd", null, key),
  );

function render() {
  const entries = (list && list.entries) || [],
    now = Date.now(),
    groups = grouped(entries, search ? [] : back, now);
  const open = entries.filter((/** @type {any} */ e) => !e.closing).length;
  show(el("bell"), el("bell-live"), t("desk.title"), take, "F2");
  patch(el("queue-head"), [
    h("h2", { id: "queue-title", key: "t" }, count("desk.calls", open)),
    switchKey("mine", "F6", "desk.mine", mine, () => toggle({ mine: !mine })),
    switchKey("ended", "F7", "desk.ended", ended, () => toggle({ ended: !ended })),
    switchKey("sound", "F8", "bell.sound", !isMuted(), () => {
      mute();
      render();
    }),
  ]);
  patch(el("queue"), [
    ...GROUPS.map((g) => viewGroup(g, groups.get(g) || [], now)),
    list && entries.length === 0 && h("p", { class: "soft", key: "none" }, t(search ? "desk.not_found" : "desk.none")),
    list && list.more && h("p", { class: "soft", key: "m" }, t("desk.more")),
  ]);
  patch(el("statistics"), [
    h(
      "h2",
      { id: "statistics-title", tabindex: "-1" },
      h("span", null, t("desk.statistics")),
      figures &&
        h(
          "span",
          { class: "spans" },
          [4, 8, 52].map((n) =>
            h(
              "button",
              {
                key: String(n),
                type: "button",
                class: "small",
                "data-weeks": String(n),
                "aria-pressed": String(weeks === n),
                onclick: () => {
                  weeks = n;
                  statistics();
                },
              },
              t("stats.weeks", { n }),
            ),
          ),
        ),
      h(
        "button",
        { type: "button", class: "small", id: "plots", "aria-keyshortcuts": "F9", onclick: statistics },
        t(figures ? "desk.again" : "desk.show"),
        " ",
        h("kbd", null, "F9"),
      ),
    ),
    figures && plots.viewStatistics(figures),
  ]);
  patch(el("keys"), [
    h(
      "details",
      { id: "keys-fold" },
      h("summary", null, h("h2", null, t("desk.keys"), " ", h("kbd", null, "F1"))),
      h(
        "ul",
        { class: "keys-list" },
        KEYS.map(([key, what]) => h("li", { key }, h("kbd", null, key), t(what))),
      ),
    ),
  ]);
}

/** Renders as often as something that is shown grows older. */
function tick() {
  clearTimeout(timer);
  if (line && !document.hidden) render();
  if (line && line.isOpen() && Date.now() - backAt > BACK) askBack();
  timer = window.setTimeout(tick, pause((list && list.entries) || [], Date.now()));
}

/** @param {any} e */
function pressed(e) {
  if (e.ctrlKey || e.altKey || e.metaKey || e.isComposing || el("signed-in").hidden) return;
  const found = KEYS.find(([key]) => key === e.key),
    typing = e.target.matches("input, textarea, select");
  if (/^F\d/.test(e.key) && found) {
    e.preventDefault();
    return found[2]();
  }
  if (e.key === "ArrowDown" || e.key === "ArrowUp") {
    e.preventDefault();
    return move(e.key === "ArrowDown" ? 1 : -1);
  }
  if (e.key === "Escape") {
    if (e.target.id === "search" && search) {
      e.target.value = "";
      toggle({ search: "" });
    }
    return el("case").focus();
  }
  // Whatever is typed goes into the line; a space presses what has the focus.
  if (!typing && e.key.length === 1 && e.key !== " ") el("case").focus();
}

/** Opens a conversation with what the line says, and goes there. @param {any} e */
async function begin(e) {
  e.preventDefault();
  const text = shorthand(el("case").value.trim());
  say("case-bad", "");
  try {
    const { conversation } = await line.call("open", { locale: lang }),
      id = conversation.id;
    // Both go out at once; the service takes them one after the other.
    await Promise.all([text && line.call("say", { id, text, locale: lang }), line.call("assign", { id })]);
    location.href = "/desk/c/" + encodeURIComponent(id);
  } catch (fault) {
    say("case-bad", t("code.later"));
  }
}

/** @param {any} e */
async function find(e) {
  e.preventDefault();
  say("code-bad", "");
  const typed = el("code")
    .value.trim()
    .replace(/^.*\/look\//, "");
  try {
    location.href = "/desk/c/" + encodeURIComponent((await line.call("find_by_code", { code: typed })).id);
  } catch (fault) {
    const kind = /** @type {any} */ (fault).code;
    say(
      "code-bad",
      t(
        kind === "NOT_FOUND" || kind === "INVALID_ARGUMENT"
          ? "code.none"
          : kind === "RESOURCE_EXHAUSTED"
            ? "code.wait"
            : "code.later",
      ),
    );
  }
}

/** @param {any} e */
async function signIn(e) {
  e.preventDefault();
  say("token-bad", "");
  const answer = await fetch("/desk/sign-in", {
    method: "POST",
    headers: { "Content-Type": "application/json" },
    body: JSON.stringify({ token: el("token").value.trim() }),
  }).catch(() => null);
  el("token").value = "";
  if (answer && answer.ok) return start();
  say(
    "token-bad",
    t(
      !answer || answer.status >= 500
        ? "code.later"
        : answer.status === 403
          ? "desk.no_desk"
          : answer.status === 429
            ? "code.wait"
            : "desk.no_token",
    ),
  );
  el("token").focus();
}

/** Shows the list if somebody is signed in, and otherwise asks for a token. */
async function start() {
  const answer = await fetch("/desk/me").catch(() => null),
    ok = !!answer && answer.ok;
  el("sign-in").hidden = ok;
  el("signed-in").hidden = el("out").hidden = !ok;
  document.title = t("desk.title");
  if (!ok) {
    say("link", "");
    return el("token").focus();
  }
  render();
  line ||= dial((location.protocol === "https:" ? "wss://" : "ws://") + location.host + "/desk/socket", {
    link(link) {
      queueMicrotask(() => {
        el("line").className = link;
        say("link", t(link === "open" ? "link.connected" : "desk.away"));
        if (link === "open") follow();
      });
    },
    push() {},
    broken: refused,
    list: (news) => {
      list = news;
      hear(news.entries || [], "", Date.now());
      const held = /** @type {any} */ (document.activeElement);
      tick();
      if (held && held.isConnected && document.activeElement !== held) held.focus();
    },
  });
  el("case").focus();
}

async function change(/** @type {string} */ wanted) {
  try {
    await speak(wanted);
  } catch {
    return;
  }
  document.cookie = `lang=${wanted}; path=/; max-age=31536000; samesite=lax`;
  relabel();
  if (line) {
    render();
    follow();
  }
}

for (;;) {
  try {
    await speak(document.documentElement.lang);
    await speakMore();
    break;
  } catch {
    await new Promise((go) => setTimeout(go, 3000));
  }
}
const root = document.documentElement,
  night = el("night"),
  showNight = () => night.setAttribute("aria-pressed", String(root.dataset.look === "night"));
night.hidden = false;
night.onclick = () => {
  root.dataset.look = root.dataset.look === "night" ? "" : "night";
  document.cookie = `look=${root.dataset.look}; path=/; max-age=31536000; samesite=lax`;
  showNight();
};
showNight();
for (const each of LANGUAGES) {
  const link = document.createElement("a");
  Object.assign(link, {
    id: "lang-" + each,
    href: "?lang=" + each,
    hreflang: each,
    lang: each,
    textContent: nameOf(each),
  });
  if (each === lang) link.setAttribute("aria-current", "true");
  link.onclick = (e) => {
    e.preventDefault();
    change(each);
  };
  el("languages").append(link, " ");
}
el("sign-in").onsubmit = signIn;
el("new").onsubmit = begin;
el("find").onsubmit = find;
let typed = 0;
el("seek").onsubmit = (/** @type {any} */ e) => {
  e.preventDefault();
  move(1);
};
el("search").oninput = () => {
  clearTimeout(typed);
  typed = window.setTimeout(() => toggle({ search: el("search").value }), TYPED);
};
el("out").onclick = async () => {
  await fetch("/desk/sign-out", { method: "POST" }).catch(() => null);
  location.reload();
};
document.addEventListener("keydown", pressed);
document.addEventListener("visibilitychange", tick);
start();
tick();
