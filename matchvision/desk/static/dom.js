// Small helps for building parts of the page; text is always set as text.

export const find = (query) => document.querySelector(query);

export function make(tag, given = {}, ...inside) {
  const element = document.createElement(tag);
  for (const [key, value] of Object.entries(given)) {
    if (key === "text") element.textContent = value;
    else if (key.startsWith("on")) element[key] = value;
    else if (value === true) element.setAttribute(key, "");
    else if (value !== false && value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...inside.filter((part) => part !== null && part !== undefined));
  return element;
}

export function draw(tag, given = {}, ...inside) {
  const element = document.createElementNS("http://www.w3.org/2000/svg", tag);
  for (const [key, value] of Object.entries(given)) {
    if (key === "text") element.textContent = value;
    else if (value !== null && value !== undefined) element.setAttribute(key, value);
  }
  element.append(...inside);
  return element;
}

// Fills a list anew without taking away what a hand may just be pressing: what is there is changed where it differs.
export function fill(list, fresh) {
  fresh.forEach((node, k) => {
    const old = list.childNodes[k];
    if (old) turnInto(old, node);
    else list.append(node);
  });
  while (list.childNodes.length > fresh.length) list.lastChild.remove();
}

function turnInto(old, fresh) {
  if (old.nodeName !== fresh.nodeName) {
    old.replaceWith(fresh);
    return;
  }
  if (old.nodeType === Node.TEXT_NODE) {
    if (old.data !== fresh.data) old.data = fresh.data;
    return;
  }
  for (const { name } of [...old.attributes]) if (!fresh.hasAttribute(name)) old.removeAttribute(name);
  // A style attribute is written through its object: the page's policy lets no other way.
  if (old.style.cssText !== fresh.style.cssText) old.style.cssText = fresh.style.cssText;
  for (const { name, value } of fresh.attributes) if (name !== "style" && old.getAttribute(name) !== value) old.setAttribute(name, value);
  old.onclick = fresh.onclick;
  fill(old, [...fresh.childNodes]);
}

export const millimetres = (metres) => `${(1000 * metres).toPrecision(2).replace(/\.?0+$/, (z) => (z.startsWith(".") ? "" : z))} mm`;

export const sentence = (text) => `${text.charAt(0).toUpperCase()}${text.slice(1).replace(/\.$/, "")}.`;

export const minus = (text) => String(text).replace("-", "−");

let asked = 0;
// A warning stays until the next action succeeds.
export async function attempt(work) {
  const trouble = find("#trouble");
  const mine = ++asked;
  try {
    const result = await work();
    if (mine === asked) trouble.hidden = true;
    return result;
  } catch (error) {
    trouble.replaceChildren(make("button", { type: "button", class: "away", "aria-label": "close", text: "×", onclick: () => (trouble.hidden = true) }), make("b", { text: `${error.message}. ` }), ...(error.faults || []).map((text) => make("span", { text: `${text}. ` })), error.todo ? `What to do: ${error.todo}.` : "");
    trouble.hidden = false;
    if (!("todo" in error)) throw error;
    return null;
  }
}
