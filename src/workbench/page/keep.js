// The casebook: what was said is kept, and what the teardown really showed.
import { ask } from "./bench_api.js";
import { el, show, byId, choices, guarded } from "./markup.js";

const faults = ["", "outer race", "inner race", "rolling element", "cage", "worn teeth", "chipped tooth", "out of balance", "worn joint", "dry joint", "uneven wear", "worn machine"];

async function list() {
  const book = await ask("GET", "/api/cases");
  const cases = (book && book.cases) || [];
  if (book && book.problem) return show(byId("cases"), el("p", { className: "fine", textContent: "Nothing to show: " + book.problem }));
  show(byId("cases"), el("ul", {}, ...cases.map(function (one) {
    const found = one.findings.map(function (f) { return (f.part || "nothing wrong") + (f.fault ? ", " + f.fault : ""); }).join("; ");
    return el("li", {}, el("b", { textContent: one.id + "  " + one.title }), " (" + one.opened.slice(0, 10) + ", " + one.recordings.length + " recordings; " + (found ? "found: " + found : "not opened up yet") + ")");
  })));
  const chosen = byId("found-case").value;
  choices(byId("found-case"), cases.map(function (one) { return [String(one.id), one.id + "  " + one.title]; }).reverse(), chosen);
}

function submit(form, says, act) {
  byId(form).addEventListener("submit", function (event) {
    event.preventDefault();
    guarded(async function () {
      byId(says).textContent = "";
      const said = await act();
      await list();
      byId(says).textContent = said.said;
    }, byId(form).querySelector("button"));
  });
}

export function tellParts(orders) {
  const parts = new Map(orders.rows.map(function (row) { return [row.part, row.name]; }));
  const pairs = Array.from(parts).sort(function (a, b) { return a[1] < b[1] ? -1 : 1; });
  choices(byId("suspect"), pairs, byId("suspect").value);
  choices(byId("found-part"), pairs.concat([["nothing", "nothing was wrong"]]), byId("found-part").value);
}

export async function setUpKeep() {
  choices(byId("found-fault"), faults.map(function (one) { return [one, one || "not said"]; }), "");
  submit("keep-form", "keep-says", function () { return ask("POST", "/api/cases", { title: byId("case-title").value, note: byId("case-note").value }); });
  submit("found-form", "found-says", function () {
    return ask("POST", "/api/cases/" + byId("found-case").value + "/found", { part: byId("found-part").value, fault: byId("found-fault").value, note: byId("found-note").value });
  });
  byId("clear").addEventListener("click", function () {
    guarded(async function () {
      if (!byId("clear-sure").checked) throw new Error("Tick \u201cYes, all of it\u201d first.");
      await ask("DELETE", "/api/job");
      location.reload();
    }, byId("clear"));
  });
  await list();
}
