// @ts-check
/**
 * Says at a desk that people must leave somewhere and nobody attends to it: in the title, as a band that is read
 * out, and by
 * a sound that can be switched off. It rings at once, again after half a minute, and then each minute until somebody
 * has it.
 */
import { gist, isAlarm, since } from "./calls.js";
import { sign } from "./danger.js";
import { h, patch } from "./dom.js";
import { t } from "./text.js";

const AGAIN = 30000,
  THEN = 60000; // ms

/** @type {Map<string, {from: number, next: number}>} */ const ringing = new Map();
/** @type {any[]} */ let alarms = [];
/** @type {AudioContext | null} */ let sound = null;
let muted = /(^|; )bell=off/.test(document.cookie),
  titled = "",
  told = "",
  rung = 0;

/** Whether the sound is off. */
export const isMuted = () => muted;

/** How often it has rung. */
export const rings = () => rung;

/** Switches the sound off, or on again, for a year. */
export function mute() {
  muted = !muted;
  document.cookie = `bell=${muted ? "off" : ""}; path=/; max-age=31536000; samesite=lax`;
  if (!muted) chime();
}

/** Two tones, twice. A browser may keep quiet until somebody has pressed something here. */
function chime() {
  rung++;
  try {
    const audio = (sound ||= new AudioContext());
    if (audio.state === "suspended") audio.resume().catch(() => {});
    [880, 660, 880, 660].forEach((tone, i) => {
      const from = audio.currentTime + i * 0.22,
        wave = audio.createOscillator(),
        loud = audio.createGain();
      wave.frequency.value = tone;
      loud.gain.setValueAtTime(0.0001, from);
      loud.gain.exponentialRampToValueAtTime(0.25, from + 0.02);
      loud.gain.exponentialRampToValueAtTime(0.0001, from + 0.2);
      wave.connect(loud).connect(audio.destination);
      wave.start(from);
      wave.stop(from + 0.21);
    });
  } catch {
    /* then title and band must do */
  }
}

/** Takes a list as it is now. @param {any[]} entries @param {string} here the call that is open here, or empty
 * @param {number} now */
export function hear(entries, here, now) {
  alarms = entries.filter((e) => isAlarm(e) && e.id !== here);
  for (const id of ringing.keys()) if (!alarms.some((e) => e.id === id)) ringing.delete(id);
  for (const e of alarms) if (!ringing.has(e.id)) ringing.set(e.id, { from: now, next: now });
  ring(now);
}

/** Rings for what is due. @param {number} now */
function ring(now) {
  let due = false;
  for (const r of ringing.values()) {
    if (now < r.next) continue;
    due = true;
    r.next = now + (now - r.from < AGAIN ? AGAIN : THEN);
  }
  if (due && !muted) chime();
}

/**
 * Shows what stands, and rings if it is time.
 * @param {Element} band @param {Element} live what is read out at once @param {string} title of the page otherwise
 * @param {(id: string) => void} take @param {string} key the key that takes it, as it is shown
 */
export function show(band, live, title, take, key) {
  const now = Date.now(),
    first = alarms[0],
    more = alarms.length - 1;
  ring(now);
  titled = first ? `⯃ ${t("bell.title", { n: alarms.length })} · ${title}` : title;
  if (document.title !== titled) document.title = titled;
  const says = first ? t("bell.say", { what: first.dangers[0].title, key }) : "";
  if (says !== told) {
    told = says;
    live.textContent = says;
  }
  patch(
    band,
    first
      ? [
          h(
            "div",
            { key: "alarm", class: "bell", "data-bell": first.id },
            sign({ ...first.dangers[0] }),
            h(
              "p",
              null,
              h("strong", null, first.dangers[0].title),
              h(
                "span",
                null,
                gist(first) && gist(first) + ". ",
                t("bell.nobody"),
                more > 0 && " " + t("bell.more", { n: more }),
              ),
            ),
            h("time", null, since(first.waitingSince || first.changedAt, now)),
            h(
              "button",
              { type: "button", class: "key", id: "bell-take", onclick: () => take(first.id) },
              t("bell.take"),
              h("kbd", null, key),
            ),
            h(
              "button",
              {
                type: "button",
                class: "small",
                id: "bell-mute",
                "aria-pressed": String(muted),
                onclick: () => {
                  mute();
                  show(band, live, title, take, key);
                },
              },
              t(muted ? "bell.off" : "bell.on"),
            ),
          ),
        ]
      : [],
  );
}
