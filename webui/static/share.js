// @ts-check
/** What is taken along: the link, the print, and a text for a forum that names no place, no person and no key. */
import { gradeText } from "./danger.js";
import { h } from "./dom.js";
import { percent } from "./state.js";
import { dangers } from "./told.js";
import { t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/**
 * How each form writes a heading, an item, strong words, and what it must guard against in a text.
 * @type {Record<string, {head: (s: string) => string, item: (s: string) => string, list: (s: string) => string,
 * strong: (s: string) => string, plain: (s: string) => string}>}
 */
const FORMS = {
  markdown: {
    head: (s) => "### " + s,
    item: (s) => "- " + s,
    list: (s) => s,
    strong: (s) => `**${s}**`,
    plain: (s) => s.replace(/[\\`*_[\]<>#|~]/g, "\\$&"),
  },
  bbcode: {
    head: (s) => `[b]${s}[/b]`,
    item: (s) => "[*]" + s,
    list: (s) => `[list]\n${s}\n[/list]`,
    strong: (s) => `[b]${s}[/b]`,
    plain: (s) => s.replace(/\[/g, "(").replace(/\]/g, ")"),
  },
  plain: { head: (s) => s.toUpperCase(), item: (s) => "- " + s, list: (s) => s, strong: (s) => s, plain: (s) => s },
};

/** What could tell where the heater is. */
const PLACES = ["altitude", "ambient_temperature"];
const CAUSES = 4,
  STEPS = 3;

/**
 * The text for a forum. Of free text it holds what was understood, never the words.
 * @param {State} s
 * @param {string} form
 */
export function forumText(s, form) {
  const f = FORMS[form],
    c = s.conversation,
    a = (c && c.assessment) || {},
    out = /** @type {string[]} */ ([]);
  /** @param {string} head @param {string[]} items */
  const part = (head, items) => {
    if (items.length) out.push(f.head(f.plain(head)) + "\n" + f.list(items.map(f.item).join("\n")));
  };
  for (const d of dangers(s))
    out.push(
      f.strong(f.plain(`${t("forum.danger")}: ${gradeText(d)}: ${d.title}`)) +
        "\n" +
        f.plain(d.text || [...(d.steps || []), ...(d.wayOut || [])].join(" ")),
    );
  const r = c && c.recovery,
    well = !!c && (!!c.settlement || (!!r && r.stage === "STAGE_WELL"));
  out.push(f.strong(f.plain(t(well ? "forum.title_well" : "forum.title"))));
  if (well)
    part(
      t("forum.was"),
      wasOf(c).map((x) => f.plain(x)),
    );
  if (r)
    part(
      t("mend.title"),
      [
        ...(r.repairs || []).map((/** @type {any} */ x) => x.title),
        ...(r.started ? [t(r.ran ? "mend.ran" : "mend.failed")] : []),
      ].map((x) => f.plain(x)),
    );
  if (well && r)
    part(
      t("well.prevention"),
      (r.prevention || []).map((/** @type {string} */ x) => f.plain(x)),
    );
  if (well && c.settlement && c.settlement.holding) out.push(f.plain(t("held." + c.settlement.holding.slice(8))));
  const told = ((c && c.told) || []).filter((x) => !PLACES.includes(x.observation.id));
  const open = told.filter((x) => x.skipped || x.observation.unknown);
  const items = told.filter((x) => !open.includes(x)).map((x) => f.plain(x.text));
  if (open.length)
    items.push(
      f.plain(t("forum.skipped", { list: open.map((x) => (x.info ? x.info.title : x.observation.id)).join(", ") })),
    );
  part(t("forum.told"), items);
  if (!well)
    part(
      t("forum.causes"),
      (a.causes || [])
        .slice(0, CAUSES)
        .map((/** @type {any} */ x) => f.plain(`${x.title}: ${percent(x.probability || 0)} (${x.likelihood})`)),
    );
  part(
    t("chains"),
    (a.chains || []).map((/** @type {any} */ x) =>
      f.plain(`${x.links.map((/** @type {any} */ l) => l.title).join(" → ")}. ${x.advice}`),
    ),
  );
  part(
    t("odd"),
    (a.contradictions || []).map((/** @type {any} */ x) => f.plain(x.text)),
  );
  if (!well)
    part(
      t("forum.plan"),
      ((a.plan && a.plan.steps) || [])
        .slice(0, STEPS)
        .map((/** @type {any} */ p) =>
          f.plain(
            [
              p.title,
              p.minutes && t("plan.minutes", { n: Math.round(p.minutes) }),
              p.heldBack ? `${t("plan.wait")} ${p.heldBack}` : (p.cautions || []).join(" "),
            ]
              .filter(Boolean)
              .join(" · "),
          ),
        ),
    );
  out.push(f.plain(t("forum.end")));
  return out.join("\n\n") + "\n";
}

/**
 * What it was: what it was settled with or, before that, the causes that the repairs mend, as far as they led.
 * @param {any} c @returns {string[]}
 */
function wasOf(c) {
  if (c.settlement) return (c.settlement.causes || []).map((/** @type {any} */ x) => x.title);
  const causes = (c.assessment && c.assessment.causes) || [];
  return ((c.recovery && c.recovery.repairs) || []).flatMap((/** @type {any} */ x) => {
    const mended = causes.filter((/** @type {any} */ k) => (x.causeIds || []).includes(k.id));
    return mended.slice(0, 1).map((/** @type {any} */ k) => k.title);
  });
}

/** What it was and what was done, as a text to paste. @param {State} s @param {Act} act */
export const viewSolvedText = (s, act) =>
  h(
    "details",
    { class: "fold solved", key: "solved", id: "solved" },
    h("summary", null, t("solved.text")),
    h("p", { class: "soft" }, t("share.text_why")),
    h(
      "textarea",
      {
        id: "solved-text",
        readonly: true,
        rows: "8",
        "aria-label": t("solved.text"),
        onfocus: (/** @type {any} */ e) => e.target.select(),
      },
      forumText(s, s.form),
    ),
    h(
      "button",
      {
        type: "button",
        class: "key",
        id: "solved-copy",
        onclick: () => act.copy(forumText(s, s.form), t("share.copied")),
      },
      t("share.copy"),
    ),
    h("p", { role: "status", class: "soft" }, s.shared),
  );

/** @param {State} s @param {Act} act */
export function viewShare(s, act) {
  return h(
    "div",
    { key: "share", id: "share" },
    s.hand && s.hand.viewHand(s, act),
    h(
      "div",
      { class: "keys" },
      h(
        "button",
        { type: "button", class: "key", id: "share-link", onclick: () => act.copy(act.link(), t("share.linked")) },
        t("share.link"),
      ),
      h("button", { type: "button", class: "key", id: "share-print", onclick: () => print() }, t("share.print")),
    ),
    h("p", { class: "sub" }, t("share.text")),
    h("p", { class: "soft" }, t("share.text_why")),
    h(
      "div",
      { class: "keys forms", role: "group", "aria-label": t("share.form") },
      Object.keys(FORMS).map((form) =>
        h(
          "button",
          {
            key: form,
            type: "button",
            class: "key",
            "data-form": form,
            "aria-pressed": String(s.form === form),
            onclick: () => act.form(form),
          },
          t("share." + form),
        ),
      ),
    ),
    h(
      "textarea",
      {
        id: "forum",
        readonly: true,
        rows: "10",
        "aria-label": t("share.text"),
        onfocus: (/** @type {any} */ e) => e.target.select(),
      },
      forumText(s, s.form),
    ),
    h(
      "button",
      {
        type: "button",
        class: "key",
        id: "share-text",
        onclick: () => act.copy(forumText(s, s.form), t("share.copied")),
      },
      t("share.copy"),
    ),
    h("p", { role: "status", id: "shared", class: "soft" }, s.shared),
  );
}
