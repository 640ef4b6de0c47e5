// @ts-check
/**
 * Small cards beside the conversation: what can be worked out from what was told, how it came about, and a plot where
 * looking beats reading. The service does the sums; this asks for them, shows them and judges nothing. All text goes
 * in as text.
 *
 * @typedef {{id: string, what: string, request: Record<string, any> | null, ask?: string[], known?: Record<string,
 * any>, plotted: boolean, view: (reply: any) => {say: string, plot?: any, notes?: string[]}}} Wanted
 * @typedef {{call: (what: string, request: Record<string, any>) => Promise<any>, isOpen: () => boolean}} Line
 */
import { bars, plot } from "./plot.js";
import { lang, region, t as text, why } from "./text.js";

/** @param {string} key @param {Record<string, string | number>} [gaps] */
const t = (key, gaps) => text("sum." + key, gaps);

/** Fields of requests that have a name for people. */
const FIELDS = ["cableAreaMm2", "cableLengthM", "lineLengthM", "lineBoreMm"];

/** @param {number} x @param {number} [most] digits after the point */
const number = (x, most = 1) => {
  const format = new Intl.NumberFormat(region(), { maximumFractionDigits: most, useGrouping: false });
  return format.format(x || 0).replace("-", "−");
};

/** @param {number} x volts, to a tenth as a meter in the field shows them */
const volts = (x) =>
  new Intl.NumberFormat(region(), { minimumFractionDigits: 1, maximumFractionDigits: 1 }).format(x || 0);

/** @param {string} tag @param {Record<string, any>} props @param {...any} kids @returns {any} */
function make(tag, props, ...kids) {
  const node = /** @type {any} */ (document.createElement(tag));
  for (const name in props) name.startsWith("on") ? (node[name] = props[name]) : node.setAttribute(name, props[name]);
  node.append(...kids.flat(2).filter((k) => k));
  return node;
}

/**
 * Which cards there are for a conversation.
 * @param {any} c
 * @param {Record<string, Record<string, number>>} typed
 * @returns {Wanted[]}
 */
function wanted(c, typed) {
  const told = new Map(
    (c.told || []).filter((/** @type {any} */ x) => !x.skipped).map((/** @type {any} */ x) => [x.observation.id, x]),
  );
  const num = (/** @type {string} */ id) =>
    told.has(id) && !told.get(id).observation.state && !told.get(id).observation.unknown
      ? told.get(id).observation.number || 0
      : undefined;
  const word = (/** @type {string} */ id) => (told.has(id) && told.get(id).observation.state) || undefined;
  const a = c.assessment || {},
    leading = (a.causes || []).slice(0, 3).map((/** @type {any} */ x) => x.id);
  // While people must leave nothing is worked out, and while nothing may be started nobody is told how to pump.
  const grades = (a.dangers || []).map((/** @type {any} */ d) => d.severity);
  if (grades.includes("SEVERITY_LEAVE_NOW")) return [];
  const nominal = word("nominal_voltage") ? Number(word("nominal_voltage")) : undefined;
  const area = num("cable_area"),
    length = num("cable_length"),
    rest = num("rest_voltage"),
    ambient = num("ambient_temperature");
  const charging = word("charging_now") && word("charging_now") !== "none";
  const all = /** @type {Wanted[]} */ ([]);

  const cable = { cableAreaMm2: area, cableLengthM: length, nominalVoltageV: nominal, ...typed.cable };
  if ((area !== undefined && length !== undefined) || leading.includes("feed_undersized"))
    all.push({
      id: "cable",
      what: "calculate_cable",
      request: cable.cableLengthM ? cable : null,
      plotted: true,
      view: (r) => viewCable(r, cable),
      known: cable,
      ask: area !== undefined && length !== undefined ? undefined : ["cableAreaMm2", "cableLengthM"],
    });
  const battery = {
    restVoltageV: rest,
    nominalVoltageV: nominal,
    batteryChemistry: word("battery_chemistry"),
    batteryTemperatureC: ambient,
  };
  if (rest !== undefined && !charging)
    all.push({
      id: "battery",
      what: "calculate_state_of_charge",
      request: battery,
      plotted: true,
      view: (r) => viewBattery(r, battery),
    });
  if (rest !== undefined && !charging && area !== undefined && length !== undefined)
    all.push({
      id: "start",
      what: "calculate_glow_voltage",
      plotted: true,
      view: (r) => viewStart(r, num("glow_voltage_heater")),
      request: {
        ...battery,
        batteryAgeYears: num("battery_age"),
        cableAreaMm2: area,
        cableLengthM: length,
        glowPlugKind: word("glow_plug_kind"),
        curveDurationS: 60,
      },
    });
  const line = {
    lineLengthM: num("line_length"),
    lineBoreMm: num("line_bore"),
    pumpDoseUl: num("pump_dose"),
    ...typed.priming,
  };
  if (
    (leading[0] === "line_not_primed" || num("line_length") !== undefined || num("line_bore") !== undefined) &&
    grades.every((/** @type {string} */ g) => g === "SEVERITY_CAUTION")
  )
    all.push({
      id: "priming",
      what: "calculate_priming",
      request: line.lineLengthM === undefined ? null : line,
      plotted: false,
      view: viewPriming,
      known: line,
      ask:
        num("line_length") !== undefined && num("line_bore") !== undefined ? undefined : ["lineLengthM", "lineBoreMm"],
    });
  const fuel = told.get("fuel_kind"),
    kind = word("fuel_kind");
  if (ambient !== undefined && ambient < 0 && kind) {
    const state = ((fuel.info && fuel.info.states) || []).find((/** @type {any} */ s) => s.id === kind);
    all.push({
      id: "waxing",
      what: "calculate_waxing_chance",
      request: { ambientTemperatureC: ambient, fuelKind: kind },
      plotted: false,
      view: (r) => viewWaxing(r, ambient, state ? state.title : kind.replaceAll("_", " ")),
    });
  }
  return all;
}

