// The form of the car, its text, and the lines that follow from them while one types.
import { ask } from "./bench_api.js";
import { el, show, byId, button, choices, guarded, trouble } from "./markup.js";
import { carText, leadOf } from "./car_text.js";
import { tables, finalDrive, lists, shafts } from "./car_fields.js";

const fresh = 'driven = "rear"\n';
const untouched = function () { return ["", fresh.trim()].includes(byId("car-text").value.trim()); };
let car = {};          // tables and values, as in the file
let heard = function () {};
let timer = null, asking = false, again = false;

// "gearbox.gear" within the car.
function reach(at, make) {
  let here = car;
  at.split(".").filter(Boolean).forEach(function (name) {
    if (here && !(name in here) && make) here[name] = {};
    here = here ? here[name] : undefined;
  });
  return here;
}

function listOf(at, make) {
  const parts = at.split("."), last = parts.pop(), above = parts.length ? reach(parts.join("."), make) : car;
  if (!above) return [];
  if (!Array.isArray(above[last])) {
    const one = above[last];
    if (!make) return one ? [one] : [];
    above[last] = one ? [one] : [];
  }
  return above[last];
}

function get(holder, key) {
  return key.split(".").reduce(function (here, name) { return here === undefined || here === null ? undefined : here[name]; }, holder);
}

function set(holder, key, value) {
  const names = key.split("."), last = names.pop();
  names.forEach(function (name) { if (typeof holder[name] !== "object") holder[name] = {}; holder = holder[name]; });
  if (value === undefined) delete holder[last];
  else holder[last] = value;
}

// What was typed, as the file's value. Text that is no number stays text: the check says what is wrong with it.
function valueOf(field, input) {
  if (field.kind === "yes") return input.checked ? true : undefined;
  const text = input.value.trim();
  if (text === "") return undefined;
  const number = field.kind === "whole" ? /^-?[0-9]{1,9}$/ : /^-?[0-9]{1,9}(\.[0-9]{1,9})?$/;
  return (field.kind === "whole" || field.kind === "number") && number.test(text) ? Number(text) : text;
}

function field(of, holder, told) {
  const value = get(holder(), of.key);
  let input;
  if (of.kind === "yes") input = el("input", { type: "checkbox", checked: value === true });
  else if (Array.isArray(of.kind)) {
    input = el("select", {});
    const words = of.kind.includes(String(value === undefined ? "" : value)) || value === undefined ? of.kind : of.kind.concat([String(value)]);
    choices(input, (words.includes("") || value !== undefined ? words : [""].concat(words)).map(function (word) { return [word, word]; }),
      value === undefined ? "" : String(value));
  } else {
    input = el("input", { value: value === undefined ? "" : typeof value === "object" ? JSON.stringify(value) : String(value), placeholder: of.hint });
    if (of.kind === "whole") input.inputMode = "numeric";
    if (of.kind === "shaft") input.setAttribute("list", "shafts");
    if (typeof value === "object") input.readOnly = true;
  }
  input.dataset.key = of.key;
  input.addEventListener("input", function () {
    set(holder(true), of.key, valueOf(of, input));
    fromForm();
    if (told) told();
  });
  return el("label", { className: of.wide ? "span" : "" }, of.label + " ", input);
}

function tableOf(of) {
  const holder = function (make) { return (of.at ? reach(of.at, make) : car) || {}; };
  return el("fieldset", {}, el("legend", { textContent: of.title }),
    el("div", { className: "fields" }, ...of.fields.map(function (one) { return field(one, holder); })));
}

function drives() {
  if (Array.isArray(car.final_drive))
    return el("fieldset", {}, el("legend", { textContent: "Final drives" }), el("p", { textContent: "Two of them: see the car file as text below." }));
  return tableOf(finalDrive);
}

function wordsOf(entry, of) {
  const rest = of.fields.filter(function (one) { return !["id", "name"].includes(one.key) && entry[one.key] !== undefined; }).slice(0, 3)
    .map(function (one) { return String(entry[one.key]); }).join(", ");
  return [entry.name || String(entry[of.named] || "new " + of.one).replace(/_/g, " "), rest];
}

function listPart(of) {
  const box = el("fieldset", {}, el("legend", { textContent: of.title }));
  const drawAll = function (openLast) {
    const entries = listOf(of.at);
    const made = entries.map(function (entry, i) {
      const holder = function () { return listOf(of.at, true)[i]; };
      const remove = button(of.as === "row" ? "\u2715" : "Remove", function () {
        listOf(of.at, true).splice(i, 1);
        drawAll();
        fromForm();
      });
      const called = wordsOf(entry, of)[0];
      remove.setAttribute("aria-label", "Remove " + of.one + " " + called);
      if (of.as === "row")
        return el("div", { className: i === 0 ? "row first" : "row", role: "group", "aria-label": of.one + " " + called }, ...of.fields.map(function (one) { return field(one, holder); }), remove);
      const name = el("b", {}), rest = el("span", {});
      const retell = function () { const words = wordsOf(holder(), of); name.textContent = words[0]; rest.textContent = words[1] ? ": " + words[1] : ""; };
      retell();
      return el("details", { className: "item", open: openLast && i === entries.length - 1 }, el("summary", {}, name, rest),
        el("div", { className: "fields" }, ...of.fields.map(function (one) { return field(one, holder, retell); })), remove);
    });
    show(box, box.firstChild, ...made, button("Add a " + of.one, function () {
      listOf(of.at, true).push({});
      drawAll(true);
      const inputs = box.querySelectorAll(".row:last-of-type input, details:last-of-type input");
      if (inputs.length) inputs[0].focus();
    }));
  };
  drawAll();
  return box;
}

