// What people type, as numbers.

const MOST_LETTERS = 20;

/** A finite number of digits, else null. */
export function numberFrom(text) {
  const trimmed = (text ?? "").trim().replace("\u2212", "-");
  const plain = trimmed.length <= MOST_LETTERS && /^[+-]?([0-9]+\.?[0-9]*|\.[0-9]+)$/.test(trimmed);
  return plain ? Number(trimmed) : null;
}
