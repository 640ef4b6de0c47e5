// @ts-check
/** A start that is watched: a clock, what should happen when, one tap for each thing seen, and how it went. */
import { h } from "./dom.js";
import { heading, upper, viewCautions } from "./question.js";
import { readNumber } from "./state.js";
import { t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/** @param {number} seconds */
const clock = (seconds) => `${Math.floor(seconds / 60)}:${String(Math.floor(seconds % 60)).padStart(2, "0")}`;

/** The clock in the place of the verdict. @param {State} s */
export function viewClock(s) {
  if (!s.switchedOn)
    return [
      h(
        "div",
        { class: "read", key: "clock", "data-part": "verdict" },
        h("strong", null, t("start.face")),
        h("p", { class: "cap" }, t("phase.flame.how")),
      ),
    ];
  /** @type {{ id: string, fromSeconds: number, untilSeconds: number }[]} */
  const phases = /** @type {any} */ (s.conversation).recovery.phases || [];
  const passed = Math.max(0, (Date.now() - s.switchedOn) / 1000);
  const coming = phases.findIndex((p) => passed < p.untilSeconds),
    at = coming < 0 ? phases.length - 1 : coming;
  const due = phases[at],
    begun = at > 0 ? phases[at - 1].untilSeconds : 0;
  const done = due ? Math.min(100, Math.round((100 * (passed - begun)) / (due.untilSeconds - begun))) : 0;
  const window = due && t("phase.window", { from: clock(due.fromSeconds), until: clock(due.untilSeconds) });
  return [
    h(
      "div",
      { class: "read", key: "clock", "data-part": "verdict" },
      h(
        "div",
        { class: "clock" },
        h("time", { role: "timer" }, clock(passed)),
        due &&
          h(
            "p",
            { "aria-live": "polite" },
            h("strong", null, t("phase." + due.id)),
            h("small", null, t(`phase.${due.id}.how`) + " · " + window),
          ),
      ),
      h(
        "div",
        { class: "track", "aria-hidden": "true" },
        phases.map((p, i) => h("i", { key: p.id, "--k": i < at ? "100%" : i === at ? done + "%" : "0%" })),
      ),
    ),
  ];
}

/** What to look at, in the order in which it shows, and how it went. @param {State} s @param {Act} act */
export function viewStart(s, act) {
  const r = /** @type {any} */ (s.conversation).recovery,
    watch = r.watch || [];
  const report = (/** @type {boolean} */ ran) => {
    const observations = [];
    for (const i of watch) {
      const w = s.watched[i.id];
      if (!w || (!w.state && !w.text)) continue;
      if (w.state) {
        observations.push({ id: i.id, state: w.state });
        continue;
      }
      const read = readNumber(w.text || "", i);
      if (read.number === undefined) {
        act.unread(i.id, read.problem);
        const field = document.getElementById("watch-" + i.id);
        return field && field.focus();
      }
      observations.push({ id: i.id, number: read.number });
    }
    act.queue(
      "report_start",
      { ran, observations },
      t(ran ? "mend.ran" : "mend.failed"),
      observations.map((o) => o.id),
    );
  };
  return [
    upper(
      heading("start", t("start.title")),
      h("p", { key: "how" }, t("start.how")),
      !s.switchedOn && viewCautions([t("mind.start"), t("start.alarm")]),
      h(
        "div",
        { class: "watch", key: "watch" },
        watch.map((/** @type {any} */ i) => viewWatched(s, act, i)),
      ),
    ),
    h(
      "p",
      { key: "stop", class: "stop" },
      h("svg", { class: "sign", "aria-hidden": "true", focusable: "false" }, h("use", { href: "#sign-care" })),
      h("span", null, t("start.stop")),
    ),
    !s.switchedOn &&
      h(
        "div",
        { class: "keys one", key: "on" },
        h(
          "button",
          { type: "button", class: "key go", id: "switched-on", onclick: () => act.switchedOn() },
          t("start.on"),
        ),
      ),
    h(
      "div",
      { class: "keys", role: "group", "aria-label": t("start.went"), key: "keys" },
      h("button", { type: "button", class: "key", id: "start-ran", onclick: () => report(true) }, t("start.ran")),
      h(
        "button",
        { type: "button", class: "key", id: "start-failed", onclick: () => report(false) },
        t("start.failed"),
      ),
    ),
  ];
}

/** @param {State} s @param {Act} act @param {any} i */
function viewWatched(s, act, i) {
  const now = s.watched[i.id] || {},
    name = "watch-" + i.id,
    bad = s.badReading && s.badReading.id === i.id ? s.badReading.text : "";
  const when =
    now.at && s.switchedOn && (now.state || now.text)
      ? h("small", { class: "when" }, clock((now.at - s.switchedOn) / 1000))
      : null;
  if ((i.states || []).length > 0)
    return h(
      "fieldset",
      { key: i.id, "data-watch": i.id, class: "phase" },
      h("legend", null, i.title, when && " ", when),
      h(
        "div",
        { class: "keys" },
        i.states.map((/** @type {any} */ st) =>
          h(
            "button",
            {
              key: st.id,
              type: "button",
              class: "key",
              "data-state": st.id,
              "aria-pressed": String(now.state === st.id),
              onclick: () => act.watched(i.id, now.state === st.id ? {} : { state: st.id }),
            },
            st.title,
          ),
        ),
      ),
    );
  return h(
    "div",
    { key: i.id, "data-watch": i.id, class: "phase" },
    h("label", { for: name, class: "name" }, i.title, when && " ", when),
    h(
      "span",
      { class: "field" },
      h("input", {
        id: name,
        type: "text",
        inputmode: "decimal",
        autocomplete: "off",
        "aria-invalid": bad ? "true" : null,
        "aria-describedby": name + "-bad",
        onchange: (/** @type {any} */ e) => act.watched(i.id, { text: e.target.value.trim() }),
      }),
      h("span", { class: "unit" }, i.unit || ""),
    ),
    h("span", { class: "bad", id: name + "-bad", role: "alert" }, bad),
  );
}
