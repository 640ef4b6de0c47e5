// @ts-check
/** Help, and how the page is shown: handing over, taking along, tools at hand, the view, the language, coming back. */
import { h } from "./dom.js";
import { toolTitle } from "./question.js";
import { viewShare } from "./share.js";
import { readNumber } from "./state.js";
import { LANGUAGES, lang, nameOf, number, t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/** @param {State} s @param {Act} act */
export function viewMenu(s, act) {
  const root = document.documentElement,
    night = root.dataset.look === "night",
    place = root.dataset.place;
  return [
    s.conversation && h("section", { key: "help" }, h("h2", null, t("menu.help")), viewShare(s, act)),
    s.conversation &&
      h(
        "div",
        { key: "thread", class: "keys one" },
        h(
          "button",
          { type: "button", class: "key", id: "open-thread", onclick: () => act.view("thread") },
          t("menu.thread", { n: (s.conversation.told || []).length }),
        ),
      ),
    h(
      "section",
      { key: "view" },
      h("h2", null, t("menu.view")),
      h(
        "div",
        { class: "keys", role: "group", "aria-label": t("menu.view") },
        h(
          "button",
          { type: "button", class: "key", id: "night", "aria-pressed": String(night), onclick: () => act.night() },
          t("night"),
        ),
        LANGUAGES.map((l) =>
          h(
            "a",
            {
              key: l,
              class: "key",
              id: "lang-" + l,
              href: "?lang=" + l,
              hreflang: l,
              lang: l,
              "aria-current": l === lang ? "true" : null,
              onclick: (/** @type {any} */ e) => {
                e.preventDefault();
                act.language(l);
              },
            },
            nameOf(l),
          ),
        ),
      ),
    ),
    s.conversation && viewTools(s, act),
    !place && h("section", { key: "return" }, h("h2", null, t("code.have")), viewReturn(s, act)),
    h(
      "section",
      { key: "about" },
      h("h2", null, t("menu.about")),
      h("p", null, t("defers")),
      h("p", { class: "soft address" }, t("address")),
      s.works && h("p", { id: "works" }, t("away.works")),
    ),
  ];
}

/** @param {State} s @param {Act} act */
function viewReturn(s, act) {
  const go = (/** @type {any} */ e) => {
    e.preventDefault();
    act.comeBack(e.target.elements[0].value);
  };
  return h(
    "form",
    { id: "return", autocomplete: "off", novalidate: true, onsubmit: go },
    h("label", { for: "code" }, t("code.label")),
    h(
      "span",
      { class: "field" },
      h("input", {
        id: "code",
        type: "text",
        maxlength: "20",
        autocapitalize: "characters",
        spellcheck: "false",
        enterkeyhint: "go",
        "aria-describedby": "code-bad",
      }),
      h("button", { type: "submit", class: "key" }, t("code.go")),
    ),
    h("p", { class: "bad", id: "code-bad", role: "alert" }, s.handed.come || ""),
  );
}

/** @param {State} s @param {Act} act */
function viewTools(s, act) {
  const waiting = s.queue.filter((j) => j.do === "set_tools").pop();
  const held = waiting ? waiting.request.tools : (s.conversation && s.conversation.tools) || [];
  const tools = s.catalogue ? s.catalogue.tools : [];
  return h(
    "section",
    { key: "tools" },
    h(
      "details",
      { class: "fold", id: "tools", ontoggle: (/** @type {any} */ e) => e.target.open && act.catalogue() },
      h(
        "summary",
        null,
        held.length
          ? t("tools", { tools: held.map((/** @type {string} */ id) => toolTitle(s, id)).join(", ") })
          : t("tools.none"),
      ),
      h("p", { class: "soft" }, t("tools.why")),
      tools.length === 0 && h("p", { class: "soft" }, t("tools.fetching")),
      h(
        "div",
        { class: "keys one" },
        tools.map((x) =>
          h(
            "button",
            {
              key: x.id,
              type: "button",
              class: "key tool",
              "data-tool": x.id,
              "aria-pressed": String(held.includes(x.id)),
              onclick: () => act.tool(x.id, held),
            },
            x.title,
          ),
        ),
      ),
      viewEffort(s, act, held),
    ),
  );
}

/**
 * How far the owner goes, and what an hour is worth: the plan weighs minutes against money by it.
 * @param {State} s
 * @param {Act} act
 * @param {string[]} held
 */
function viewEffort(s, act, held) {
  const c = s.conversation,
    hour = c && c.eurosPerMinute ? c.eurosPerMinute * 60 : 60,
    bad = s.badReading && s.badReading.id === "hour" ? s.badReading.text : "";
  const set = (/** @type {Record<string, any>} */ what) =>
    act.queue("set_tools", { tools: held, ...what }, t("tools.label"), []);
  return [
    h("h3", { id: "willing-title", key: "willing" }, t("effort.willing")),
    h(
      "div",
      { class: "keys one", role: "group", "aria-labelledby": "willing-title", key: "far" },
      ["SIMPLE", "HANDY", "WORKSHOP"].map((v) =>
        h(
          "button",
          {
            key: v,
            type: "button",
            class: "key",
            "data-willing": v,
            "aria-pressed": String(((c && c.willingness) || "WILLINGNESS_WORKSHOP") === "WILLINGNESS_" + v),
            onclick: () => set({ willingness: "WILLINGNESS_" + v }),
          },
          t("effort." + v),
        ),
      ),
    ),
    h(
      "form",
      {
        key: "hour",
        novalidate: true,
        onsubmit: (/** @type {any} */ e) => {
          e.preventDefault();
          const read = readNumber(e.target.elements[0].value, {
            id: "hour",
            title: "",
            unit: "€",
            minimum: 0,
            maximum: 1000,
          });
          if (read.number === undefined) act.unread("hour", read.problem);
          else set({ eurosPerMinute: Math.max(read.number, 0.01) / 60 });
        },
      },
      h("label", { for: "hour" }, t("effort.hour")),
      h(
        "span",
        { class: "field" },
        h("input", {
          id: "hour",
          type: "text",
          inputmode: "decimal",
          autocomplete: "off",
          value: number(hour),
          "aria-invalid": bad ? "true" : null,
          "aria-describedby": "hour-bad",
        }),
        h("span", { class: "unit" }, "€"),
        h("button", { type: "submit", class: "key" }, t("enter")),
      ),
      h("p", { class: "bad", id: "hour-bad", role: "alert" }, bad),
    ),
  ];
}
