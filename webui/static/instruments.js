// @ts-check
/**
 * The phone as an instrument: a level laid along the pump, an ear for its strokes, a stop watch, a light. What is
 * measured is offered on a button of its own and never told untapped. Comes when it is wanted. Sound and picture stay
 * in the browser.
 */
import { h } from "./dom.js";
import { Rhythm, slope, steady } from "./rhythm.js";
import { number, t } from "./text.js";

/** @typedef {import("./state.js").State} State @typedef {import("./question.js").Act} Act */

/** How to end what is running. @type {() => void} */
let end = () => {};

/** So long the sensors may be silent, in milliseconds, before they are taken for missing. */
const SILENT = 1500;

/** The picture is drawn no more often than this, in milliseconds. */
const BEAT = 100;

/** Begins to measure; what is read is passed on. @param {string} kind @param {(reading: any) => void} tell */
export async function measure(kind, tell) {
  stop();
  if (kind === "slope") await level(tell);
  if (kind === "ticks") await listen(tell);
  if (kind === "clock") tell({ state: "ready" });
}

/** Ends it. */
export function stop() {
  end();
  end = () => {};
}

/** @param {(reading: any) => void} tell */
async function level(tell) {
  const asks = /** @type {any} */ (window).DeviceOrientationEvent;
  tell({ state: "waiting" });
  try {
    if (!asks || (asks.requestPermission && (await asks.requestPermission()) !== "granted"))
      return tell({
        state: "none",
      });
  } catch {
    return tell({ state: "none" });
  }
  let readings = /** @type {{at: number, degrees: number}[]} */ ([]),
    drawn = 0;
  const quiet = setTimeout(() => tell({ state: "none" }), SILENT);
  const turned = (/** @type {any} */ e) => {
    if (typeof e.beta !== "number") return;
    clearTimeout(quiet);
    const at = performance.now();
    readings = [...readings.filter((r) => at - r.at < 2000), { at, degrees: slope(e.beta) }];
    if (at - drawn < BEAT) return;
    drawn = at;
    tell({ state: steady(readings) ? "steady" : "moving", degrees: Math.round(slope(e.beta)) });
  };
  addEventListener("deviceorientation", turned);
  end = () => {
    clearTimeout(quiet);
    removeEventListener("deviceorientation", turned);
  };
}

/** @param {(reading: any) => void} tell */
async function listen(tell) {
  tell({ state: "asking" });
  let sound = /** @type {MediaStream | null} */ (null),
    ended = false;
  end = () => {
    ended = true;
  };
  try {
    // What a phone does for voices would take the strokes away.
    sound = await navigator.mediaDevices.getUserMedia({
      audio: { echoCancellation: false, noiseSuppression: false, autoGainControl: false },
    });
  } catch {
    return tell({ state: "none" });
  }
  const close = () => /** @type {MediaStream} */ (sound).getTracks().forEach((track) => track.stop());
  if (ended) return close();
  const context = new AudioContext(),
    rhythm = new Rhythm();
  const hidden = () => {
    if (document.hidden) {
      stop();
      tell({ state: "none" });
    }
  };
  end = () => {
    ended = true;
    document.removeEventListener("visibilitychange", hidden);
    close();
    context.close();
  };
  document.addEventListener("visibilitychange", hidden);
  try {
    await context.audioWorklet.addModule(new URL("ear.js", import.meta.url).href);
  } catch {
    stop();
    return tell({ state: "none" });
  }
  if (ended) return;
  const ear = new AudioWorkletNode(context, "ear", { numberOfOutputs: 0 });
  context.createMediaStreamSource(sound).connect(ear);
  ear.port.onmessage = (e) => {
    if (ended) return;
    rhythm.hear(e.data);
    const now = rhythm.seconds;
    tell({
      state: "hearing",
      seconds: now,
      strokes: rhythm.strokes.filter((at) => now - at < 10).map((at) => now - at),
      ...rhythm.judge(),
    });
  };
}

/** What stands in the place of the answers. @param {State} s @param {Act} act @param {any} i @param {string} kind */
export function viewInstrument(s, act, i, kind) {
  const m = s.measured || {};
  const instead = (/** @type {string} */ text) =>
    h(
      "button",
      { key: "instead", type: "button", class: "key", id: "instead", onclick: () => act.measure("") },
      t(text),
    );
  if (m.state === "none")
    return h(
      "div",
      { class: "instrument", key: "instrument" },
      h("p", { role: "alert" }, t(`instrument.${kind}.none`)),
      h("div", { class: "keys one" }, instead("instrument.type")),
    );
  const view = { slope: viewSlope, ticks: viewTicks, clock: viewClock }[kind];
  return view && h("div", { class: "instrument", key: "instrument" }, view(act, i, m, instead));
}

/** @typedef {(text: string) => any} Instead */

