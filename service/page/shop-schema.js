// What a profile may say, as the service's schema tells it, made into the nodes of a sheet.

const ELSEWHERE = ["schema", "kind", "restored", "calibration"]; // not written by hand

/** Nodes of a document: {path, name, title, help, optional, kind}. kind "number", "text", "choice" (`options`; `bare` where
 * they are no text); "table" (`nodes`, and where exactly one of some is to be given `oneOf`, their names); "forms" (`forms`,
 * {id, nodes} each, or {id, scalar}, a node in place of a table); "entries" and "numbers", as many as there are names
 * (`pattern` or `names` they may have, `make(name)` the node of one); "points", as many as there are (`least`). */
export const treeOf = (schema) => nodesOf(schema, schema, "");

export const SUBS = ["table", "forms", "entries", "numbers"];

function nodesOf(schema, object, path) {
  const needed = object.required ?? [];
  return Object.entries(object.properties).filter(([name]) => path !== "" || !ELSEWHERE.includes(name))
    .map(([name, told]) => nodeOf(schema, told, path === "" ? name : `${path}.${name}`, name, !needed.includes(name)));
}

const resolved = (schema, told) => "$ref" in told ? { ...schema.$defs[told.$ref.split("/").at(-1)], ...told } : told;

function nodeOf(schema, told, path, name, optional) {
  const bare = "anyOf" in told ? { ...told.anyOf.find((each) => each.type !== "null"), ...told } : told;
  const of = resolved(schema, bare);
  const node = { path, name, title: told.title ?? of.title, help: told.description ?? of.description ?? "", optional };
  if (of.oneOf?.some((each) => each.$ref !== undefined)) return formsOf(schema, of.oneOf, node);
  if (of.properties !== undefined) {
    const oneOf = (of.oneOf ?? []).map((each) => each.required[0]);
    return { ...node, kind: "table", nodes: nodesOf(schema, of, path), oneOf };
  }
  if (of.patternProperties !== undefined) {
    const [[pattern, one]] = Object.entries(of.patternProperties);
    return { ...node, kind: "entries", pattern, make: (key) => ({ ...nodeOf(schema, { ...one, title: key }, `${path}.${key}`, key, false), help: "" }) };
  }
  if (of.propertyNames !== undefined) {
    const make = (key) => ({ path: `${path}.${key}`, name: key, title: key.replaceAll("_", " "), help: "", optional: false, kind: "number" });
    return { ...node, kind: "numbers", names: of.propertyNames.enum, make };
  }
  if (of.type === "array") return { ...node, kind: "points", least: of.minItems };
  const options = of.enum ?? (of.type === "boolean" ? [true, false] : null);
  if (options !== null) return { ...node, kind: "choice", options, bare: of.type !== "string" };
  return { ...node, kind: of.type === "number" || of.type === "integer" ? "number" : "text" };
}

/** A value in one of several forms; one that may be left out is told by one number, if it can be. */
function formsOf(schema, kinds, node) {
  const forms = kinds.map(({ $ref }) => {
    if ($ref === undefined) return { id: "Number", nodes: [], scalar: { ...node, kind: "number" } };
    const id = $ref.split("/").at(-1);
    return { id, nodes: nodesOf(schema, schema.$defs[id], node.path) };
  });
  if (node.optional) forms.sort((a, b) => Number(b.scalar !== undefined) - Number(a.scalar !== undefined));
  return { ...node, kind: "forms", forms };
}

/** Whether a part of the sheet is filled in: it must be there, was opened, or was chosen among others. */
export function isOpen(node, parent, sheet) {
  if (parent?.oneOf?.includes(node.name)) return sheet.picked[parent.path] === node.name;
  return !isFolded(node) || sheet.open.includes(node.path);
}

/** Whether a part is to be opened first: it may be left out, and has more than one field or a list of its own. */
export const isFolded = (node) => node.optional && (node.kind === "table" || (node.kind === "forms" && node.forms[0].scalar === undefined));

export const formOf = (node, sheet) => node.forms.find((each) => each.id === sheet.picked[node.path]) ?? node.forms[0];

/** What has been added under a node: names of entries or numbers, or how many points. */
export const namesOf = (node, sheet) => sheet.names[node.path] ?? [];
export const countOf = (node, sheet) => sheet.names[node.path]?.length ?? node.least;
