// Elements of a drawing that a page makes itself.

const SVG = "http://www.w3.org/2000/svg";

export function element(tag, attributes) {
  const found = document.createElementNS(SVG, tag);
  for (const [name, value] of Object.entries(attributes)) found.setAttribute(name, String(value));
  return found;
}

export function text(x, y, words, anchor, bold) {
  const found = element("text", { x, y, "text-anchor": anchor, ...(bold ? { "font-weight": "bold" } : {}) });
  found.textContent = words;
  return found;
}
