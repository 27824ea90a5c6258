// Writes a car file from its tables and values, as the form holds them.

function quoted(text) {
  return '"' + text.replace(/[\\"]/g, "\\$&").replace(/[\u0000-\u001f\u007f]/g, function (c) {
    return "\\u" + c.charCodeAt(0).toString(16).padStart(4, "0");
  }) + '"';
}

function isTable(value) { return typeof value === "object" && value !== null && !Array.isArray(value); }
function isTables(value) { return Array.isArray(value) && value.length > 0 && value.every(isTable); }

function key(name) { return /^[A-Za-z0-9_-]+$/.test(name) ? name : quoted(name); }

function inline(value) {
  if (typeof value === "string") return quoted(value);
  if (Array.isArray(value)) return "[" + value.map(inline).join(", ") + "]";
  if (isTable(value))
    return "{ " + sorted(value).map(function (name) { return key(name) + " = " + inline(value[name]); }).join(", ") + " }";
  return String(value);
}

// As a person would write them; what is not named here follows as it comes.
const first = ["id", "name", "gear", "shaft", "kind", "size", "turns", "outer_shaft", "place", "side", "axle", "direct", "input", "driving", "driven",
  "ratio", "pinion", "ring", "cylinders", "strokes", "elements", "element_diameter", "pitch_diameter"];
function sorted(table) {
  const rank = function (name) { return first.includes(name) ? first.indexOf(name) : first.length; };
  return Object.keys(table).sort(function (a, b) { return rank(a) - rank(b); });
}

// Single values, then tables, then lists of tables: TOML has no way back up.
function body(table, path) {
  let out = "", below = "";
  (path ? sorted(table) : Object.keys(table)).forEach(function (name) {
    const value = table[name], full = path ? path + "." + key(name) : key(name);
    if (isTables(value)) value.forEach(function (one) { below += "\n[[" + full + "]]\n" + body(one, full); });
    else if (isTable(value) && !path) below += "\n[" + full + "]\n" + body(value, full);
    else out += key(name) + " = " + inline(value) + "\n";
  });
  return out + below;
}

const order = ["name", "notes", "driven", "gears", "engine", "tyre", "gearbox", "overdrive", "transfer_case", "final_drive",
  "shaft", "gear_pair", "epicyclic", "coupling", "differential", "machine", "bearing", "joint", "propshaft", "clearance"];

export function carText(car, lead) {
  const whole = {};
  order.concat(Object.keys(car)).forEach(function (name) { if (name in car) whole[name] = car[name]; });
  return lead + body(whole, "");
}

// The remarks at the top of a file, which the form must not lose.
export function leadOf(text) {
  const found = text.match(/^(?:[ \t]*#[^\n]*\n|[ \t]*\n)+/);
  return found ? found[0] : "";
}
