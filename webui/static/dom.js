// @ts-check
/**
 * Elements described as plain values, and the least change that makes the document match them: what has the focus,
 * is folded open or half typed stays so. All text goes in as text.
 *
 * @typedef {{tag: string, props: Record<string, any>, kids: any[]}} Described
 */

const DRAWN = "http://www.w3.org/2000/svg";

/**
 * Describes an element. Properties named on… are handlers, those named --… style variables, "key" tells siblings
 * apart, all others are attributes. Kids may be nested lists; those that are null, false or empty are left out.
 * @param {string} tag @param {Record<string, any> | null} props @param {...any} kids @returns {Described}
 */
export const h = (tag, props, ...kids) => ({ tag, props: props || {}, kids });

/** Makes the children of an element match. @param {Element} parent @param {any[]} described */
export function patch(parent, described) {
  const kids = described.flat(4).filter((k) => k !== null && k !== undefined && k !== false && k !== "");
  const keyed = new Map(),
    free = /** @type {any[]} */ ([]);
  for (const node of /** @type {any} */ (parent.childNodes)) {
    node.lightoffKey === undefined ? free.push(node) : keyed.set(node.lightoffKey, node);
  }
  let place = /** @type {any} */ (parent.firstChild);
  for (const each of kids) {
    const kid = typeof each === "object" ? each : String(each);
    const key = typeof kid === "string" ? undefined : kid.props.key;
    const found = key === undefined ? free.shift() : keyed.get(key);
    const node = fit(found, kid, parent);
    keyed.delete(key);
    if (node === place) place = place.nextSibling;
    else parent.insertBefore(node, place);
    if (found && found !== node) {
      if (found === place) place = place.nextSibling;
      found.remove();
    }
  }
  for (const node of [...keyed.values(), ...free]) node.remove();
}

/**
 * Reuses a node for what is described, or makes a new one.
 * @param {any} node
 * @param {Described | string} kid
 * @param {Element} parent
 * @returns {any}
 */
function fit(node, kid, parent) {
  if (typeof kid === "string") {
    if (!node || node.nodeType !== 3) return document.createTextNode(kid);
    if (node.data !== kid) node.data = kid;
    return node;
  }
  if (!node || node.localName !== kid.tag) {
    const drawn = kid.tag === "svg" || parent.namespaceURI === DRAWN;
    node = drawn ? document.createElementNS(DRAWN, kid.tag) : document.createElement(kid.tag);
    node.lightoffKey = kid.props.key;
  }
  const was = node.lightoffProps || {};
  for (const name in was) if (!(name in kid.props)) put(node, name, null);
  for (const name in kid.props) if (kid.props[name] !== was[name]) put(node, name, kid.props[name]);
  node.lightoffProps = kid.props;
  patch(node, kid.kids);
  return node;
}

/** @param {any} node @param {string} name @param {any} value */
function put(node, name, value) {
  if (name === "key") return;
  if (name.startsWith("on")) node[name] = value;
  else if (name.startsWith("--")) node.style.setProperty(name, value);
  else if (value === null || value === undefined || value === false) node.removeAttribute(name);
  else node.setAttribute(name, value === true ? "" : String(value));
}
