// @ts-check
/**
 * Handing over: the code to read out, the link for those who look on, and what they suggest. Comes when it is wanted.
 */
import { h } from "./dom.js";
import { dangers } from "./told.js";
import { lang, region, t, why } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/** @param {State} s @param {Act} act */
export function viewHand(s, act) {
  const { code, until, key, said } = s.handed;
  const ask = async (
    /** @type {string} */ what,
    /** @type {Record<string, any>} */ request,
    /** @type {(reply: any) => Record<string, any>} */ take,
  ) => {
    try {
      act.handed({ said: "", ...take(await /** @type {any} */ (act.call(what, { id: s.id, ...request }))) });
    } catch (fault) {
      const f = /** @type {any} */ (fault);
      act.handed({ said: f.reason === "OWNER_ONLY" ? why(f) : t("hand.failed") });
    }
  };
  // Whoever came by a code lets nobody else in. Its key begins with this letter.
  if (s.id.startsWith("v")) return h("p", { class: "soft", key: "hand" }, t("hand.visitor"));
  const place = document.documentElement.dataset.place,
    owner = !place || place === "framed";
  return h(
    "div",
    { class: "hand", key: "hand" },
    h("p", { class: "sub" }, t("hand.title")),
    h(
      "p",
      { class: "keys" },
      h(
        "button",
        {
          type: "button",
          class: "key",
          id: "hand-code",
          onclick: () => ask("make_code", {}, (r) => ({ code: r.code, until: r.expiresAt })),
        },
        t("hand.code"),
      ),
      h(
        "button",
        {
          type: "button",
          class: "key",
          id: "hand-look",
          onclick: () => ask("let_look_on", {}, (r) => ({ key: r.key })),
        },
        t("hand.look"),
      ),
    ),
    h(
      "div",
      { role: "status" },
      code &&
        h(
          "p",
          null,
          h("strong", { class: "spoken", id: "spoken" }, code),
          h(
            "span",
            { class: "soft" },
            t("hand.code_how", { time: new Date(until).toLocaleTimeString(region(), { timeStyle: "short" }) }),
          ),
        ),
      key && h("p", null, h("a", { id: "look-link", href: "/look/" + key }, location.origin + "/look/" + key)),
      key && h("p", { class: "soft" }, t("hand.look_how")),
      key &&
        h(
          "p",
          null,
          h(
            "button",
            {
              type: "button",
              class: "small",
              id: "look-copy",
              onclick: () => act.copy(location.origin + "/look/" + key, t("hand.copied")),
            },
            t("hand.copy"),
          ),
          " ",
          h(
            "button",
            {
              type: "button",
              class: "small",
              id: "look-end",
              onclick: () => ask("withdraw", {}, () => ({ key: "", said: t("hand.withdrawn") })),
            },
            t("hand.withdraw"),
          ),
        ),
      said && h("p", { class: "soft" }, said),
    ),
    owner &&
      h(
        "details",
        { class: "fold", key: "change" },
        h("summary", null, t("hand.change")),
        h("p", { class: "soft" }, t("hand.change_how")),
        h(
          "button",
          {
            type: "button",
            class: "key",
            id: "hand-change",
            disabled: s.queue.length > 0,
            onclick: () => act.changeKey(),
          },
          t("hand.change_go"),
        ),
      ),
  );
}

