// A sheet as the text of a profile, and a profile on record as a sheet. Nothing is guessed: what was not filled in is left out.

import { countOf, formOf, isFolded, isOpen, namesOf, SUBS } from "./shop-schema.js";

const NUMBER = /^[+-]?(0|[1-9][0-9]*)(\.[0-9]+)?(e[+-]?[0-9]+)?$/;
// JSON's escapes are TOML's but for delete, which TOML wants escaped too.
const quoted = (text) => JSON.stringify(text).replaceAll("\u007f", "\\u007f");

/** A field's text as TOML: a number as typed; what is no number in quotes, so that the service says what is wrong. */
function written(node, text) {
  const bare = text.trim().replace("\u2212", "-");
  return (node.kind === "number" && NUMBER.test(bare)) || (node.kind === "choice" && node.bare) ? bare : quoted(text);
}

/** The whole file. */
export function tomlOf(nodes, sheet) {
  const lines = ["schema = 1", `kind = "${sheet.kind}"`];
  inside(nodes, null, sheet, lines);
  const further = sheet.further.trim();
  return `${lines.join("\n")}\n${further === "" ? "" : `\n${further}\n`}`;
}

/** What stands in one table: its own lines first, then the tables in it. */
function inside(nodes, parent, sheet, lines) {
  const plain = nodes.map((node) => node.kind === "forms" ? formOf(node, sheet).scalar ?? node : node);
  for (const node of plain) {
    if (node.kind === "points") points(node, sheet, lines);
    else if (!SUBS.includes(node.kind)) scalar(node, sheet, lines);
  }
  for (const node of plain) {
    if (!SUBS.includes(node.kind) || !isOpen(node, parent, sheet)) continue;
    if (node.kind === "entries") for (const name of namesOf(node, sheet)) under(node.make(name), sheet, lines);
    else if (node.kind !== "numbers" || namesOf(node, sheet).length > 0) under(node, sheet, lines);
  }
}

function under(node, sheet, lines) {
  lines.push("", `[${node.path}]`);
  const nodes = { table: () => node.nodes, forms: () => formOf(node, sheet).nodes, numbers: () => namesOf(node, sheet).map(node.make) }[node.kind]();
  inside(nodes, node, sheet, lines);
}

function scalar(node, sheet, lines) {
  const text = sheet.values[node.path] ?? "";
  if (text.trim() !== "") lines.push(`${node.name} = ${written(node, text)}`);
}

/** Points as soon as anything of them was typed; a number that is still missing is told by the service. */
function points(node, sheet, lines) {
  const rows = Array.from({ length: countOf(node, sheet) }, (_, i) => [0, 1, 2].map((j) => sheet.values[`${node.path}.${i}.${j}`] ?? ""));
  if (rows.flat().every((text) => text.trim() === "")) return;
  lines.push(`${node.name} = [${rows.map((row) => `[${row.map((text) => written({ kind: "number" }, text)).join(", ")}]`).join(", ")}]`);
}

/** A sheet filled in with a profile on record, `document` as the service tells it. */
export function sheetOf(nodes, document, blank) {
  const sheet = { ...blank, values: {}, picked: {}, open: [], names: {} };
  taken(nodes, null, document, sheet);
  // Found by touches, not by hand: it stays with the numbers that it was found with.
  sheet.further = document.calibration === undefined ? "" : tableText("calibration", document.calibration);
  return sheet;
}

function taken(nodes, parent, told, sheet) {
  for (const node of nodes) if (told[node.name] !== undefined) take(node, parent, told[node.name], sheet);
}

function take(node, parent, value, sheet) {
  if (parent?.oneOf?.includes(node.name)) sheet.picked[parent.path] = node.name;
  else if (isFolded(node)) sheet.open.push(node.path);
  if (node.kind === "table") taken(node.nodes, node, value, sheet);
  else if (node.kind === "forms") {
    const own = node.forms.find((each) => typeof value === "object" ? each.scalar === undefined && Object.keys(value).every((key) => each.nodes.some(({ name }) => name === key)) : each.scalar !== undefined);
    sheet.picked[node.path] = own.id;
    if (own.scalar === undefined) taken(own.nodes, node, value, sheet);
    else sheet.values[node.path] = String(value);
  } else if (node.kind === "entries" || node.kind === "numbers") {
    sheet.names[node.path] = Object.keys(value);
    for (const [name, each] of Object.entries(value)) take(node.make(name), null, each, sheet);
  } else if (node.kind === "points") {
    sheet.names[node.path] = value.map((_, i) => String(i));
    value.forEach((row, i) => row.forEach((each, j) => { sheet.values[`${node.path}.${i}.${j}`] = String(each); }));
  } else sheet.values[node.path] = String(value);
}

/** A table that has no fields, as text. */
function tableText(path, told) {
  const key = (name) => /^[A-Za-z0-9_-]+$/.test(name) ? name : quoted(name);
  const plain = Object.entries(told).filter(([, each]) => Array.isArray(each) || typeof each !== "object");
  const tables = Object.entries(told).filter(([, each]) => !Array.isArray(each) && typeof each === "object");
  // JSON's texts, numbers and lists are TOML's.
  return [`[${path}]`, ...plain.map(([name, each]) => `${key(name)} = ${JSON.stringify(each)}`), ...tables.map(([name, each]) => `\n${tableText(`${path}.${key(name)}`, each)}`)].join("\n");
}
