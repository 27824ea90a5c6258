// The page: set up, record, keep.

const usualGears = ["1", "2", "3", "4", "5", "6", "R", "N"];
let card = { runs: [], gears: [], car_file: "", car: "", cautions: [], how_to_record: [] };
let current = null, awake = null, unlock = null;

function list(box, items) { box.replaceChildren(...items.map(function (item) { return el("li", {}, item); })); }

function takeCard(text) {
  card = Object.assign({ gears: [], cautions: [], how_to_record: [], car: "" }, readCard(text));
  if (card.unit) setUnit(card.unit);
  if (card.cautions.length) list(byId("cautions"), card.cautions);
  if (card.how_to_record.length) list(byId("how"), card.how_to_record);
  byId("card-says").textContent = card.runs.length ? "Plan for " + (card.car || "a car") + ": " + card.runs.length + (card.runs.length === 1 ? " run." : " runs.") + (card.car_file ? "" : " It does not carry the car file.")
    : "The car file goes into the recording.";
  byId("aloud-choice").hidden = card.runs.length === 0;
}

function setUnit(unit) {
  state.unit = unit;
  remembered("unit", unit);
  byId("unit").value = unit;
}

async function stayAwake() {
  if (!navigator.wakeLock || !current || document.visibilityState !== "visible") return;
  try { awake = await navigator.wakeLock.request("screen"); } catch (refused) { awake = null; }
}

// Held while it is written, so that no other tab offers to delete it.
function hold(id) {
  if (navigator.locks) navigator.locks.request("recording " + id, function () { return new Promise(function (done) { unlock = done; }); });
}

function tellMicrophone() {
  const wrong = notGranted(sound.granted);
  byId("granted").textContent = wrong.length ? "This phone does not switch off " + wrong.join(" and ") + ": what it records can be judged less surely." : "";
  byId("granted").hidden = wrong.length === 0;
}

async function record(start, already) {
  await sound.open();
  clock.begin(already ? (Date.now() - Date.parse(start.started)) / 1000 : 0);
  if (!already) start.started = new Date().toISOString();
  current = { id: start.id, start: start };
  level.reset();
  try {
    await writer.ask("begin", { id: start.id, clockShift: -clock.zero - await writersLead() });
    if (!already) await note(start);
    hold(start.id);
    sound.pieces = already ? already.pieces.reduce(function (most, piece) { return Math.max(most, piece.number); }, 0) : 0;
    await sound.begin(already ? "the page was closed" : "");
  } catch (wrong) {
    await sound.close();
    current = null;
    throw wrong;
  }
  tellMicrophone();
  tellSound("");
  await stayAwake();
  speed.begin(start.position_kept);
  showOnly("drive");
  if (already) for (const kind of ["gear", "throttle"]) tap(kind, "");
  if (already) told("");
  const planned = start.plan.runs.length > 0;
  byId("card").hidden = !planned;
  byId("free").hidden = planned;
  if (planned) walk.begin(start.plan, already ? nextRun(already) : 0);
  else board.lay(start.plan.gears.length ? start.plan.gears : usualGears);
  if (navigator.storage && navigator.storage.persist) navigator.storage.persist();
  tellRoom();
}

// The run after the last one that was driven to its end.
function nextRun(journal) {
  let running = 0, next = 0;
  for (const one of journal.taps) {
    if (one.kind === "run") running = Number(one.value);
    if (one.kind === "end" && one.value === "") next = running;
  }
  return next;
}

function fresh() {
  const now = new Date();
  Object.assign(state, { gear: "", throttle: "", road: "straight", needle: null });
  return { is: "start", id: now.toISOString().replace(/[^0-9]/g, ""), started: now.toISOString(), user_agent: navigator.userAgent, asked: asked,
    position_kept: byId("position").checked, car_file: card.car_file, plan: { car: card.car, unit: card.unit || state.unit, gears: card.gears, runs: card.runs } };
}

async function goOn(one, journal) {
  if (!byId("agree").checked) throw new Error("Read what comes before driving first, and say so.");
  Object.assign(state, { gear: "", throttle: "", road: "straight", needle: null });
  await record(journal.start, journal);
}

async function stop() {
  walk.end("spoilt");
  voice.hush();
  speed.end();
  await note({ is: "finish", time_s: clock.now() });
  await writer.ask("end");
  await sound.close();
  current = null;
  if (awake) awake.release();
  if (unlock) unlock();
  awake = unlock = null;
  // The lock is given back a moment later.
  await new Promise(function (done) { setTimeout(done, 50); });
  await showKept(goOn);
  showOnly("start");
  byId("kept-h").scrollIntoView();
  byId("kept-h").focus();
}

// Nobody knows what was driven while there was no sound.
function forget() {
  walk.end("spoilt");
  for (const kind of ["gear", "throttle"]) if (state[kind] !== "") tap(kind, "");
  if (state.needle !== null) { state.needle = null; told(""); }
  if (!byId("free").hidden) board.show();
}