/** Who attends, whether it has ended, and what is suggested. @param {State} s @param {Act} act @param {string} place */
export function viewSuggested(s, act, place) {
  const c = s.conversation,
    all = (c && c.suggestions) || [];
  if (!c) return place === "look" ? [viewModeration(s, act)] : [];
  const waiting = s.queue.filter((j) => j.do === "resolve").map((j) => String(j.request.suggestion));
  const stands = dangers(s).some((d) => d.severity !== "SEVERITY_CAUTION");
  const owner = place === "" || place === "framed";
  return [
    place === "look" &&
      h(
        "div",
        { class: "lookers", key: "look" },
        h("p", null, t(stands ? "look.danger" : "look.how")),
        h("label", { for: "looker" }, t("look.name")),
        h(
          "span",
          { class: "field" },
          h("input", { id: "looker", type: "text", maxlength: "60", autocomplete: "nickname" }),
        ),
        h("p", { id: "looked", role: "status", class: "soft" }, s.handed.said || ""),
      ),
    place === "look" && !stands && !c.closed && viewPropose(s, act),
    place === "look" && viewModeration(s, act),
    owner && c.hidden && h("p", { key: "hidden", id: "hidden-note" }, t("hand.hidden")),
    c.assignedTo && place !== "desk" && h("p", { key: "held", class: "soft" }, t("hand.held", { name: c.assignedTo })),
    c.closed && place !== "desk" && h("p", { key: "ended" }, t(place === "look" ? "look.ended" : "hand.ended")),
    all.length > 0 &&
      h(
        "div",
        { key: "suggestions", class: "suggestions", role: "group", "aria-labelledby": "suggested-title" },
        h("h3", { id: "suggested-title" }, t("suggested.title")),
        owner && stands && h("p", { class: "wait" }, t("suggested.danger")),
        h(
          "ul",
          null,
          all.map((x) =>
            h(
              "li",
              { key: x.event, "data-suggestion": x.event },
              h(
                "span",
                null,
                x.causeId
                  ? t("suggested.cause", { text: x.text })
                  : x.checkId
                    ? t("suggested.check", { text: x.text })
                    : x.observation
                      ? x.text
                      : t("suggested.words", { text: x.text }),
                h(
                  "span",
                  { class: "soft" },
                  " — " + (x.by ? t("suggested.by", { name: x.by }) : t("suggested.somebody")),
                ),
              ),
              owner &&
                h(
                  "span",
                  { class: "line-keys" },
                  x.checkId &&
                    !stands &&
                    !waiting.includes(x.event) &&
                    h(
                      "button",
                      {
                        type: "button",
                        class: "key",
                        "data-make": x.event,
                        "aria-label": `${t("suggested.answer")}: ${x.text}`,
                        onclick: () => {
                          act.queue("resolve", { suggestion: x.event, confirm: true }, x.text, []);
                          act.ask(x.checkId);
                        },
                      },
                      t("suggested.answer"),
                    ),
                  x.observation &&
                    !stands &&
                    !waiting.includes(x.event) &&
                    h(
                      "button",
                      {
                        type: "button",
                        class: "key",
                        "data-confirm": x.event,
                        "aria-label": t("suggested.confirm_this", { text: x.text }),
                        onclick: () =>
                          act.queue("resolve", { suggestion: x.event, confirm: true }, x.text, [x.observation.id]),
                      },
                      t("suggested.confirm"),
                    ),
                  !waiting.includes(x.event) &&
                    h(
                      "button",
                      {
                        type: "button",
                        class: "small",
                        "data-decline": x.event,
                        "aria-label": t("suggested.decline_this", { text: x.text }),
                        onclick: () => act.queue("resolve", { suggestion: x.event }, x.text, []),
                      },
                      t(x.observation ? "suggested.decline" : "suggested.away"),
                    ),
                ),
            ),
          ),
        ),
        !owner && h("p", { class: "soft" }, t("suggested.owner")),
      ),
  ].filter(Boolean);
}

/**
 * A forum's moderator hides a card, shows it again or ends it, with a token that the page does not keep. Readers do not
 * see the entry: it shows where the address ends in #moderate.
 * @param {State} s
 * @param {Act} act
 */
function viewModeration(s, act) {
  if (location.hash !== "#moderate") return false;
  const decide = async (/** @type {any} */ e) => {
    e.preventDefault();
    act.handed({ decided: "" });
    try {
      await act.call("sign_in", { token: e.target.elements[0].value.trim() });
      await act.call("moderate", { key: s.id, verdict: "VERDICT_" + e.submitter.value });
      act.handed({ decided: t("mod.done") });
    } catch {
      act.handed({ decided: t("mod.failed") });
    }
  };
  return h(
    "details",
    { class: "fold", key: "moderation", id: "moderation" },
    h("summary", null, t("mod.title")),
    h(
      "form",
      { onsubmit: decide, novalidate: true, class: "lookers" },
      h("label", { for: "moderator" }, t("mod.token")),
      h(
        "span",
        { class: "field" },
        h("input", { id: "moderator", type: "password", autocomplete: "off", maxlength: "100" }),
      ),
      h(
        "span",
        { class: "keys" },
        ["HIDE", "SHOW", "CLOSE"].map((v) =>
          h("button", { key: v, type: "submit", class: "key", value: v, "data-verdict": v }, t("mod." + v)),
        ),
      ),
      h("p", { role: "status", class: "soft", id: "decided" }, s.handed.decided || ""),
    ),
  );
}