/** @param {any} r @param {any} asked */
function viewCable(r, asked) {
  const own = asked.cableAreaMm2,
    good = own >= r.cableAreaMm2,
    enough = (r.ownDropV || 0) <= r.allowedDropV;
  const gaps = {
    area: number(own, 2),
    length: number(asked.cableLengthM),
    own: volts(r.ownDropV),
    better: number(r.cableAreaMm2, 2),
    drop: volts(r.dropV),
    allowed: volts(r.allowedDropV),
  };
  const say = t(own === undefined ? "cable.new" : good ? "cable.good" : enough ? "cable.light" : "cable.thin", gaps);
  const wide = Math.max(asked.cableLengthM * 1.4, 4),
    high = Math.max(r.ownDropV || 0, r.allowedDropV) * 1.3;
  const lines = r.areas
    .filter((/** @type {any} */ a) => a.cableAreaMm2 >= 1 && a.cableAreaMm2 <= Math.max(16, r.cableAreaMm2))
    .map((/** @type {any} */ a) => {
      const end = Math.min(wide, high / a.dropVPerM);
      return {
        points: [
          [0, 0],
          [end, end * a.dropVPerM],
        ],
        label: number(a.cableAreaMm2, 2),
        kind: a.cableAreaMm2 === r.cableAreaMm2 ? "main" : "thin",
      };
    });
  return {
    say,
    notes: [t("cable.fuse", { fuse: number(r.fuseA), better: gaps.better }), t("cable.first")],
    plot: plot({
      label: say,
      x: { from: 0, to: wide, name: t("cable.x") },
      y: { from: 0, to: high, name: t("cable.y") },
      write: number,
      lines,
      levels: [{ at: r.allowedDropV, label: t("allowed") }],
      marks: own === undefined ? [] : [{ x: asked.cableLengthM, y: r.ownDropV || 0, label: t("yours") }],
    }),
  };
}

