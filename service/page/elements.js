// Elements of a page, found and made.

export const at = (id) => document.getElementById(id);

/** A new element with properties set and children in it. */
export function made(tag, set, ...inside) {
  const found = Object.assign(document.createElement(tag), set);
  found.append(...inside);
  return found;
}

/** A quiet button that does something. */
export function button(text, act, more = {}) {
  const found = made("button", { type: "button", className: "plain", textContent: text, ...more });
  found.addEventListener("click", act);
  return found;
}
