// @ts-check
/**
 * Puts a conversation into a page of another site, in a frame as tall as what is in it, up to four fifths of the
 * window. Stands in that page as one script tag; data-look="…" lets its readers look on at a conversation. Colours
 * come from the custom properties --lightoff-ground, --lightoff-paper, --lightoff-ink and --lightoff-accent, as
 * #rrggbb, where the script stands.
 */
(() => {
  const script = /** @type {HTMLScriptElement} */ (document.currentScript),
    service = new URL(script.src).origin;
  const address = new URL("/embed", service),
    style = getComputedStyle(script.parentElement || document.documentElement);
  address.searchParams.set("host", location.origin);
  for (const part of ["ground", "paper", "ink", "accent"]) {
    const colour = style.getPropertyValue("--lightoff-" + part).trim();
    if (/^#[0-9a-fA-F]{6}$/.test(colour)) address.searchParams.set(part, colour);
  }
  for (const [name, form] of /** @type {[string, RegExp][]} */ ([
    ["look", /^[A-Z0-9]{20,40}$/],
    ["lang", /^[a-z]{2}$/],
  ])) {
    const value = script.dataset[name] || "";
    if (form.test(value)) address.searchParams.set(name, value);
  }
  const frame = document.createElement("iframe");
  frame.src = address.href;
  frame.title = "Lightoff";
  frame.style.cssText = "display:block;width:100%;height:40rem;border:0";
  frame.referrerPolicy = "no-referrer";
  frame.allow = "clipboard-write";
  let tall = 640,
    alarm = false; // a danger needs room, however little is open
  addEventListener("message", (m) => {
    if (m.origin !== service || m.source !== frame.contentWindow || !m.data || typeof m.data.lightoff !== "object")
      return;
    const { height, danger } = m.data.lightoff || {};
    if (Number.isFinite(height)) tall = height;
    if (typeof danger === "boolean") alarm = danger;
    frame.style.height = Math.min(Math.max(420, 0.8 * innerHeight), Math.max(120, tall, alarm ? 640 : 0)) + "px";
    if (danger === true) frame.scrollIntoView({ block: "start" });
  });
  script.after(frame);
})();