function tellSound(sentence) {
  if (sentence) forget();
  byId("lost").hidden = sentence === "";
  byId("lost-says").textContent = sentence;
}

async function tellRoom() {
  const where = await writer.ask("where");
  let words = where.kind === "memory" ? "This browser keeps nothing: if the page is closed, the recording is lost." : "";
  if (navigator.storage && navigator.storage.estimate) {
    const room = await navigator.storage.estimate();
    const left = (room.quota - room.usage) / (2 * sound.context.sampleRate) / 60;
    if (left < 20) words = "There is room for " + Math.floor(left) + " minutes only; delete recordings that are saved elsewhere.";
  }
  byId("room").textContent = words;
  byId("room").hidden = words === "";
}

const wordMarks = { "too quiet": "\u25bd too quiet", good: "\u25cb good", "too loud": "\u25b3 too loud" };

function showState() {
  if (!current) return;
  const now = clock.now(), word = sound.running ? level.word(now) : "", db = level.db();
  byId("time").textContent = minutes(now);
  byId("loudness").textContent = word ? wordMarks[word] : "\u2026";
  byId("loudness").dataset.word = word;
  const share = Math.max(0, Math.min(1, (db + 72) / 72)), peak = Math.max(0, Math.min(1, (level.peakDb() + 72) / 72));
  byId("bar").style.width = 100 * share + "%";
  byId("peak").style.left = 100 * peak + "%";
  byId("meter").setAttribute("aria-valuenow", Math.round(Math.max(-72, Math.min(0, db))));
  byId("clipped").hidden = now >= level.clippedUntil;
  byId("speed").textContent = speed.words(state.unit);
  if (walk.running && byId("left")) byId("left").textContent = Math.ceil(walk.left());
}

async function keepOffline() {
  if (!("serviceWorker" in navigator) || !/^https?:$/.test(location.protocol)) return;
  try {
    // Without a network the one from before is there.
    await navigator.serviceWorker.register("recorder_offline.js").catch(async function (unreachable) {
      if (!await navigator.serviceWorker.getRegistration()) throw unreachable;
    });
    const keeper = await navigator.serviceWorker.ready;
    const said = await new Promise(function (done) {
      const answer = new MessageChannel();
      answer.port1.onmessage = function (event) { done(event.data); };
      keeper.active.postMessage(location.href, [answer.port2]);
    });
    if (said !== "kept") throw new Error(said);
    document.documentElement.dataset.offline = "yes";
    byId("offline").textContent = "This page is kept in the phone: it opens without a network too.";
  } catch (refused) {
    document.documentElement.dataset.offline = "no";
    byId("offline").textContent = "This browser does not keep the page here, because its address has no certificate that it trusts, or it was told not to: leave the page open until the road test is over. It needs no network.";
  }
}

writer.onlevel = function (heard) { level.take(heard, clock.now()); };
sound.onchange = tellSound;
setInterval(showState, 100);
document.addEventListener("visibilitychange", function () {
  if (!current) return;
  note({ is: document.visibilityState, time_s: clock.now() });
  if (document.visibilityState === "visible") { stayAwake(); sound.again().catch(function () { /* the button is there */ }); }
});
byId("agree").addEventListener("change", function () { byId("begin").disabled = !byId("agree").checked; });
byId("begin").disabled = !byId("agree").checked;
byId("begin").addEventListener("click", function () {
  byId("begin").disabled = true;
  tried(function () { return record(fresh(), null); }).then(function () { byId("begin").disabled = false; });
});
byId("stop").addEventListener("click", function () {
  if (byId("stop").sure) {
    byId("stop").sure = false;
    byId("stop").textContent = "Stop the recording";
    tried(stop);
    return;
  }
  byId("stop").sure = true;
  byId("stop").textContent = "Tap again to stop";
  setTimeout(function () { byId("stop").sure = false; byId("stop").textContent = "Stop the recording"; }, 4000);
});
byId("broken").addEventListener("click", function () { byId("kept-h").scrollIntoView(); });
byId("again").addEventListener("click", function () { tried(function () { return sound.again(); }); });
byId("plan-file").addEventListener("change", function () {
  tried(async function () {
    const file = byId("plan-file").files[0];
    byId("plan-file").value = "";
    if (file) takeCard(await file.text());
  });
});
byId("fetch-plan").addEventListener("click", function () {
  tried(async function () { takeCard(JSON.stringify(await workbench.ask("GET", "/api/plan"))); });
});
byId("pairing").addEventListener("submit", function (event) {
  event.preventDefault();
  tried(function () { return workbench.pair(byId("code").value); });
});
byId("unit").addEventListener("change", function () { setUnit(byId("unit").value); });
byId("aloud").addEventListener("change", function () {
  voice.wished = byId("aloud").checked;
  byId("aloud-says").hidden = !voice.wished || Boolean(voice.own());
});

setUnit(remembered("unit") === "mph" ? "mph" : "km/h");
workbench.begin();
tried(async function () {
  await showKept(goOn);
  document.documentElement.dataset.ready = "yes";
});
keepOffline();
