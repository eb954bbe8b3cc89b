// The nodes of a sheet as fields: one each, tables as groups, what may be left out behind a tick, lists that grow.

import { button, made } from "./elements.js";
import { field, hear, select, textInput } from "./shop-bench.js";
import { countOf, formOf, isFolded, isOpen, namesOf } from "./shop-schema.js";
import { fieldWords, SAY } from "./shop-words.js";

export const idOf = (path) => `f-${path}`;
export const fault = (path) => made("p", { className: "fault", id: `e-${path}` });

const unfolded = new Set(); // paths of entries that are open, while the sheet is drawn anew

/** Makes nodes to fields of `sheet`. `changed()` after what was typed, `again(focus)` where the fields are others now,
 * `asks(path, words, help)` as a field has the keyboard. */
export function filling(sheet, { changed, again, asks }) {
  const put = (path, value) => { sheet.values[path] = value; changed(); };

  function single(node, words, help) {
    const value = sheet.values[node.path] ?? "";
    const input = node.kind === "choice" ? select([["", SAY.choose], ...node.options.map((each) => [String(each), SAY.options[each] ?? String(each)])], value)
      : textInput({ inputMode: node.kind === "number" ? "text" : "", value });
    input.dataset.path = node.path;
    input.addEventListener(node.kind === "choice" ? "change" : "input", () => put(node.path, input.value));
    const head = node.path.split(".")[0].replaceAll("_", " ");
    input.addEventListener("focus", () => asks(node.path, words.toLowerCase().startsWith(head) ? words : `${head}, ${words}`, help));
    const found = field(idOf(node.path), words, `${help}${node.optional ? ` ${SAY.mayBeLeft}` : ""}`.trim(), input);
    const wrong = fault(node.path);
    input.setAttribute("aria-describedby", `${input.getAttribute("aria-describedby") ?? ""} ${wrong.id}`.trim());
    found.append(wrong);
    return found;
  }

  function part(node, parent) {
    const make = { table, forms: table, entries, numbers, points }[node.kind];
    return make === undefined ? single(node, fieldWords(node, parent), node.help) : make(node, parent);
  }

  const group = (title, help, ...inside) => made("fieldset", { className: "group" }, made("legend", { textContent: title }), ...(help === "" ? [] : [made("p", { className: "hint", textContent: help })]), ...inside);

  function table(node, parent) {
    const among = parent?.oneOf?.includes(node.name);
    if (among && !isOpen(node, parent, sheet)) return "";
    const opener = isFolded(node) && !among ? [ticked(node)] : [];
    if (!isOpen(node, parent, sheet)) return made("div", { className: "optional" }, ...opener, fault(node.path));
    const inside = [...opener, fault(node.path)];
    if (node.oneOf?.length > 0) inside.push(chosen(node, node.oneOf.map((name) => [name, node.nodes.find((each) => each.name === name).title])));
    if (node.kind === "forms") inside.push(chosen(node, node.forms.map(({ id }) => [id, SAY.forms[id]]), node.forms[0].id));
    const form = node.kind === "forms" ? formOf(node, sheet) : node;
    // The one number of a form stands at the form's own place, whose fault is there already.
    const fields = form.scalar === undefined ? form.nodes.map((each) => part(each, node)) : [single(form.scalar, fieldWords(node, parent), "")];
    if (form.scalar !== undefined) inside.splice(inside.findIndex((each) => each.id === `e-${node.path}`), 1);
    return group(node.title, node.help, ...inside, ...fields);
  }

  function ticked(node) {
    const box = made("input", { type: "checkbox", id: `o-${node.path}`, checked: sheet.open.includes(node.path) });
    box.addEventListener("change", () => {
      sheet.open = box.checked ? [...sheet.open, node.path] : sheet.open.filter((each) => each !== node.path);
      changed();
      again(box.id);
    });
    return made("label", { className: "tick" }, box, made("span", { textContent: SAY.hasOwn[node.path] ?? SAY.has(node.title) }));
  }

  /** Which of several is measured; nothing is chosen for anybody but the way a point is taken. */
  function chosen(node, options, usual = "") {
    const words = node.kind === "forms" ? SAY.givenAs : SAY.measuredBy;
    const name = `p-${node.path}`;
    return made("fieldset", { className: "choice" }, made("legend", { textContent: words }), ...options.map(([value, each]) => {
      const radio = made("input", { type: "radio", name, value, id: `${name}-${value}`, checked: (sheet.picked[node.path] ?? usual) === value });
      radio.addEventListener("change", () => {
        sheet.picked[node.path] = value;
        changed();
        again(radio.id);
      });
      return made("label", {}, radio, made("span", { textContent: each }));
    }));
  }

  /** Tables by names of their own, such as sensors: named, added, folded away once they are filled in. */
  function entries(node) {
    const name = textInput();
    const wrong = made("p", { className: "fault" });
    const add = button(SAY.addOne[node.name], () => {
      const text = name.value.trim();
      wrong.textContent = new RegExp(node.pattern, "u").test(text) ? namesOf(node, sheet).includes(text) ? SAY.nameTwice : "" : SAY.nameForm;
      if (wrong.textContent !== "") return;
      named(node, [...namesOf(node, sheet), text], `${node.path}.${text}`);
    });
    const own = namesOf(node, sheet).map((each) => {
      const one = node.make(each);
      const told = ["place", "measures"].map((what) => sheet.values[`${one.path}.${what}`] ?? "").filter((text) => text !== "").join(", ");
      const found = made("details", { className: "entry", open: told === "" || unfolded.has(one.path) }, made("summary", { id: `s-${one.path}`, textContent: told === "" ? each : `${each}: ${told}` }), fault(one.path),
        made("div", { className: "abreast" }, ...one.nodes.map((inner) => part(inner, one))), out(node, one.path, each));
      found.addEventListener("toggle", () => unfolded[found.open ? "add" : "delete"](one.path));
      return found;
    });
    return group(node.title, node.help, fault(node.path), ...own, field(`n-${node.path}`, SAY.nameOf[node.name], SAY.nameHelp, name), wrong, made("div", { className: "acts" }, add));
  }

  /** Numbers by names that the service has. */
  function numbers(node) {
    const left = node.names.filter((each) => !namesOf(node, sheet).includes(each));
    const list = select([["", SAY.choose], ...left.map((each) => [each, each.replaceAll("_", " ")])]);
    list.addEventListener("change", () => named(node, [...namesOf(node, sheet), list.value], `${node.path}.${list.value}`));
    const own = namesOf(node, sheet).map((each) => made("div", { className: "entry" }, single(node.make(each), node.make(each).title, ""), out(node, `${node.path}.${each}`, each)));
    return group(node.title, node.help, fault(node.path), ...own, field(`n-${node.path}`, SAY.oneMore, "", list));
  }

  const out = (node, path, name) => button(SAY.takeOut, () => {
    for (const kept of ["values", "picked", "names"]) for (const each of Object.keys(sheet[kept])) if (each === path || each.startsWith(`${path}.`)) delete sheet[kept][each];
    named(node, namesOf(node, sheet).filter((each) => each !== name), "");
  }, { ariaLabel: SAY.takeOutNamed(name) });

  function named(node, names, path) {
    sheet.names[node.path] = names;
    changed();
    again(path === "" ? `n-${node.path}` : idOf(path), `s-${path}`);
  }

  /** Corners of an edge, three numbers each, the left one first. */
  function points(node) {
    const count = countOf(node, sheet);
    const rows = Array.from({ length: count }, (_, i) => made("fieldset", { className: "triple" }, made("legend", { textContent: SAY.pointNo(i, count) }), fault(`${node.path}.${i}`),
      ...["x", "y", "z"].map((axis, j) => single({ path: `${node.path}.${i}.${j}`, kind: "number", optional: false }, axis, SAY.axesOf[axis]))));
    const grown = (by) => () => {
      for (const j of [0, 1, 2]) if (by < 0) delete sheet.values[`${node.path}.${count - 1}.${j}`];
      named(node, Array.from({ length: count + by }, (_, i) => String(i)), by > 0 ? `${node.path}.${count}.0` : `${node.path}.${count - 2}.0`);
      hear(SAY.pointNo(count + by - 1, count + by));
    };
    const less = count > node.least ? [button(SAY.lessPoints, grown(-1))] : [];
    return group(node.title, node.help, fault(node.path), ...rows, made("div", { className: "acts" }, button(SAY.morePoints, grown(1)), ...less));
  }

  return part;
}
