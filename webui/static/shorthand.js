// @ts-check
/**
 * What a desk types short: a voltage while the plug glows counts as measured at the heater unless the line says where.
 */

const SHORT = /** @type {Record<string, {short: RegExp, long: string}>} */ ({ en: { short: /(\d+(?:[.,]\d+)?)\s*v?\s+glow(?:ing)?\b(?!\s+(?:at|on|plug|pin|battery|panel))/gi,
    long: "$1 V glow at heater" },
  de: { short: /(\d+(?:[.,]\d+)?)\s*v?\s+gl(?:ü|ue)hen\b(?!\s+(?:an?|am|auf|batterie|anzeige))/gi,
      long: "$1 V beim Glühen an der Heizung" } });

/** @param {string} text @param {string} lang */
export const shorthand = (text, lang) => { const s = SHORT[lang] || SHORT.en; return text.replace(s.short, s.long); };
