// The recordings: where they are dropped, what is said of each, and which part of each is used.
import { ask, sendRun, sendLog } from "./bench_api.js";
import { el, drawn, show, byId, button, choices, guarded, trouble } from "./markup.js";

const cards = {};     // by the recording's ID
let gears = ["N"], refresh = function () {};

const loads = [["", "throttle?"], ["drive", "pulling"], ["float", "holding speed"], ["coast", "closed"], ["neutral", "out of gear"]];
const turns = [["straight", "straight on"], ["left", "left-hand bend"], ["right", "right-hand bend"]];
const kinds = [["needle", "the needle"], ["satellite", "satellite"], ["between", "two limits"], ["engine", "rev counter"], ["bench", "bench shaft"], ["log", "speed log"]];
const hints = { needle: "65 km/h", satellite: "40 mph", between: "30 mph and 60 mph", engine: "2500 rpm", bench: "1797 rpm", log: "starts at, 1:35" };

export function megabytes(bytes) {
  return bytes < 1e5 ? (bytes / 1e3).toFixed(0) + " kB" : (bytes / 1e6).toFixed(1) + " MB";
}

function clock(s) {
  const tenths = Math.round(10 * s), minutes = Math.floor(tenths / 600), rest = (tenths - 600 * minutes) / 10;
  return minutes + ":" + (rest < 10 ? "0" : "") + rest.toFixed(rest % 1 ? 1 : 0);
}

function seconds(text, otherwise) {
  const found = (text || "").match(/^(?:(\d+):)?(\d+(?:\.\d+)?)\s*s?$/);
  return found ? 60 * Number(found[1] || 0) + Number(found[2]) : otherwise;
}

// Sends one after the other: a phone's files are large, and the disk is one.
async function sendAll(files, set, box) {
  for (const file of files) {
    const bar = el("progress", { max: 1, value: 0, "aria-label": "Sending " + file.name });
    const row = el("p", {}, "Sending " + file.name + " (" + megabytes(file.size) + ")", bar);
    box.append(row);
    try {
      await sendRun(file, set, function (share) { bar.value = share; });
    } catch (wrong) {
      trouble(wrong.message);
    }
    row.remove();
    refresh();
  }
}

export function dropArea(box, set, words) {
  const input = el("input", { type: "file", multiple: true, accept: "audio/*,video/*,.m4a,.3gp,.amr,.opus,.ogg,.flac,.wav,.caf,.zip" });
  const sending = el("div", { role: "status" });
  const area = el("label", { className: "drop" }, words, input);
  input.addEventListener("change", function () {
    sendAll(Array.from(input.files), set, sending).then(function () { input.value = ""; });
  });
  ["dragenter", "dragover"].forEach(function (name) {
    area.addEventListener(name, function (event) { event.preventDefault(); area.classList.add("over"); });
  });
  ["dragleave", "drop"].forEach(function (name) { area.addEventListener(name, function () { area.classList.remove("over"); }); });
  area.addEventListener("drop", function (event) {
    event.preventDefault();
    sendAll(Array.from(event.dataTransfer.files), set, sending);
  });
  show(box, area, sending);
}

function change(run, changes) {
  Object.assign(run, changes);
  return guarded(async function () {
    await ask("PATCH", "/api/runs/" + run.id, changes);
    refresh();
  });
}

function labelled(words, input) { return el("label", {}, words + " ", input); }

function selected(run, key, pairs) {
  const made = el("select", {});
  choices(made, pairs, run[key]);
  made.addEventListener("change", function () { change(run, { [key]: made.value }); });
  return made;
}

function gearPairs(run) {
  const all = gears.includes(run.gear) || run.gear === "" ? gears : gears.concat([run.gear]);
  return [["", "gear?"]].concat(all.map(function (g) { return [g, g]; }));
}

