// From the journal of a recording to its bundle: what happened, put in the form that gearhark reads.

// What the journal says. A line that was torn off counts for nothing.
function readJournal(text) {
  const out = { start: null, pieces: [], taps: [], told: [], fixes: [], finished: false, end_s: 0 };
  for (const row of text.split("\n")) {
    let line = null;
    try { line = JSON.parse(row); } catch (torn) { continue; }
    if (line === null || typeof line !== "object") continue;
    if (line.is === "start") out.start = line;
    if (line.is === "piece") out.pieces.push({ number: line.number, rate: line.rate, began_s: line.time_s, why: line.why, granted: line.granted, anchors: [] });
    if (line.is === "anchor") {
      const of = out.pieces.find(function (piece) { return piece.number === line.piece; });
      if (of) of.anchors.push({ frame: line.frame, time_s: line.time_s });
    }
    if (line.is === "tap") out.taps.push({ time_s: line.time_s, kind: line.kind, value: line.value });
    if (line.is === "told") out.told.push({ time_s: line.time_s, speed: line.speed });
    if (line.is === "fix") out.fixes.push(line);
    // Gone on with after it was finished or lost: open again until it is finished once more.
    if (line.is === "opened") out.finished = false;
    if (line.is === "finish") out.finished = true;
    if (typeof line.time_s === "number") out.end_s = Math.max(out.end_s, line.time_s);
  }
  return out;
}

function wavHead(bytes, rate) {
  return packed([4, 0x46464952], [4, 36 + bytes], [4, 0x45564157], [4, 0x20746d66], [4, 16], [2, 1], [2, 1], [4, rate], [4, 2 * rate], [2, 2], [2, 16],
    [4, 0x61746164], [4, bytes]);
}

function endOf(piece) {
  const last = piece.anchors[piece.anchors.length - 1];
  return last.time_s + (piece.frames - last.frame) / piece.rate;
}

// Only where it says something that the sound itself does not show: why.
function gapsBetween(pieces) {
  return pieces.slice(1).map(function (piece, i) {
    return { from_s: Number(endOf(pieces[i]).toFixed(3)), to_s: piece.anchors[0].time_s, why: piece.why };
  }).filter(function (gap) { return gap.to_s > gap.from_s; });
}

// Each speed that was told holds until the next.
function spansOf(told, end) {
  return told.map(function (one, i) {
    return { from_s: one.time_s, to_s: i + 1 < told.length ? told[i + 1].time_s : end, speed: one.speed };
  }).filter(function (span) { return span.speed && span.to_s > span.from_s; });
}

function trackText(fixes, positionKept) {
  const number = function (value) { return typeof value === "number" && isFinite(value) ? String(value) : ""; };
  const keys = ["time_s", "speed_m_s", "speed_accuracy_m_s"].concat(positionKept ? ["latitude", "longitude", "position_accuracy_m"] : []);
  return keys.join(",") + "\n" + fixes.map(function (fix) { return keys.map(function (key) { return number(fix[key]); }).join(",") + "\n"; }).join("");
}

// `sound(number)`: the samples as they were written, or null.
async function bundleFiles(journal, sound) {
  const files = [], pieces = [];
  for (const piece of journal.pieces) {
    const samples = await sound(piece.number);
    const bytes = samples ? samples.size - samples.size % 2 : 0;
    if (bytes === 0) continue;
    piece.frames = bytes / 2;
    // Ended before the first anchor: it began when it was opened.
    if (piece.anchors.length === 0) piece.anchors.push({ frame: 0, time_s: piece.began_s });
    piece.file = "sound_" + (pieces.length + 1) + ".wav";
    pieces.push(piece);
    files.push({ name: piece.file, blob: new Blob([wavHead(bytes, piece.rate), samples.slice(0, bytes)]) });
  }
  if (pieces.length === 0) throw new Error("there is no sound in it");
  const end = Math.max(journal.end_s, endOf(pieces[pieces.length - 1]));
  const facts = {
    format: "gearhark road-test bundle", version: 1, started: journal.start.started, finished: journal.finished,
    sound: pieces.map(function (piece) { return { file: piece.file, anchors: piece.anchors }; }),
    gaps: gapsBetween(pieces), taps: journal.taps, speeds_told: spansOf(journal.told, end),
    phone: { user_agent: journal.start.user_agent, asked: journal.start.asked, granted: pieces[0].granted },
    position_kept: journal.start.position_kept
  };
  const text = function (name, words) { files.push({ name: name, blob: new Blob([words]) }); };
  files.unshift({ name: "bundle.json", blob: new Blob([JSON.stringify(facts, null, 1) + "\n"]) });
  if (journal.fixes.length) text("track.csv", trackText(journal.fixes, journal.start.position_kept));
  if (journal.start.car_file) text("car.toml", journal.start.car_file);
  return files;
}

function bundleName(journal) {
  const when = new Date(journal.start.started), two = function (n) { return String(n).padStart(2, "0"); };
  return "road_test_" + when.getFullYear() + "-" + two(when.getMonth() + 1) + "-" + two(when.getDate()) + "_" + two(when.getHours()) + two(when.getMinutes()) + two(when.getSeconds()) + ".zip";
}

async function bundleOf(journal, sound) {
  return new File([await zipped(await bundleFiles(journal, sound), new Date(journal.start.started))], bundleName(journal), { type: "application/zip" });
}
