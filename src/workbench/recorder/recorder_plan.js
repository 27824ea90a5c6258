// The plan card, run by run: shown, spoken where wished, and its runs marked.

const throttles = [["drive", "Pulling"], ["float", "Holding speed"], ["coast", "Throttle closed"], ["neutral", "Out of gear"]];
const roads = [["left", "Left bend"], ["straight", "Straight"], ["right", "Right bend"]];
const fuller = { drive: "pulling, throttle well open", float: "just enough throttle to hold it", coast: "throttle closed", neutral: "out of gear, rolling",
  straight: "straight road", left: "in a gentle left-hand bend", right: "in a gentle right-hand bend" };
const ordinals = ["first", "second", "third", "fourth", "fifth", "sixth", "seventh", "eighth"];

// A plan (the machine form of `gearhark plan`) or a car file; else a sentence why not.
function readCard(text) {
  let said = null;
  try { said = JSON.parse(text); } catch (noJson) {
    if (/^\s*(\[|[A-Za-z_]+\s*=|#)/m.test(text) && text.length < 1e6) return { car_file: text, runs: [] };
  }
  if (!said || said.format !== "gearhark plan" || said.version !== 1 || !Array.isArray(said.runs))
    throw new Error("This is no plan: write one with gearhark plan CAR.toml --json plan.json, and choose that file.");
  const word = function (value) { return typeof value === "string" ? value : ""; };
  const words = function (list) { return Array.isArray(list) ? list.map(word).filter(Boolean) : []; };
  const runs = said.runs.map(function (run) {
    if (!fuller[run.load] || !fuller[run.turn] || !(run.speed_mps > 0) || !(run.duration_s > 0)) throw new Error("This plan has a run that can't be understood; make it again.");
    return { gear: word(run.gear), load: run.load, turn: run.turn, clutch: word(run.clutch) || "engaged", speed_mps: run.speed_mps, duration_s: run.duration_s, because: word(run.because) };
  });
  return { car: word(said.car), car_file: word(said.car_file), unit: said.unit === "mph" ? "mph" : "km/h", gears: words(said.gears),
    cautions: words(said.cautions), how_to_record: words(said.how_to_record), runs: runs };
}

function toldSpeed(run, unit) { return Math.round(inUnit(run.speed_mps, unit)) + " " + unit; }

function gearWords(gear) {
  if (gear === "N") return "neutral";
  if (gear === "R") return "reverse gear";
  return ordinals[Number(gear) - 1] ? ordinals[Number(gear) - 1] + " gear" : "gear " + gear;
}

function runWords(run, unit) {
  const told = toldSpeed(run, unit).replace("km/h", "kilometres an hour").replace("mph", "miles an hour");
  return gearWords(run.gear) + ", " + told + ", " + fuller[run.load] + (run.clutch === "engaged" ? "" : ", clutch pedal down") + ", " + fuller[run.turn] + ", " +
    Math.round(run.duration_s) + " seconds";
}

// Spoken by a voice of the phone's own: others are made on some server.
const voice = {
  wished: false,
  own() { return window.speechSynthesis ? speechSynthesis.getVoices().find(function (one) { return one.localService && one.lang.startsWith("en"); }) : undefined; },
  say(words) {
    const own = voice.wished && voice.own();
    if (!own) return;
    const said = new SpeechSynthesisUtterance(words);
    said.voice = own;
    said.lang = own.lang;
    speechSynthesis.speak(said);
  },
  hush() { if (window.speechSynthesis) speechSynthesis.cancel(); }
};
