// Work that takes time: started, followed, stopped, and its results told. What is shown here is what the machine form says.
import { ask } from "./bench_api.js";
import { el, show, byId, button, guarded, percent, bar, table } from "./markup.js";

let refresh = function () {};
const shown = {};      // per kind: the number of the work whose result stands in the page

const words = { "fault heard": "Fault heard", "no fault heard": "No fault heard", "can't tell": "Can't tell", "heard": "Heard", "not heard": "Not heard",
  "these recordings could not show it": "These recordings could not show it", "gone": "Gone", "reduced": "Reduced", "unchanged": "Unchanged", "worse": "Worse", "not comparable": "Not comparable" };

async function start(kind, wishes) {
  await ask("POST", "/api/work/" + kind, wishes);
  refresh();
}

function stop(kind) {
  return button("Stop", async function () {
    await ask("DELETE", "/api/work/" + kind);
    refresh();
  });
}

function heading(word, reason) {
  return [el("p", { className: "verdict", textContent: words[word] || word }), el("p", { className: "reason", textContent: reason })];
}

function report(kind, number) {
  return el("p", { className: "tools" }, el("a", { className: "button", href: "/view/" + kind + ".html?" + number, target: "_blank", rel: "noopener", textContent: "Report to look at and print" }));
}

function cautions(list) {
  return el("div", {}, ...list.map(function (one) { return el("p", { className: "fine", textContent: one }); }));
}

function speed(mps) { return (mps * 3.6).toFixed(0) + " km/h (" + (mps / 0.44704).toFixed(0) + " mph)"; }

const throttle = { drive: "pulling", float: "just holding speed", coast: "throttle closed", neutral: "out of gear" };

function nextRun(run) {
  if (!run) return null;
  const bend = run.turn === "straight" ? "" : ", in a " + run.turn + "-hand bend";
  const pedal = run.clutch === "pedal down" ? ", clutch pedal down" : "";
  return el("div", {}, el("h3", { textContent: "What to record next" }),
    el("p", { className: "next", textContent: "Gear " + run.gear + ", " + (throttle[run.load] || run.load) + bend + pedal + ", " + speed(run.speed_mps) + ", for " + run.duration_s.toFixed(0) + " s. " + run.because }));
}

// As it stands among the parts to choose from.
function nameOf(part) {
  const one = Array.from(byId("suspect").options).find(function (option) { return option.value === part; });
  return one ? one.textContent : part.replaceAll("_", " ");
}

// In the order of what is likely; the two that are no part stand where they belong.
function ranking(d, act) {
  if (!d.suspects.length) return el("p", { className: "fine", textContent: "Nothing could be looked at, so nobody knows how likely what is." });
  // As many as say something: those of a hundredth or more, three at least.
  const told = d.suspects.filter(function (s, i) { return i < 3 || (i < 8 && s.probability >= 0.01); }), left = d.suspects.length - told.length;
  const rows = told.map(function (s) { return { name: s.name + ", " + s.fault, share: s.probability, suspect: s }; });
  rows.push({ name: "A regular noise of nothing in the car file", share: d.unexplained_probability }, { name: "No fault", share: d.no_fault_probability });
  rows.sort(function (a, b) { return b.share - a.share; });
  const more = left ? el("p", { className: "fine", textContent: left + " more part" + (left === 1 ? "" : "s") + ", each less likely: the report has them all." }) : "";
  return el("div", {}, el("ul", { className: "rank" }, ...rows.map(function (row) {
    const same = row.suspect && row.suspect.cannot_be_told_from.length ? el("p", { className: "fine", textContent: "Can't be told from " + row.suspect.cannot_be_told_from.map(nameOf).join(", ") }) : null;
    const acts = row.suspect ? el("div", { className: "acts" }, act("Hear it", row.suspect), act("Confirm it", row.suspect), same || "") : null;
    return el("li", { className: row.suspect ? "" : "none" }, el("span", { className: "name", textContent: row.name }), el("span", { className: "share", textContent: percent(row.share) }), bar(row.share), acts || "");
  })), more);
}