/** @param {any} r @param {any} asked */
function viewBattery(r, asked) {
  const bands = r.bands.map((/** @type {any} */ b) => ({
    low: b.lowPercent || 0,
    high: b.highPercent || 0,
    at: b.chargePercent || 0,
    name: t(b.batteryChemistry),
    freezes: b.freezingPointC,
  }));
  const one = bands.length === 1 && asked.batteryChemistry ? bands[0] : null;
  const gaps = one && { kind: one.name, charge: number(one.at, 0), low: number(one.low, 0), high: number(one.high, 0) };
  const say = t(one ? "battery.one" : "battery.all", { volts: number(asked.restVoltageV, 2), ...gaps });
  const frozen =
    one &&
    one.freezes !== undefined &&
    asked.batteryTemperatureC <= one.freezes &&
    t("battery.frozen", { freezes: number(one.freezes, 0) });
  return {
    say,
    notes: [frozen, t("battery.rest")].filter(Boolean),
    plot: bars({
      label: say,
      name: t("battery.x"),
      rows: bands.map((/** @type {any} */ b) => ({
        ...b,
        text: `${b.name}: ${number(b.at, 0)} % (${number(b.low, 0)}–${number(b.high, 0)})`,
      })),
    }),
  };
}

/** @param {any} r @param {number} [measured] */
function viewStart(r, measured) {
  const moments = r.curve.map((/** @type {any} */ m) => ({
    at: m.atS || 0,
    heater: m.heaterVoltageV || 0,
    battery: m.batteryVoltageV || 0,
  }));
  const say = t("start.say", { first: volts(moments[0].heater), last: volts(r.heaterVoltageV) });
  const low = Math.min(
      r.undervoltageLowV,
      ...moments.map((/** @type {any} */ m) => m.heater),
      measured === undefined ? Infinity : measured,
    ),
    high = Math.max(...moments.map((/** @type {any} */ m) => m.battery));
  const room = (high - low) * 0.15;
  return {
    say,
    notes: [t("start.under", { high: number(r.undervoltageHighV), low: number(r.undervoltageLowV) })],
    plot: plot({
      label: say,
      x: { from: 0, to: 60, name: t("start.x") },
      y: { from: low - room, to: high + room, name: t("start.y") },
      write: number,
      bands: [
        { from: low - room, to: r.undervoltageHighV },
        { from: low - room, to: r.undervoltageLowV, label: t("under") },
      ],
      lines: [
        { points: moments.map((/** @type {any} */ m) => [m.at, m.battery]), label: t("source"), kind: "thin" },
        { points: moments.map((/** @type {any} */ m) => [m.at, m.heater]), label: t("heater"), kind: "main" },
      ],
      levels: measured === undefined ? [] : [{ at: measured, label: t("measured") }],
      marks: [],
    }),
  };
}

/** @param {any} r */
function viewPriming(r) {
  const s = Math.round(r.timeS || 0),
    time = s < 60 ? t("sec", { s }) : t("min", { m: Math.floor(s / 60), s: s % 60 });
  return {
    say: t("priming.say", { volume: number(r.lineVolumeMl), strokes: r.strokes || 0, time }),
    notes: [t("priming.only"), t("priming.over")],
  };
}

/** @param {any} r @param {number} ambient @param {string} fuel */
function viewWaxing(r, ambient, fuel) {
  const percent = (/** @type {number} */ p) => (p < 1 ? "< 1 %" : p > 99 ? "> 99 %" : number(p, 0) + " %");
  const chance = percent(r.chancePercent || 0),
    low = percent(r.lowPercent || 0),
    high = percent(r.highPercent || 0);
  return {
    say: t(low === high ? "waxing.say" : "waxing.grades", { ambient: number(ambient), fuel, chance, low, high }),
    notes: [t("waxing.usual")],
  };
}