/** @param {Act} act @param {any} i @param {any} m @param {Instead} instead */
function viewSlope(act, i, m, instead) {
  const known = typeof m.degrees === "number",
    sure = m.state === "steady",
    reading = known ? `${number(m.degrees)}°` : "–";
  return [
    h("p", { class: "hint", key: "how" }, t("instrument.slope.how")),
    h(
      "div",
      { class: "gauge", key: "gauge" },
      h(
        "svg",
        { viewBox: "0 0 120 124", class: "dial", "aria-hidden": "true", focusable: "false" },
        h("path", { class: "arc", d: "M10 2A60 60 0 0 1 10 122" }),
        h("path", { class: "good", d: "M10 2A60 60 0 0 1 52.4 19.6" }),
        h(
          "g",
          { transform: `rotate(${-(m.degrees || 0)} 10 62)` },
          h("path", { class: "ray", d: "M10 62H66" }),
          h("rect", { class: "lies", x: 20, y: 54, width: 34, height: 16, rx: 5 }),
        ),
      ),
      h(
        "p",
        null,
        h("output", { class: "big" }, reading),
        h("strong", null, t(sure ? "instrument.slope.steady" : "instrument.slope.moving")),
      ),
    ),
    h(
      "div",
      { class: "keys", key: "keys" },
      h(
        "button",
        {
          type: "button",
          class: sure ? "key go" : "key",
          id: "use",
          disabled: known ? null : true,
          onclick: () => act.answer(i, { number: m.degrees }, `${reading}`),
        },
        t("instrument.use", { text: reading }),
      ),
      instead("instrument.type"),
    ),
  ];
}

/** @param {Act} act @param {any} i @param {any} m @param {Instead} instead */
function viewTicks(act, i, m, instead) {
  const state = (i.states || []).find((/** @type {any} */ x) => x.id === m.verdict),
    cannot = m.verdict === "cannot";
  const word = t(
    m.state === "asking"
      ? "instrument.ticks.asking"
      : cannot
        ? "instrument.ticks.cannot"
        : state
          ? "instrument.ticks.rate"
          : "instrument.ticks.hearing",
    { n: number(m.rate || 0) },
  );
  return [
    h("p", { class: "hint", key: "how" }, t("instrument.ticks.how")),
    h(
      "svg",
      {
        key: "beats",
        viewBox: "0 0 200 30",
        preserveAspectRatio: "none",
        class: "beats",
        "aria-hidden": "true",
        focusable: "false",
      },
      h("path", { class: "ground", d: "M0 28H200" }),
      (m.strokes || []).map((/** @type {number} */ ago, /** @type {number} */ n) =>
        h("path", { key: "b" + n, d: `M${200 - 20 * ago} 4V26` }),
      ),
    ),
    h(
      "p",
      { key: "said", "aria-live": "polite" },
      h("strong", null, word),
      " ",
      m.missed ? t("instrument.ticks.missed", { n: number(m.missed) }) : "",
    ),
    h("p", { class: "hint", key: "kept" }, t(cannot ? "instrument.ticks.finger" : "instrument.ticks.kept")),
    h(
      "div",
      { class: "keys", key: "keys" },
      state &&
        h(
          "button",
          {
            key: "use",
            type: "button",
            class: "key go",
            id: "use",
            onclick: () => act.answer(i, { state: state.id }, state.title),
          },
          t("instrument.take", { text: state.title }),
        ),
      cannot &&
        h(
          "button",
          { key: "again", type: "button", class: "key", id: "again", onclick: () => act.measure(i.id) },
          t("instrument.ticks.again"),
        ),
      instead("instrument.answer"),
    ),
  ];
}

/** @param {Act} act @param {any} i @param {any} m @param {Instead} instead */
function viewClock(act, i, m, instead) {
  const passed = m.from ? (m.to || Date.now()) - m.from : 0,
    minutes = Math.max(0.1, Math.round(passed / 6000) / 10);
  const shown = `${Math.floor(passed / 60000)}:${String(Math.floor(passed / 1000) % 60).padStart(2, "0")}`;
  const tell = (/** @type {any} */ reading) => act.measured(reading);
  return [
    h("p", { class: "hint", key: "how" }, t("instrument.clock.how")),
    h("p", { key: "time" }, h("output", { class: "big", role: "timer" }, shown)),
    h(
      "div",
      { class: "keys", key: "keys" },
      !m.from &&
        h(
          "button",
          {
            key: "on",
            type: "button",
            class: "key go",
            id: "clock-on",
            onclick: () => {
              const from = Date.now(),
                beat = setInterval(() => tell({ state: "running", from }), 1000);
              end = () => clearInterval(beat);
              tell({ state: "running", from });
            },
          },
          t("instrument.clock.on"),
        ),
      m.from &&
        !m.to &&
        h(
          "button",
          {
            key: "off",
            type: "button",
            class: "key go",
            id: "clock-off",
            onclick: () => {
              stop();
              tell({ state: "ended", from: m.from, to: Date.now() });
            },
          },
          t("instrument.clock.off"),
        ),
      m.to &&
        h(
          "button",
          {
            key: "use",
            type: "button",
            class: "key go",
            id: "use",
            onclick: () => act.answer(i, { number: minutes }, `${number(minutes)} ${i.unit}`),
          },
          t("instrument.use", { text: `${number(minutes)} ${i.unit}` }),
        ),
      instead("instrument.type"),
    ),
  ];
}

/** The camera at the back, which has the light beside it, as the W3C's Media Capture names it. No picture is seen. */
const CAMERA = { video: { facingMode: "environment" } };

/** The light that is on, if one is. @type {MediaStreamTrack | null} */
let lamp = null;

/** Switches the phone's light on or off; gives "on", "off" or, where the browser gives none, "none". */
export async function light() {
  if (lamp) {
    lamp.stop();
    lamp = null;
    return "off";
  }
  try {
    const [track] = (await navigator.mediaDevices.getUserMedia(CAMERA)).getVideoTracks();
    try {
      await track.applyConstraints(/** @type {any} */ ({ advanced: [{ torch: true }] }));
      if (!(/** @type {any} */ (track.getSettings()).torch)) throw new Error("no light");
    } catch (e) {
      track.stop();
      throw e;
    }
    lamp = track;
    return "on";
  } catch {
    return "none";
  }
}