// A help to typing; what else a car file may name as a shaft is not refused.
function shaftNames() {
  const own = listOf("machine").concat(listOf("shaft")).map(function (one) { return one.id; }).filter(Boolean);
  return el("datalist", { id: "shafts" }, ...shafts.concat(own).map(function (name) { return el("option", { value: name }); }));
}

function drawForm() {
  show(byId("car-form"), shaftNames(), ...tables.map(tableOf), listPart(lists[0]), drives(), ...lists.slice(1).map(listPart));
}

function fromForm() {
  byId("car-text").value = carText(car, leadOf(byId("car-text").value));
  soon(false);
}

// The server is asked a little after the last key, and never twice at once.
function soon(redraw) {
  clearTimeout(timer);
  timer = setTimeout(function () { check(redraw); }, 300);
}

export async function check(redraw) {
  if (asking) { again = true; return; }
  asking = true;
  try {
    const said = await ask("PUT", "/api/car", { text: untouched() ? "" : byId("car-text").value, speed: byId("lines-speed").value.trim(), gear: byId("lines-gear").value });
    tell(said, redraw);
  } catch (wrong) {
    trouble(wrong.message);
  } finally {
    asking = false;
    if (again) { again = false; check(redraw); }
  }
}

function tell(said, redraw) {
  const text = byId("car-text");
  if (redraw && said.structure) { car = untouched() ? { driven: "rear" } : said.structure; drawForm(); }
  const sentence = untouched() ? "" : said.problem.replace(/^car\.toml:(\d+):(\d+): /, "Line $1: ");
  byId("car-says").textContent = untouched() ? "Write what you know of the car, or start from an example." : sentence ? sentence : said.orders ? "Nothing wrong found in the car file." : "";
  text.setAttribute("aria-invalid", sentence ? "true" : "false");
  byId("lines-says").textContent = said.question_problem ? said.question_problem.replace(/^--(\w+): /, "") : "";
  if (said.orders) tellLines(said.orders);
  heard(said.orders, sentence);
}

function hertz(row) {
  if (row.frequency_hz === null) return "";
  const spread = Math.max(Math.abs(row.frequency_tolerance[0]), Math.abs(row.frequency_tolerance[1]));
  const digits = row.frequency_hz < 100 ? 1 : 0;
  return row.frequency_hz.toFixed(digits) + (spread > 0.0005 ? " ± " + (100 * spread).toFixed(1) + " %" : "");
}

function tellLines(orders) {
  const gear = byId("lines-gear");
  if (gear.dataset.gears !== orders.gears.join()) {
    gear.dataset.gears = orders.gears.join();
    const chosen = orders.gears.includes(gear.value) ? gear.value : "N";
    choices(gear, orders.gears.map(function (g) { return [g, g]; }), chosen);
  }
  show(byId("lines-rows"), ...orders.rows.map(function (row) {
    const order = row.per_wheel_turn !== null ? row.per_wheel_turn.toFixed(2) + " per wheel turn" : row.per_engine_turn !== null ? row.per_engine_turn.toFixed(2) + " per engine turn" : "";
    return el("tr", {}, el("th", { scope: "row" }, row.name, el("small", { textContent: row.happening })),
      el("td", { className: "n" }, hertz(row), el("small", { textContent: order })));
  }));
}

function take(text) {
  byId("car-text").value = text;
  return check(true);
}

// A phone's road test may have brought its car file, where there was none.
let broughtBy = "";
export async function takeCarFromBench(bundle) {
  if (bundle === broughtBy) return;
  broughtBy = bundle;
  if (bundle && untouched()) await take((await ask("GET", "/api/car")).text);
}

function save() {
  const name = (car.name || "car").toLowerCase().replace(/[^a-z0-9]+/g, "_").replace(/^_|_$/g, "") || "car";
  const link = el("a", { href: URL.createObjectURL(new Blob([byId("car-text").value], { type: "text/plain" })), download: name + ".toml" });
  link.click();
  setTimeout(function () { URL.revokeObjectURL(link.href); }, 10000);
}

// `told`: called with the predicted lines and what is wrong, after every check.
export async function setUpCar(told) {
  heard = told;
  const examples = await ask("GET", "/api/examples"), select = byId("examples");
  const named = examples.map(function (one, i) { return [String(i), (one.text.match(/^name = "(.*)"/m) || ["", one.file])[1]]; });
  choices(select, [["", "choose one"]].concat(named), "");
  select.addEventListener("change", function () { if (select.value !== "") guarded(function () { return take(examples[Number(select.value)].text); }); });
  byId("open-car").addEventListener("change", function (event) {
    const file = event.target.files[0];
    if (file) guarded(async function () {
      if (file.size > 400000) throw new Error(file.name + " is larger than a car file can be.");
      await take(await file.text());
      event.target.value = "";
    });
  });
  byId("save-car").addEventListener("click", save);
  byId("car-text").addEventListener("input", function () { soon(true); });
  byId("car-form").addEventListener("submit", function (event) { event.preventDefault(); });
  ["lines-speed", "lines-gear"].forEach(function (id) { byId(id).addEventListener("input", function () { soon(false); }); });
  const kept = await ask("GET", "/api/car");
  byId("car-text").value = kept.text || fresh;
  await check(true);
}
