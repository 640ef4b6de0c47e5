// @ts-check
/**
 * What a desk types short: a voltage while the plug glows counts as measured at the heater unless the line says where.
 * How a language shortens it stands among its texts, as a pattern.
 */
import { t } from "./text.js";

/** @param {string} text */
export const shorthand = (text) => text.replace(new RegExp(t("desk.short"), "gi"), t("desk.short_as"));