/** The working as a table. @param {any} reply */
function working(reply) {
  const assumed = reply.assumptions || [];
  return make(
    "details",
    { class: "fold" },
    make("summary", {}, t("how")),
    make(
      "table",
      { class: "working" },
      make(
        "tbody",
        {},
        (reply.steps || []).map((/** @type {any} */ s) =>
          make(
            "tr",
            {},
            make("th", { scope: "row" }, s.quantity),
            make(
              "td",
              {},
              [s.formula, s.with].filter(Boolean).join(" = ") + " = ",
              make("strong", {}, `${number(s.result, digits(s.result || 0))} ${s.unit || ""}`.trim()),
              make("span", { class: "soft" }, s.source),
            ),
          ),
        ),
      ),
    ),
    assumed.length > 0 && make("p", { class: "soft" }, t("usual")),
    assumed.length > 0 &&
      make(
        "ul",
        { class: "usual soft" },
        assumed.map((/** @type {string} */ x) => make("li", {}, x)),
      ),
  );
}

/** Digits after the point that leave four that count. @param {number} x */
const digits = (x) => (x === 0 ? 0 : Math.max(0, Math.min(8, 3 - Math.floor(Math.log10(Math.abs(x))))));

/** What is shown, for one conversation. */
let of = "",
  closed = /** @type {string[]} */ ([]),
  typed = /** @type {Record<string, Record<string, number>>} */ ({});
let latest = () => {};
const shown = /** @type {Map<string, {node: any, sign: string, waits: boolean}>} */ (new Map());

/** @param {string[]} ids */
function keepClosed(ids) {
  closed = ids;
  sessionStorage.setItem("lightoff-cards/" + of, JSON.stringify(ids));
}

/**
 * Shows the cards of a conversation as it stands; open comes to where they are.
 * @param {any} root @param {any} c @param {Line} line @param {() => void} open
 */
export function show(root, c, line, open) {
  if (c.id !== of) {
    of = c.id;
    typed = {};
    try {
      closed = JSON.parse(sessionStorage.getItem("lightoff-cards/" + of) || "[]");
    } catch {
      closed = [];
    }
    shown.clear();
    root.replaceChildren();
  }
  latest = () => show(root, c, line, open);
  const again = () => latest(),
    all = wanted(c, typed),
    left = all.filter((w) => !closed.includes(w.id));
  for (const [id, card] of shown)
    if (!left.some((w) => w.id === id)) {
      card.node.remove();
      shown.delete(id);
    }
  const jump = /** @type {any} */ (document.getElementById("cards-jump")),
    titles = left.map((w) => t(w.id)).join(", ");
  if (jump.textContent !== (titles && t("jump", { titles })))
    jump.replaceChildren(
      titles && make("button", { type: "button", class: "small", onclick: open }, t("jump", { titles })),
    );
  // A section without its heading has no name to be given.
  root.toggleAttribute("aria-labelledby", false);
  if (all.length === 0) return root.replaceChildren();
  root.setAttribute("aria-labelledby", "cards-title");
  if (!root.firstChild)
    root.append(
      make("h2", { id: "cards-title" }),
      make("button", { type: "button", class: "small", id: "cards-again" }),
    );
  root.firstChild.textContent = t("heading");
  const key = root.lastChild;
  key.hidden = left.length === all.length;
  key.textContent = t("again", { n: all.length - left.length });
  key.onclick = () => {
    keepClosed([]);
    again();
    root.querySelector("article").focus();
  };
  left.forEach((w, i) => {
    let card = shown.get(w.id);
    if (!card) shown.set(w.id, (card = { node: shell(w, again, key), sign: "", waits: false }));
    if (root.children[i + 1] !== card.node) root.insertBefore(card.node, root.children[i + 1]);
    const sign = JSON.stringify([w.request, lang]);
    if (card.sign === sign || card.waits || (w.request && !line.isOpen())) return;
    w.request ? work(card, w, sign, line, again) : fill(card, w, sign, [], again);
  });
}

/**
 * A card with nothing in it yet, of about the height that it will have.
 * @param {Wanted} w
 * @param {() => void} again
 * @param {any} key
 */
function shell(w, again, key) {
  const close = () => {
    keepClosed([...closed, w.id]);
    again();
    key.focus();
  };
  return make(
    "article",
    {
      class: w.plotted && w.request ? "sum tall" : "sum",
      tabindex: "-1",
      "data-card": w.id,
      "aria-labelledby": "card-" + w.id,
    },
    make(
      "p",
      { class: "sum-head" },
      make("span", { id: "card-" + w.id, class: "sub" }, t(w.id)),
      make(
        "button",
        { type: "button", class: "off", "aria-label": t("close", { title: t(w.id) }), onclick: close },
        "×",
      ),
    ),
    make("div", { class: "sum-body" }, make("p", { class: "soft" }, t("waiting"))),
  );
}