/** How many causes and checks are listed for what is typed. */
const LISTED = 6;

/** A cause, a check or a sentence, found by typing. @param {State} s @param {Act} act */
function viewPropose(s, act) {
  const c = /** @type {any} */ (s.conversation),
    text = (s.handed.propose || "").trim(),
    seek = text.toLowerCase();
  const told = c.told.map((/** @type {any} */ x) => x.observation.id);
  const causes = ((c.assessment && c.assessment.causes) || []).map((/** @type {any} */ x) => ({
    causeId: x.id,
    text: x.title,
    kind: "cause",
  }));
  const checks = ((s.catalogue && s.catalogue.observations) || [])
    .filter((x) => !told.includes(x.id) && !(/** @type {any} */ (x).safetyCard))
    .map((x) => ({ checkId: x.id, text: x.question || x.title, kind: "check" }));
  // Both or none, so that nothing moves under a finger.
  const found =
    seek.length < 2 || !causes.length || !checks.length
      ? []
      : [...causes, ...checks].filter((x) => x.text.toLowerCase().includes(seek)).slice(0, LISTED);
  return h(
    "div",
    { class: "lookers", key: "propose" },
    h("label", { for: "propose" }, t("propose.label")),
    h("p", { class: "soft" }, t("propose.how")),
    h(
      "span",
      { class: "field" },
      h("input", {
        id: "propose",
        type: "search",
        maxlength: "200",
        autocomplete: "off",
        placeholder: t("propose.hint"),
        value: s.handed.propose || "",
        onfocus: () => act.catalogue(),
        oninput: (/** @type {any} */ e) => act.handed({ propose: e.target.value }),
      }),
    ),
    h(
      "ul",
      { class: "others" },
      found.map((x) =>
        h(
          "li",
          { key: x.kind + x.text },
          h(
            "button",
            {
              type: "button",
              class: "askrow",
              "data-propose": x.causeId || x.checkId,
              onclick: () => propose(s, act, x.causeId ? { causeId: x.causeId } : { checkId: x.checkId }, x.text),
            },
            h("span", null, x.text, h("small", null, t("propose." + x.kind))),
          ),
        ),
      ),
    ),
    seek.length > 1 && found.length === 0 && h("p", { class: "soft" }, t("propose.none")),
    text.length > 1 &&
      h(
        "span",
        { class: "keys one" },
        h(
          "button",
          { type: "button", class: "key", id: "propose-words", onclick: () => propose(s, act, { remark: text }, text) },
          t("propose.words"),
        ),
      ),
  );
}

/**
 * Suggests an answer to the owner.
 * @param {State} s
 * @param {Act} act
 * @param {any} i
 * @param {Record<string, any>} value
 * @param {string} words
 */
export function suggest(s, act, i, value, words) {
  return propose(s, act, { observation: { id: i.id, ...value } }, `${i.title || i.question}: ${words}`);
}

/** @param {State} s @param {Act} act @param {Record<string, any>} what @param {string} text */
async function propose(s, act, what, text) {
  const name = /** @type {any} */ (document.getElementById("looker")),
    key = Array.from(crypto.getRandomValues(new Uint8Array(12)), (b) => b.toString(16).padStart(2, "0")).join("");
  try {
    const reply = await /** @type {any} */ (
      act.call("suggest", { key: s.id, ...what, by: name ? name.value.trim() : "", clientKey: key, locale: lang })
    );
    act.pushed(reply.conversation);
    const typed = /** @type {any} */ (document.getElementById("propose"));
    if (typed) typed.value = "";
    act.handed({ said: t("look.sent", { text }), propose: "" });
  } catch (fault) {
    act.handed({ said: t(/** @type {any} */ (fault).code === "FAILED_PRECONDITION" ? "look.refused" : "look.failed") });
  }
}