function found(lines, runName) {
  return lines.filter(function (one) { return one.found; }).map(function (one) {
    return [runName(one.recording), one.kind, one.frequency_hz.toFixed(1), one.order.toFixed(3) + " " + (one.order_of || ""), one.above_background_db.toFixed(1)];
  });
}

function evidence(d, names) {
  return el("details", { className: "long" }, el("summary", { textContent: "Lines found, and the recordings" }),
    ...d.suspects.slice(0, 2).map(function (s) {
      return el("div", {}, el("p", {}, el("b", { textContent: s.name }), ": " + s.in_words), table("Lines of the " + s.name + " that stand out", ["Recording", "Line", "Hz", "per turn", "dB above"], found(s.evidence, names)));
    }),
    table("Recordings as they were used", ["Recording", "usable", "wheels, turns/s", "needle over true", "speed found", "problems"], d.recordings.map(function (r, i) {
      return [names(i), r.usable_s.toFixed(0) + " s", r.mean_wheel_hz.toFixed(3) + " ± " + r.mean_wheel_hz_sd.toFixed(3), (1 / r.speed_scale).toFixed(3), r.speed_found, r.problems.join("; ")];
    })));
}

const tell = {
  diagnose: function (d, work, names) {
    const player = el("div", { id: "heard", role: "status" });
    const act = function (label, s) {
      const made = label === "Hear it" ? button(label, function () { return start("listen", { part: s.part, fault: s.fault }); })
        : button(label, async function () { byId("suspect").value = s.part; await start("confirm", { part: s.part, fault: s.fault }); byId("confirm").scrollIntoView(); });
      made.setAttribute("aria-label", label + ": " + s.name);
      return made;
    };
    show(byId("diagnosis"), ...heading(d.verdict, d.reason), el("div", { id: "report-diagnose" }), el("h3", { textContent: "How likely" }), ranking(d, act), player, nextRun(d.next_run), evidence(d, names), cautions(d.cautions));
  },
  confirm: function (c, work, names) {
    const rows = c.recordings.map(function (r) {
      const loud = r.would_be_heard ? "from " + r.would_be_heard.found_9_in_10_db.toFixed(0) + " dB up" : r.injected ? "at no level tried" : "-";
      return [names(r.recording), r.heard.toFixed(1), r.enough.toFixed(1), loud];
    });
    show(byId("confirmation"), ...heading(c.verdict, c.name + ", " + c.fault + ": " + c.reason), el("div", { id: "report-confirm" }), el("p", {}, "Among all suspects, and none, it has " + percent(c.probability) + "."),
      table("Run by run", ["Recording", "evidence", "enough", "loud enough to be heard"], rows), nextRun(c.next_run), cautions(c.cautions));
  },
  compare: function (c) {
    const rows = c.parts.map(function (p) {
      const change = p.change_db === null ? "-" : (p.change_db > 0 ? "+" : "") + p.change_db.toFixed(1) + " dB (" + p.low_db.toFixed(1) + " to " + p.high_db.toFixed(1) + ")";
      return [p.name, change, words[p.verdict] || p.verdict];
    });
    show(byId("comparison"), ...heading(c.verdict, c.reason), el("div", { id: "report-compare" }), table("Part by part: change with its 90 % interval", ["Part", "Change", "Verdict"], rows),
      ...c.remarks.map(function (one) { return el("p", { className: "problem", textContent: one }); }), cautions(c.cautions));
  },
  listen: function (l, work) {
    const box = byId("heard");
    if (!box) return;
    const player = el("audio", { controls: true, src: "/view/listen.wav?" + work.number, "aria-label": "The " + l.name + " alone" });
    const half = button("An octave down", function () { return start("listen", Object.assign({}, work.wishes, { half_speed: true })); });
    show(box, el("p", {}, el("b", { textContent: l.name + ", " + l.fault }), ", alone" + (work.wishes.half_speed ? ", at half speed" : "") + ". Turn the volume down first: it was made louder than it was in the car."), player, work.wishes.half_speed ? null : half);
  },
  plan: function () { /* the link to the card is all */ },
};