function wave(outline, check) {
  const most = Math.max(0.02, ...outline), step = 1000 / outline.length;
  const up = outline.map(function (v, i) { return (i * step).toFixed(1) + "," + (50 - 46 * v / most).toFixed(1); });
  const down = outline.map(function (v, i) { return (i * step).toFixed(1) + "," + (50 + 46 * v / most).toFixed(1); }).reverse();
  const made = drawn("svg", { "class": "wave", viewBox: "0 0 1000 100", preserveAspectRatio: "none", role: "img", "aria-label": "Loudness over the recording" },
    drawn("path", { d: "M" + up.join("L") + "L" + down.join("L") + "Z" }));
  // What is left out for bumps, gaps and clipping.
  let end = 0;
  (check.stretches || []).concat([{ from_s: check.duration_s, to_s: check.duration_s }]).forEach(function (stretch) {
    const x = 1000 * end / check.duration_s, width = 1000 * (stretch.from_s - end) / check.duration_s;
    if (width > 0.5) made.append(drawn("rect", { "class": "lost", x: x, y: 0, width: width, height: 100 }));
    end = stretch.to_s;
  });
  const before = drawn("rect", { "class": "cut", x: 0, y: 0, width: 0, height: 100 }), after = drawn("rect", { "class": "cut", x: 1000, y: 0, width: 0, height: 100 });
  const low = drawn("line", { "class": "bound", y1: 0, y2: 100 }), high = drawn("line", { "class": "bound", y1: 0, y2: 100 });
  made.append(before, after, low, high);
  made.cutTo = function (from, to) {
    const a = 1000 * from / check.duration_s, b = 1000 * to / check.duration_s;
    before.setAttribute("width", a);
    after.setAttribute("x", b);
    after.setAttribute("width", Math.max(0, 1000 - b));
    [[low, a], [high, b]].forEach(function (one) { one[0].setAttribute("x1", one[1]); one[0].setAttribute("x2", one[1]); });
  };
  return made;
}

function trimmer(run, check) {
  const picture = wave(check.outline, check), whole = check.duration_s, least = Math.min(1, whole / 2);
  const from = el("input", { type: "range", min: 0, max: whole, step: 0.1, value: seconds(run.from, 0) });
  const to = el("input", { type: "range", min: 0, max: whole, step: 0.1, value: seconds(run.to, whole) });
  const says = el("p", { className: "fine" });
  function show(moved) {
    if (Number(to.value) - Number(from.value) < least) {
      if (moved === from) from.value = Math.max(0, Number(to.value) - least);
      else to.value = Math.min(whole, Number(from.value) + least);
    }
    const a = Number(from.value), b = Number(to.value);
    picture.cutTo(a, b);
    [from, to].forEach(function (one) { one.setAttribute("aria-valuetext", clock(Number(one.value))); });
    says.textContent = "Used: " + clock(a) + " to " + clock(b) + " of " + clock(whole);
  }
  [from, to].forEach(function (one) {
    one.addEventListener("input", function () { show(one); });
    one.addEventListener("change", function () {
      show(one);
      const a = Number(from.value), b = Number(to.value);
      change(run, { from: a > 0.05 ? clock(a) : "", to: b < whole - 0.05 ? clock(b) : "" });
    });
  });
  show(null);
  return el("div", {}, picture, el("div", { className: "trim" }, labelled("Use from", from), labelled("to", to)), says);
}

function heardOf(run) {
  const player = el("audio", { controls: true, preload: "none", src: "/view/runs/" + run.id, "aria-label": "Listen to " + run.name });
  const says = el("p", { className: "fine" });
  player.addEventListener("error", function () {
    says.textContent = "This browser can't play this kind of file; gearhark reads it all the same.";
  });
  return el("div", { className: "noprint" }, player, says);
}

function problems(check) {
  return (check.problems || []).map(function (one) {
    return el("p", { className: "problem" }, el("b", {}, one.sentence), " " + one.cure);
  });
}

function card(run, number) {
  const heading = el("h3", { id: "run-" + run.id }), state = el("p", { className: "fine" }), more = el("div", {});
  const gear = selected(run, "gear", gearPairs(run));
  const speed = el("input", { value: run.speed, placeholder: hints[run.speed_kind], autocomplete: "off" });
  speed.addEventListener("change", function () { change(run, { speed: speed.value.trim() }); });
  const kind = selected(run, "speed_kind", kinds);
  kind.addEventListener("change", function () { logBox.hidden = kind.value !== "log"; speed.placeholder = hints[kind.value]; });
  const log = el("input", { type: "file", accept: ".gpx,.nmea,.csv" }), logName = el("span", {});
  const logBox = el("label", { className: "button span" }, "Choose the speed log (GPX, NMEA, CSV) ", logName, log);
  log.addEventListener("change", function () {
    guarded(async function () {
      if (log.files[0]) await sendLog(log.files[0], run.id);
      log.value = "";
      refresh();
    });
  });
  const fields = el("div", { className: "fields" }, labelled("Gear", gear), labelled("Throttle", selected(run, "load", loads)),
    labelled("Speed", speed), labelled("told by", kind), labelled("Road", selected(run, "turn", turns)),
    labelled("Clutch", selected(run, "clutch", [["engaged", "engaged"], ["pedal down", "pedal down"]])), logBox);
  const remove = button("Remove", async function () {
    await ask("DELETE", "/api/runs/" + run.id);
    refresh();
  });
  remove.setAttribute("aria-label", "Remove " + run.name);
  const other = run.set === "before" ? "after" : "before";
  const move = button(other === "after" ? "It is from after the repair" : "It is from before the repair", async function () {
    await ask("PATCH", "/api/runs/" + run.id, { set: other });
    refresh();
  });
  // Of the road test that it came in as the first run.
  const unused = run.left_out.map(function (one) { return el("p", { className: "fine", textContent: one }); });
  const box = el("article", { className: "card", "aria-labelledby": heading.id }, heading, state, ...unused, fields, more, el("div", { className: "tools" }, remove, move));
  return { box: box, heading: heading, state: state, more: more, gear: gear, kind: kind, logBox: logBox, logName: logName, run: run, shown: "" };
}