/** @param {any} card @param {Wanted} w @param {string} sign @param {Line} line @param {() => void} again */
async function work(card, w, sign, line, again) {
  card.waits = true;
  try {
    const reply = await line.call(w.what, w.request || {}),
      seen = w.view(reply);
    fill(
      card,
      w,
      sign,
      [
        make("h3", {}, seen.say),
        seen.plot,
        seen.notes &&
          make(
            "ul",
            { class: "notes" },
            seen.notes.map((n) => make("li", {}, n)),
          ),
        working(reply),
      ],
      again,
    );
  } catch (fault) {
    const f = /** @type {any} */ (fault);
    if (!f.code) throw fault;
    // What a line that breaks leaves undone is asked for again when the next event is shown.
    if (f.code === "INVALID_ARGUMENT")
      fill(
        card,
        w,
        sign,
        [
          make(
            "p",
            { class: "bad" },
            t("not") +
              " " +
              ((f.violations || [])
                .filter((/** @type {any} */ v) => FIELDS.includes(v.field))
                .map((/** @type {any} */ v) => t("outside", { what: t(v.field) }))
                .join(" ") || why(f)),
          ),
        ],
        again,
      );
  } finally {
    card.waits = false;
  }
  if (card.sign === sign) again();
}

/** @param {any} card @param {Wanted} w @param {string} sign @param {any[]} parts @param {() => void} again */
function fill(card, w, sign, parts, again) {
  const body = card.node.lastChild,
    folded = body.querySelector("details"),
    form = body.querySelector("form");
  card.sign = sign;
  card.node.firstChild.firstChild.textContent = t(w.id);
  card.node.firstChild.lastChild.setAttribute("aria-label", t("close", { title: t(w.id) }));
  // A form stays where it is, with what has the focus or is half typed in it.
  const keep = w.ask && form && form.dataset.lang === lang ? form : null;
  for (const old of [...body.childNodes]) if (old !== keep) old.remove();
  body.prepend(...parts.filter(Boolean));
  if (w.ask && !keep) body.append(askFor(w, again));
  if (folded && folded.open && body.querySelector("details")) body.querySelector("details").open = true;
}

/** The inputs of a card that lacks something. @param {Wanted} w @param {() => void} again */
function askFor(w, again) {
  const known = w.known || {},
    send = (/** @type {any} */ e) => {
      e.preventDefault();
      const values = /** @type {Record<string, number>} */ ({});
      let bad = false;
      for (const input of e.target.querySelectorAll("input")) {
        const text = input.value.trim().replace(",", "."),
          optional = input.name === "cableAreaMm2" || input.name === "lineBoreMm";
        const wrong = text === "" ? !optional : !/^\d+(\.\d+)?$/.test(text);
        wrong ? input.setAttribute("aria-invalid", "true") : input.removeAttribute("aria-invalid");
        if (text !== "" && !wrong) values[input.name] = Number(text);
        bad ||= wrong;
      }
      e.target.querySelector("[role=alert]").textContent = bad ? t("number") : "";
      if (!bad) {
        typed = { ...typed, [w.id]: values };
        again();
      }
    };
  return make(
    "form",
    { class: "sum-form", novalidate: "", "data-lang": lang, onsubmit: send },
    (w.ask || []).map((name) =>
      make(
        "label",
        {},
        t(name),
        make("input", {
          name,
          type: "text",
          inputmode: "decimal",
          autocomplete: "off",
          value: known[name] === undefined ? "" : String(known[name]),
        }),
      ),
    ),
    make("button", { type: "submit", class: "key" }, t("go")),
    make("p", { class: "bad", role: "alert" }),
    make("p", { class: "soft" }, t("only")),
  );
}