function follow(kind, work, box, idle) {
  if (work.state === "running")
    return show(box, el("p", { role: "status" }, "Working: " + work.stage + ", " + work.seconds.toFixed(0) + " s so far"), el("progress", { "aria-label": "Working" }), stop(kind));
  const said = work.state === "failed" ? el("p", { className: "problem", textContent: work.sentence.replace(/^(?:car|ROADTEST|AFTER)\.toml:\d+:\d+: /, "") }) : work.state === "stopped" ? el("p", { textContent: "Stopped." }) : null;
  const stale = work.stale ? el("p", { className: "problem", textContent: "The car or the recordings were changed since; ask again." }) : null;
  show(box, idle, said, stale);
}

// Keeps what is in `box` unless something changed: the focus stays where it is.
const drawnAs = {};
function redraw(kind, work, box, idle) {
  const as = [work.state, work.number, work.stage, work.stale, work.state === "running" ? Math.floor(work.seconds) : 0].join("|");
  if (drawnAs[kind] === as) return;
  drawnAs[kind] = as;
  follow(kind, work, box, idle());
}

async function tellResult(kind, work, names) {
  if (work.number && !work.result && work.state === "running" && shown[kind]) {
    shown[kind] = 0;
    const box = { diagnose: "diagnosis", confirm: "confirmation", compare: "comparison", listen: "heard" }[kind];
    if (box && byId(box)) show(byId(box));
  }
  if (work.result && shown[kind] !== work.number) {
    shown[kind] = work.number;
    tell[kind](await ask("GET", "/api/work/" + kind), work, names);
  }
  const place = byId("report-" + kind);
  if (place && work.report && !place.firstChild) show(place, report(kind, work.number));
}

export async function tellWork(works, names) {
  redraw("diagnose", works.diagnose, byId("work-diagnose"), function () { return button("Find the noise", function () { return start("diagnose", {}); }, "main"); });
  redraw("confirm", works.confirm, byId("work-confirm"), function () { return button("Confirm it, or not", function () { return start("confirm", { part: byId("suspect").value }); }, "main"); });
  redraw("compare", works.compare, byId("work-compare"), function () { return button("Compare before and after", function () { return start("compare", {}); }, "main"); });
  tellPlan(works.plan);
  for (const kind of ["diagnose", "confirm", "compare", "listen"]) await tellResult(kind, works[kind], names);
  tellListening(works.listen);
}

function tellListening(work) {
  const box = byId("heard");
  if (!box || work.result) return;
  const as = [work.state, work.number].join("|");
  if (box.dataset.as === as) return;
  box.dataset.as = as;
  if (work.state === "running") show(box, el("p", { textContent: "Taking the healthy tones out of the sound ..." }), el("progress", { "aria-label": "Working" }));
  else if (work.state === "failed") show(box, el("p", { className: "problem", textContent: work.sentence }));
}

function tellPlan(work) {
  const box = byId("plan-says"), as = [work.state, work.number, work.stale].join("|");
  if (box.dataset.as === as) return;
  box.dataset.as = as;
  if (work.state === "running") show(box, "Working out the runs ...");
  else if (work.state === "failed") show(box, work.sentence);
  else if (work.state === "done") show(box, el("a", { className: "button", href: "/view/plan.html?" + work.number, target: "_blank", rel: "noopener", textContent: "The card, to print" }));
  else show(box);
}

export function setUpResults(again) {
  refresh = again;
  byId("plan").addEventListener("click", function () { guarded(function () { return start("plan", {}); }, byId("plan")); });
}
