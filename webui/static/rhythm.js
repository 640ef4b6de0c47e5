// @ts-check
/** What the phone's sensors mean: the slope of its long edge, the rhythm in what it hears. Numbers in, numbers out. */

/**
 * How steeply the phone's top points up, in degrees, from the angle beta of the W3C's device orientation: the turn
 * about its short edge, whatever the turn about its long one.
 * @param {number} beta
 */
export const slope = (beta) => (Math.asin(Math.sin((beta * Math.PI) / 180)) * 180) / Math.PI;

/** Readings within 2° of one another for a second are steady. @param {{at: number, degrees: number}[]} readings */
export function steady(readings) {
  const last = readings[readings.length - 1];
  if (!last || last.at - readings[0].at < 1000) return false;
  const near = readings.filter((r) => last.at - r.at <= 1000).map((r) => r.degrees);
  return Math.max(...near) - Math.min(...near) <= 2;
}

/** Frames a second, as ear.js sends them. */
const FRAMES = 200;

/** A stroke is this many times as loud as what is heard around it. */
const LOUD = 8;

/** No pump strokes faster than this, in seconds. */
const SHORTEST = 0.12;

/** So long, in seconds, and so many strokes must be heard before anything is said. */
const LONG_ENOUGH = 20,
  STROKES = 10;

/** @param {number[]} xs */
const median = (xs) => [...xs].sort((a, b) => a - b)[Math.floor(xs.length / 2)];

/** Counts strokes in frames of loudness. */
export class Rhythm {
  constructor() {
    this.frames = 0;
    /** Seconds at which strokes began. @type {number[]} */
    this.strokes = [];
    /** The last second. @type {number[]} */
    this.near = [];
    this.ground = 0;
  }

  /** @param {number[]} frames */
  hear(frames) {
    for (const x of frames) {
      const now = this.frames / FRAMES,
        last = this.strokes[this.strokes.length - 1];
      if (
        this.near.length >= FRAMES / 2 &&
        x > LOUD * this.ground + 1e-9 &&
        (last === undefined || now - last >= SHORTEST)
      )
        this.strokes.push(now);
      this.near.push(x);
      if (this.near.length > FRAMES) this.near.shift();
      if (this.frames++ % 20 === 0) this.ground = median(this.near);
    }
  }

  get seconds() {
    return this.frames / FRAMES;
  }

  /**
   * What was heard: "" while it is too early to say, "regular", "irregular" where strokes are missing or uneven,
   * "cannot" where there is no rhythm. Hearing nothing proves nothing, so that is "cannot", too.
   * @returns {{verdict: string, rate: number, missed: number}}
   */
  judge() {
    const none = { verdict: this.seconds < LONG_ENOUGH ? "" : "cannot", rate: 0, missed: 0 };
    if (this.strokes.length < STROKES || this.seconds < LONG_ENOUGH) return none;
    const gaps = this.strokes.slice(1).map((at, i) => at - this.strokes[i]),
      usual = median(gaps);
    const like = (/** @type {number} */ gap, /** @type {number} */ n) => Math.abs(gap - n * usual) <= usual / 4;
    let even = 0,
      missed = 0,
      uneven = 0;
    for (let i = 0; i < gaps.length; i++) {
      const n = Math.round(gaps[i] / usual);
      if (like(gaps[i], 1)) even++;
      else if (i + 1 < gaps.length && like(gaps[i] + gaps[i + 1], 1)) {
        even++;
        i++;
      } // another noise in between
      else if (n > 1 && n < 8 && like(gaps[i], n)) missed += n - 1;
      else uneven++;
    }
    if (even < 0.6 * (even + missed + uneven)) return { ...none, verdict: "cannot" };
    return { verdict: missed + uneven > 0 ? "irregular" : "regular", rate: Math.round(60 / usual), missed };
  }
}
