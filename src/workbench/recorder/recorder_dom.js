// Small help for all that follows.

function byId(id) { return document.getElementById(id); }

function el(name, facts, ...inside) {
  const made = document.createElement(name);
  for (const [key, value] of Object.entries(facts)) {
    if (key in made) made[key] = value;
    else made.setAttribute(key, value);
  }
  made.append(...inside);
  return made;
}

function trouble(sentence) {
  byId("trouble").textContent = sentence;
  byId("trouble").hidden = !sentence;
}

async function tried(act) {
  trouble("");
  try { return await act(); } catch (wrong) { trouble(wrong.message); return undefined; }
}

function button(words, act, look) {
  const made = el("button", { type: "button", className: look || "" }, words);
  made.addEventListener("click", function () { tried(act); });
  return made;
}

function showOnly(id) {
  for (const section of document.querySelectorAll("main > section")) section.hidden = section.id !== id;
  document.body.classList.toggle("recording", id === "drive");
  window.scrollTo(0, 0);
}

function minutes(s) {
  const whole = Math.max(0, Math.floor(s)), rest = whole % 60;
  return Math.floor(whole / 60) + ":" + (rest < 10 ? "0" : "") + rest;
}

function megabytes(bytes) { return bytes < 1e5 ? (bytes / 1e3).toFixed(0) + " kB" : (bytes / 1e6).toFixed(1) + " MB"; }

// A choice that is there the next time; a browser that keeps nothing is no trouble.
function remembered(key, value) {
  try {
    if (value === undefined) return localStorage.getItem("recorder " + key);
    localStorage.setItem("recorder " + key, value);
  } catch (kept) { /* nothing */ }
  return value === undefined ? null : value;
}

// A script that lies in the page, for the threads of its own.
function inside(id) { return URL.createObjectURL(new Blob([byId(id).textContent], { type: "text/javascript" })); }

// The thread that writes: ask(command, with, ports) -> its answer; `onlevel` is told how loud each block was.
const writer = (function () {
  const worker = new Worker(inside("store")), waiting = new Map();
  let number = 0;
  const made = { onlevel: null };
  worker.onmessage = function (event) {
    const said = event.data;
    if (said.level && made.onlevel) made.onlevel(said.level);
    if (said.trouble) trouble(said.trouble);
    const asker = waiting.get(said.answer);
    waiting.delete(said.answer);
    if (asker) said.wrong ? asker.fail(new Error("The recording can't be kept: " + said.wrong + ".")) : asker.done(said.value);
  };
  made.ask = function (command, facts, ports) {
    return new Promise(function (done, fail) {
      waiting.set(++number, { done: done, fail: fail });
      worker.postMessage({ number: number, command: command, with: facts }, ports || []);
    });
  };
  return made;
})();

// How much later the writer's clock reads than the page's, from the quickest of some questions.
async function writersLead() {
  let best = { took: Infinity, lead: 0 };
  for (let i = 0; i < 12; ++i) {
    const before = performance.now() / 1000, its = await writer.ask("now"), after = performance.now() / 1000;
    if (after - before < best.took) best = { took: after - before, lead: its - (before + after) / 2 };
  }
  return best.lead;
}

// The bundle's clock: seconds since the recording began, by the page's own clock, which nobody sets.
const clock = {
  zero: 0,
  begin(alreadyBegun_s) { clock.zero = performance.now() / 1000 - (alreadyBegun_s || 0); },
  now() { return Number((performance.now() / 1000 - clock.zero).toFixed(4)); },
  // Of a moment that is told by the wall's clock; one that can't be is now.
  at(epochMs) {
    const age = (Date.now() - epochMs) / 1000;
    return age >= 0 && age < 30 ? Number(Math.max(0, clock.now() - age).toFixed(4)) : clock.now();
  }
};

function note(line) { return writer.ask("note", { line: line }); }
