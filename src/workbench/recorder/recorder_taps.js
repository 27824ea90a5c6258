// What the passenger says with a finger: gear, throttle, road, needle; or the runs of the plan.

const state = { gear: "", throttle: "", road: "straight", clutch: "engaged", needle: null, unit: "km/h" };

function tap(kind, value) {
  if (kind in state) state[kind] = value;
  note({ is: "tap", time_s: clock.now(), kind: kind, value: value });
}

function told(words) { note({ is: "told", time_s: clock.now(), speed: words }); }

// Gear N and "out of gear" are one thing said twice; either says the other.
function tapGear(gear) {
  tap("gear", gear);
  if (gear === "N") tap("throttle", "neutral");
  else if (state.throttle === "neutral") tap("throttle", "");
}

function tapThrottle(load) {
  tap("throttle", load);
  if (load === "neutral" && state.gear !== "N") tap("gear", "N");
  else if (load !== "neutral" && state.gear === "N") tap("gear", "");
}

function turnNeedle(by) {
  state.needle = Math.max(5, (state.needle === null ? (state.unit === "mph" ? 40 : 60) : state.needle) + by);
  told(state.needle + " " + state.unit);
}

const board = {
  buttons: [],
  row(kind, label, pairs, act) {
    const box = el("div", { className: "keys " + kind, role: "group", "aria-label": label });
    for (const [value, words] of pairs) {
      const made = button(words, function () { act(value); board.show(); }, "press");
      board.buttons.push({ made: made, kind: kind, value: value });
      box.append(made);
    }
    return el("div", {}, el("h2", {}, label), box);
  },
  lay(gears) {
    board.buttons = [];
    const needle = el("output", { id: "needle" });
    byId("free").replaceChildren(
      board.row("gear", "Gear", gears.map(function (gear) { return [gear, gear]; }), tapGear),
      board.row("throttle", "Throttle", throttles, tapThrottle),
      board.row("road", "Road", roads, function (turn) { tap("road", turn); }),
      el("div", {}, el("h2", {}, "The needle shows"), el("div", { className: "keys needle" },
        el("button", { type: "button", className: "press", id: "less", "aria-label": "less" }, "\u2212"), needle, el("button", { type: "button", className: "press", id: "more", "aria-label": "more" }, "+"))));
    byId("less").addEventListener("click", function () { turnNeedle(state.needle === null ? 0 : -5); board.show(); });
    byId("more").addEventListener("click", function () { turnNeedle(state.needle === null ? 0 : 5); board.show(); });
    tap("road", state.road);
    board.show();
  },
  show() {
    for (const one of board.buttons) one.made.setAttribute("aria-pressed", String(state[one.kind] === one.value));
    byId("needle").textContent = state.needle === null ? "not said" : state.needle + " " + state.unit;
  }
};

// The plan's runs, one after the other.
const walk = {
  runs: [], unit: "km/h", at: 0, running: false, until: 0, timer: null, done: 0,
  begin(card, from) {
    walk.runs = card.runs;
    walk.unit = card.unit;
    walk.at = from || 0;
    walk.done = 0;
    walk.running = false;
    walk.show();
    walk.speak();
  },
  run() { return walk.runs[walk.at]; },
  speak() { if (walk.run()) voice.say("Run " + (walk.at + 1) + ". " + runWords(walk.run(), walk.unit) + "."); },
  start() {
    const run = walk.run();
    voice.hush();
    tap("gear", run.gear);
    tap("throttle", run.load);
    tap("road", run.turn);
    tap("clutch", run.clutch);
    told(toldSpeed(run, walk.unit));
    tap("run", String(walk.at + 1));
    walk.running = true;
    walk.until = clock.now() + run.duration_s;
    walk.timer = setTimeout(function () { walk.end(""); }, 1000 * run.duration_s);
    walk.show();
  },
  // `how`: "" or "spoilt".
  end(how) {
    if (!walk.running) return;
    clearTimeout(walk.timer);
    walk.running = false;
    tap("end", how);
    told("");
    if (navigator.vibrate) navigator.vibrate(300);
    if (how === "") {
      ++walk.done;
      voice.say("Run " + (walk.at + 1) + " is done.");
      ++walk.at;
    }
    walk.show();
    walk.speak();
    if (!walk.run()) voice.say("All runs are done. Stop the recording when the car stands.");
  },
  go(by) {
    walk.at = Math.max(0, Math.min(walk.runs.length, walk.at + by));
    voice.hush();
    walk.show();
    walk.speak();
  },
  left() { return walk.running ? Math.max(0, walk.until - clock.now()) : 0; },
  show() {
    const run = walk.run(), box = byId("card");
    if (!run) {
      box.replaceChildren(el("p", { className: "order" }, "All runs are done."), el("p", {}, "Stop the recording when the car stands."),
        button("Back to the last run", function () { walk.go(-1); }, "press"));
      return;
    }
    box.classList.toggle("on", walk.running);
    const head = el("p", { className: "count" }, "Run " + (walk.at + 1) + " of " + walk.runs.length);
    const order = el("p", { className: "order" }, el("b", {}, (run.gear === "N" ? "Neutral" : run.gear === "R" ? "Reverse" : "Gear " + run.gear)), " ",
      el("b", {}, toldSpeed(run, walk.unit)));
    const how = el("p", { className: "how" }, fuller[run.load] + (run.clutch === "engaged" ? "" : ", clutch pedal down") + ", " + fuller[run.turn]);
    const rest = walk.running
      ? [el("p", { className: "left", role: "timer" }, el("span", { id: "left" }, Math.ceil(walk.left())), " s left"),
        button("Spoilt: do it again", function () { walk.end("spoilt"); }, "press wide-key")]
      : [button("Begin: it is steady now", function () { walk.start(); }, "press huge"),
        el("p", { className: "fine" }, Math.round(run.duration_s) + " seconds. It ends by itself."),
        el("div", { className: "keys two" }, button("Run before", function () { walk.go(-1); }, "press"), button("Leave out", function () { walk.go(1); }, "press"))];
    box.replaceChildren(head, order, how, ...rest);
  }
};
