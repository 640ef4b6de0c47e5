// @ts-check
/**
 * What of conversations stays on this device beyond its window: nothing, unless an owner has said keep. No other script
 * touches this store.
 */
const STORE = "lightoff-kept/";

/** @param {string} id empty for one that the service does not know yet */
const name = (id) => STORE + (id || "new");

/** What is kept of a conversation, or null. @param {string} id @returns {string | null} */
export function kept(id) {
  try {
    return localStorage.getItem(name(id));
  } catch {
    return null;
  }
}

/**
 * Keeps a conversation. Where there is no room for it, it goes with its window.
 * @param {string} id @param {string} text
 */
export function keep(id, text) {
  try {
    localStorage.setItem(name(id), text);
    if (id) localStorage.removeItem(name(""));
  } catch {
    /* as if nobody had said keep */
  }
}

/** @param {string} id */
export function forget(id) {
  try {
    localStorage.removeItem(name(id));
  } catch {
    /* there was nothing */
  }
}

/** The ids of what is kept. @returns {string[]} */
export function all() {
  try {
    return Object.keys(localStorage)
      .filter((k) => k.startsWith(STORE) && k !== name(""))
      .map((k) => k.slice(STORE.length));
  } catch {
    return [];
  }
}