function update(made, run, number) {
  made.heading.textContent = number + "  " + run.name;
  made.box.classList.toggle("bad", run.state === "unusable");
  const check = run.check || {};
  made.logBox.hidden = made.kind.value !== "log";
  made.logName.textContent = run.log ? ": " + run.log : "";
  made.state.textContent = run.state === "checking" ? megabytes(run.bytes) + ", being looked at ..." : run.state === "unusable" ? run.trouble :
    check.container + ", " + check.codec + ", " + clock(check.duration_s) + "; " + check.usable_s.toFixed(0) + " s of it usable" + (run.from_phone ? "; from a phone" : "");
  if (made.shown === run.state) return;
  made.shown = run.state;
  if (run.state === "ready") guarded(async function () {
    const whole = await ask("GET", "/api/runs/" + run.id + "/check");
    show(made.more, ...problems(whole), trimmer(made.run, whole), heardOf(run));
  });
}

// `runs`: as the server tells them.
export function tellRuns(runs) {
  ["before", "after"].forEach(function (set) {
    const box = byId("list-" + set), wanted = [];
    runs.filter(function (run) { return run.set === set; }).forEach(function (run, i) {
      if (!cards[run.id] || cards[run.id].run.set !== set) cards[run.id] = card(run, i + 1);
      update(cards[run.id], run, i + 1);
      wanted.push(cards[run.id].box);
    });
    if (wanted.length !== box.children.length || wanted.some(function (one, i) { return box.children[i] !== one; })) show(box, ...wanted);
  });
}

export function tellGears(found) {
  if (found.join() === gears.join()) return;
  gears = found;
  Object.values(cards).forEach(function (made) { choices(made.gear, gearPairs(made.run), made.run.gear); });
}

export function setUpRecordings(again) {
  refresh = again;
  dropArea(byId("drop-before"), "before", "Drop recordings here, or choose them");
  dropArea(byId("drop-after"), "after", "Drop recordings from after the repair here, or choose them");
  // A file that misses the area must not replace the page.
  ["dragover", "drop"].forEach(function (name) { window.addEventListener(name, function (event) { event.preventDefault(); }); });
}

export function tellLan(invitation) {
  const box = byId("lan");
  if (!invitation) return show(box);
  if (!invitation.code)
    return show(box, el("div", { className: "lan" }, el("p", {}, "The code was tried wrongly too often and is closed."), button("Make a new code", async function () { tellLan(await ask("POST", "/api/lan/code")); })));
  const size = invitation.qr.length;
  const squares = invitation.qr.map(function (row, y) {
    return Array.from(row).map(function (dark, x) { return dark === "1" ? "M" + (x + 4) + "," + (y + 4) + "h1v1h-1z" : ""; }).join("");
  }).join("");
  const picture = drawn("svg", { viewBox: "0 0 " + (size + 8) + " " + (size + 8), role: "img", "aria-label": "The address below, with the code, as a QR code", "shape-rendering": "crispEdges" }, drawn("path", { d: squares }));
  const safe = invitation.fingerprint !== "";
  const warned = el("div", {},
    el("p", {}, "The phone will warn that the connection is not private: it does not know who made the certificate. gearhark made it itself, for this address. Go on there (\u201cadvanced\u201d, \u201cdetails\u201d) if the certificate's SHA-256 fingerprint, which the warning's details show, is this one:"),
    el("p", { className: "print", textContent: invitation.fingerprint }),
    el("p", {}, "Then the phone can also record the road test itself, with speed and taps."));
  show(box, el("div", { className: "lan" }, picture, el("div", {},
    el("p", {}, "Send recordings from a phone on this network: point its camera here, or open ", el("b", { textContent: invitation.address }), " and type"),
    el("p", { className: "code", textContent: invitation.code }),
    safe ? warned : el("p", { className: "fine", textContent: "The phone can send recordings and nothing else. They cross this network without encryption." }))));
}
