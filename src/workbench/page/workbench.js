// The page: takes up what lies on the bench and follows it.
import { ask } from "./bench_api.js";
import { byId, trouble } from "./markup.js";
import { setUpCar, takeCarFromBench } from "./car_form.js";
import { setUpRecordings, tellRuns, tellGears, tellLan } from "./recordings.js";
import { setUpResults, tellWork } from "./results.js";
import { setUpKeep, tellParts } from "./keep.js";

let timer = null, looking = false, again = false, lost = false;

function count(number, word) { return number + " " + word + (number === 1 ? "" : "s"); }

function station(id, words) { byId("at-" + id).textContent = words; }

function tellCar(orders, wrong) {
  const title = orders && orders.car ? orders.car : "No car yet";
  byId("car-title").textContent = title;
  document.title = (orders && orders.car ? orders.car + ": " : "") + "Workbench";
  if (!orders) return station("car", wrong ? "has a mistake" : "not described yet");
  station("car", wrong ? "has a mistake" : count(new Set(orders.rows.map(function (row) { return row.part; })).size, "part"));
  tellGears(orders.gears);
  tellParts(orders);
}

function recorded(runs) {
  if (!runs.length) return "none yet";
  const bad = runs.filter(function (run) { return run.state === "unusable"; }).length, open = runs.filter(function (run) { return !run.gear || !(run.speed_kind === "log" ? run.log : run.speed) || (!run.load && run.gear !== "N"); }).length;
  return runs.length + (bad ? ", " + bad + " unusable" : open ? ", " + open + " to be described" : ", all described");
}

function worked(work, done) {
  return { none: "not asked yet", running: "working ...", failed: "failed", stopped: "stopped", done: work.stale ? "out of date" : done }[work.state];
}

function tellStations(job) {
  const after = job.runs.filter(function (run) { return run.set === "after"; });
  station("runs", recorded(job.runs.filter(function (run) { return run.set === "before"; })));
  station("verdict", worked(job.work.diagnose, "there"));
  station("confirm", worked(job.work.confirm, "there"));
  station("after", after.length ? job.work.compare.state === "none" ? recorded(after) : worked(job.work.compare, "compared") : "nothing recorded");
  station("keep", job.kept_as || "not kept yet");
}

// Soon again while something goes on, else now and then: a phone may send something.
async function look() {
  if (looking) { again = true; return; }
  looking = true;
  clearTimeout(timer);
  let wait = 3000;
  try {
    const job = await ask("GET", "/api/job");
    if (lost) trouble("");
    lost = false;
    await takeCarFromBench(job.car_from);
    tellRuns(job.runs);
    tellStations(job);
    const names = function (i) {
      const run = job.runs.filter(function (one) { return one.set === "before"; })[i];
      return (i + 1) + (run ? "  " + run.name : "");
    };
    await tellWork(job.work, names);
    const busy = Object.values(job.work).some(function (work) { return work.state === "running"; }) || job.runs.some(function (run) { return run.state === "checking"; });
    wait = busy ? 400 : 3000;
  } catch (wrong) {
    trouble(wrong.message);
    lost = true;
  }
  looking = false;
  timer = setTimeout(look, again ? 0 : wait);
  again = false;
}

async function begin() {
  try {
    await ask("POST", "/api/enter");
    setUpRecordings(look);
    setUpResults(look);
    await setUpCar(tellCar);
    tellLan(await ask("GET", "/api/lan"));
    await setUpKeep();
    await look();
    document.documentElement.dataset.ready = "yes";
  } catch (wrong) {
    trouble(wrong.message);
  }
}

begin();
