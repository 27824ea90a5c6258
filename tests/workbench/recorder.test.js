"use strict";
// The recorder page in a browser whose microphone is a file. Run by tests/workbench/run PROGRAM.
const { test, before, after } = require("node:test");
const assert = require("node:assert");
const { execFileSync } = require("node:child_process");
const fs = require("node:fs"), os = require("node:os"), path = require("node:path");
const { top, slow, startBench, startPhone } = require("./bench.js");
const { wav, host, unzipped, samplesOf, timeOf } = require("./recording.js");

const program = process.env.GEARHARK_PROGRAM, pictures = process.env.GEARHARK_PICTURES;
const folder = fs.mkdtempSync(path.join(os.tmpdir(), "gearhark_recorder_"));
const inFolder = (name) => path.join(folder, name);
const least = 57;      // CSS pixels in 15 mm, at 96 to the inch
const plan = {
  format: "gearhark plan", version: 1, car: "Tarn Heron 1300 (invented)", suspects: [], unit: "km/h", gears: ["N", "1", "2", "3", "4", "R"],
  car_file: fs.readFileSync(path.join(top, "models/heron_rear_transaxle.toml"), "utf8"), cautions: ["A road test can injure."], how_to_record: ["Windows shut."],
  runs: [["3", "drive", 65], ["3", "coast", 67]].map(([gear, load, kmh]) => ({ gear, load, clutch: "engaged", turn: "straight", speed_mps: kmh / 3.6, duration_s: 12, expected_entropy_drop: 0.1, because: "x" }))
};

let server;
const running = [];      // what a test that failed left behind
before(async () => {
  // Half a second of faint noise between clicks of 2 ms.
  let seed = 1;
  const noise = () => { seed = (seed * 48271) % 2147483647; return seed / 2147483647 - 0.5; };
  wav(inFolder("clicks.wav"), 48000, 8, (t) => 0.02 * noise() + (t % 0.5 > 0.25 && t % 0.5 < 0.252 ? 0.7 : 0));
  fs.mkdirSync(inFolder("host"));
  execFileSync(program, ["recorder", inFolder("host/recorder.html")]);
  server = await host(inFolder("host"));
});
after(async () => {
  for (const one of running) await one().catch(() => {});
  await server.end();
  fs.rmSync(folder, { recursive: true });
});

async function opened(profile, microphone, settings) {
  const phone = await startPhone(inFolder(profile), inFolder(microphone), settings);
  running.push(() => phone.close());
  phone.setDefaultTimeout(30000 * slow);
  const page = phone.pages()[0] || await phone.newPage();
  phone.asked = [];
  phone.wrong = [];
  // Of the page, its threads and its service worker.
  phone.on("request", (request) => { if (!/^(data|blob):/.test(request.url())) phone.asked.push(request.url()); });
  page.on("console", (message) => { if (["error", "warning"].includes(message.type())) phone.wrong.push(message.text()); });
  page.on("pageerror", (error) => phone.wrong.push(error.message));
  return { phone, page };
}

async function ready(page, url) {
  await page.goto(url);
  await page.waitForSelector("html[data-ready]");
}

async function startRecording(page) {
  await page.check("#agree");
  await page.click("#begin");
  await page.waitForSelector("#drive:not([hidden])");
}

async function stopRecording(page) {
  await page.click("#stop");
  await page.click("#stop");
  await page.waitForSelector("#start:not([hidden]) .kept");
}

async function saved(page, name) {
  const [download] = await Promise.all([page.waitForEvent("download"), page.locator(".kept .save").first().click()]);
  await download.saveAs(inFolder(name));
  const files = unzipped(fs.readFileSync(inFolder(name)));
  return { files, facts: JSON.parse(files["bundle.json"]) };
}

async function axe(page, of) {
  await page.evaluate(fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8"));
  const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  assert.deepStrictEqual(found.violations.map((one) => one.id + ": " + one.nodes.map((node) => node.target + " " + node.failureSummary).join("; ")), [], of);
}

// Everything that a finger is meant for: buttons, and the labels that stand for their fields.
async function forFingers(page, of) {
  const small = await page.evaluate((least) => Array.from(document.querySelectorAll("main button, main select, main summary, main label, main input:not([type=checkbox]):not([type=file])"))
    .map((one) => [one.id || one.textContent.trim(), one.getBoundingClientRect()])
    .filter(([, box]) => box.width > 0 && (box.width < least || box.height < least)).map(([name, box]) => name + " " + box.width.toFixed(0) + " x " + box.height.toFixed(0)), least);
  assert.deepStrictEqual(small, [], of);
  const [whole, seen] = await page.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
  assert.ok(whole <= seen, of + " is " + whole + " pixels wide in " + seen);
}

async function looks(page, name) {
  for (const width of [390, 320]) {
    await page.setViewportSize({ width, height: width === 320 ? 568 : 844 });
    await forFingers(page, name + " at " + width);
    if (pictures) for (const colorScheme of ["light", "dark"]) {
      await page.emulateMedia({ colorScheme });
      await page.screenshot({ path: path.join(pictures, "recorder_" + name + "_" + width + "_" + colorScheme + ".png"), fullPage: true });
    }
  }
  await page.emulateMedia({ colorScheme: "dark" });
  await axe(page, name + ", dark");
  await page.emulateMedia({ colorScheme: "light" });
  await axe(page, name);
  await page.setViewportSize({ width: 390, height: 844 });
}

function clicksOf(files, piece) {
  const { rate, samples } = samplesOf(files[piece.file]), out = [];
  samples.forEach((value, i) => {
    if (Math.abs(value) > 8000 && (out.length === 0 || i / rate - out[out.length - 1].at > 0.1)) out.push({ at: i / rate, time_s: timeOf(piece, i, rate) });
  });
  return out;
}

test("sound, taps and speed tie within 50 ms, offline after the first load, and nothing is asked of anybody else", async (told) => {
  const { phone, page } = await opened("free", "clicks.wav");
  // An observer of its own: when each click was heard by the page's clock.
  await page.addInitScript(() => {
    const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
    window.heard = [];
    navigator.mediaDevices.getUserMedia = async function (wishes) {
      const stream = await real(wishes), context = new AudioContext(), look = context.createAnalyser(), wave = new Float32Array(8192);
      look.fftSize = wave.length;
      context.createMediaStreamSource(stream).connect(look);
      setInterval(function () {
        const now = performance.now() / 1000;
        look.getFloatTimeDomainData(wave);
        const at = wave.findIndex((value) => Math.abs(value) > 0.25), when = now - (wave.length - at) / context.sampleRate;
        if (at > 0 && (window.heard.length === 0 || when - window.heard[window.heard.length - 1] > 0.2)) window.heard.push(when);
      }, 10);
      return stream;
    };
    addEventListener("click", function (event) { if (event.target.textContent === "3") window.tapped = event.timeStamp / 1000; }, true);
  });
  await ready(page, server.url + "/recorder.html");
  await page.waitForSelector("html[data-offline=yes]");
  await looks(page, "start");
  await phone.setOffline(true);
  await server.end();
  const before = server.asked.length;
  await page.reload();
  await page.waitForSelector("html[data-ready]");
  await page.waitForSelector("html[data-offline=yes]");
  assert.strictEqual(server.asked.length, before);
  server = await host(inFolder("host"));

  const chrome = await phone.newCDPSession(page);
  const drive = (speed) => chrome.send("Emulation.setGeolocationOverride", { latitude: 50, longitude: 8, accuracy: 3, speed });
  await drive(10);
  await startRecording(page);
  await page.waitForFunction(() => /36 km\/h by satellite/.test(document.querySelector("#speed").textContent));
  await page.getByRole("button", { name: "3", exact: true }).click();
  await page.getByRole("button", { name: "Pulling" }).click();
  await page.getByRole("button", { name: "more" }).click();
  await page.waitForTimeout(1200);
  const stepped = await page.evaluate(() => performance.now() / 1000);
  await drive(20);
  await page.waitForFunction(() => /72 km\/h by satellite/.test(document.querySelector("#speed").textContent));
  assert.match(await page.textContent("#loudness"), /good/);
  await looks(page, "free");
  const observed = await page.evaluate(() => ({ heard: window.heard, tapped: window.tapped }));
  await stopRecording(page);
  await looks(page, "kept");
  const { files, facts } = await saved(page, "free.zip");
  assert.deepStrictEqual(phone.wrong, []);
  assert.deepStrictEqual(phone.asked.filter((url) => new URL(url).hostname !== "127.0.0.1"), []);
  assert.deepStrictEqual(Object.keys(files), ["bundle.json", "sound_1.wav", "track.csv"]);
  execFileSync("python3", ["-c", "import sys, zipfile; sys.exit(zipfile.ZipFile(sys.argv[1]).testzip() is not None)", inFolder("free.zip")]);

  assert.deepStrictEqual([facts.format, facts.version, facts.finished, facts.position_kept, facts.gaps], ["gearhark road-test bundle", 1, true, false, []]);
  assert.deepStrictEqual(facts.taps.map((one) => [one.kind, one.value]), [["road", "straight"], ["gear", "3"], ["throttle", "drive"]]);
  assert.deepStrictEqual(facts.speeds_told.map((one) => one.speed), ["60 km/h"]);
  assert.strictEqual(facts.phone.granted.autoGainControl, false);
  assert.strictEqual(facts.phone.granted.deviceId, undefined);
  const rows = files["track.csv"].toString().trim().split("\n").map((row) => row.split(","));
  assert.deepStrictEqual(rows[0], ["time_s", "speed_m_s", "speed_accuracy_m_s"]);
  assert.deepStrictEqual([...new Set(rows.slice(1).map((row) => row[1]))], ["10", "20"]);

  // The observer's clock less the bundle's, by tap, by speed and by every click.
  const byTap = observed.tapped - facts.taps[1].time_s, bySpeed = stepped - Number(rows.find((row) => row[1] === "20")[0]);
  const clicks = clicksOf(files, facts.sound[0]), bySound = [];
  for (const click of clicks) {
    const nearest = observed.heard.reduce((a, b) => Math.abs(b - byTap - click.time_s) < Math.abs(a - byTap - click.time_s) ? b : a);
    if (Math.abs(nearest - byTap - click.time_s) < 0.25) bySound.push(nearest - click.time_s);
  }
  assert.ok(bySound.length >= 4 && clicks.length >= 4, "clicks " + clicks.length + ", seen by both " + bySound.length);
  // Clicks come twice a second by the file; so they must by the bundle's clock.
  for (let i = 1; i < clicks.length; ++i) assert.ok(Math.abs((clicks[i].time_s - clicks[i - 1].time_s) * 2 - Math.round((clicks[i].time_s - clicks[i - 1].time_s) * 2)) < 0.05, JSON.stringify(clicks));
  const offsets = [byTap, bySpeed, ...bySound];
  const spread = Math.max(...offsets) - Math.min(...offsets);
  told.diagnostic("tied within " + (1000 * spread).toFixed(1) + " ms: tap " + byTap.toFixed(4) + ", speed " + bySpeed.toFixed(4) + ", clicks " + bySound.map((one) => one.toFixed(4)).join(" "));
  assert.ok(spread < 0.05, offsets.join(" "));
  await phone.close();
});

test("a saved file records too, in the browser's database, and finds the recording again after it was closed", async () => {
  const { phone, page } = await opened("file", "clicks.wav");
  await ready(page, "file://" + inFolder("host/recorder.html"));
  await startRecording(page);
  await page.waitForTimeout(2500);
  await ready(page, "file://" + inFolder("host/recorder.html"));
  assert.match(await page.textContent(".kept"), /broken off/);
  const { files, facts } = await saved(page, "file.zip");
  assert.strictEqual(facts.finished, false);
  const { rate, samples } = samplesOf(files["sound_1.wav"]);
  assert.ok(samples.length / rate > 1 && samples.length / rate < 3.5, samples.length / rate + " s");
  assert.ok(clicksOf(files, facts.sound[0]).length >= 2);
  await page.click(".kept .delete");
  await page.click(".kept .delete");
  await page.waitForSelector(".kept", { state: "detached" });
  assert.deepStrictEqual(phone.wrong, []);
  await phone.close();
});

test("a microphone that is taken away leaves a gap with its reason, and nothing is thought to be known after it", async () => {
  const { phone, page } = await opened("call", "clicks.wav");
  // As a phone does it when a call comes: the track is muted by the browser.
  await page.addInitScript(() => {
    const real = navigator.mediaDevices.getUserMedia.bind(navigator.mediaDevices);
    navigator.mediaDevices.getUserMedia = async (wishes) => { const stream = await real(wishes); window.track = stream.getAudioTracks()[0]; return stream; };
  });
  await ready(page, server.url + "/recorder.html");
  await (await phone.newCDPSession(page)).send("Emulation.setGeolocationOverride", { latitude: 50, longitude: 8, accuracy: 3, speed: 10 });
  await page.check("#position");
  await startRecording(page);
  await page.getByRole("button", { name: "N", exact: true }).click();
  await page.waitForTimeout(1200);
  await page.evaluate(() => { window.track.dispatchEvent(new Event("mute")); });
  await page.waitForSelector("#lost:not([hidden])");
  assert.match(await page.textContent("#lost"), /call/);
  assert.strictEqual(await page.locator("[aria-pressed=true]").count(), 1, "the road alone");
  await page.waitForTimeout(700);
  await page.evaluate(() => { window.track.dispatchEvent(new Event("unmute")); });
  await page.waitForSelector("#lost", { state: "hidden" });
  await page.waitForTimeout(1200);
  await stopRecording(page);
  const { files, facts } = await saved(page, "call.zip");
  assert.deepStrictEqual(Object.keys(files), ["bundle.json", "sound_1.wav", "sound_2.wav", "track.csv"]);
  assert.strictEqual(facts.position_kept, true);
  assert.match(files["track.csv"].toString(), /^time_s,speed_m_s,speed_accuracy_m_s,latitude,longitude,position_accuracy_m\n[0-9.]+,10,,50,8,3\n/);
  assert.strictEqual(facts.gaps.length, 1);
  assert.match(facts.gaps[0].why, /call/);
  const lasted = facts.gaps[0].to_s - facts.gaps[0].from_s;
  assert.ok(lasted > 0.6 && lasted < 1.5, lasted + " s");
  assert.deepStrictEqual(facts.taps.map((one) => one.kind + " " + one.value), ["road straight", "gear N", "throttle neutral", "gear ", "throttle "]);
  await phone.close();
});

test("a phone that grants no raw sound, and one that refuses the microphone, are told of plainly", async () => {
  const { phone, page } = await opened("refusing", "clicks.wav");
  await page.addInitScript(() => {
    const real = MediaStreamTrack.prototype.getSettings;
    MediaStreamTrack.prototype.getSettings = function () { return { ...real.call(this), autoGainControl: true, noiseSuppression: true }; };
  });
  await ready(page, server.url + "/recorder.html");
  await startRecording(page);
  assert.match(await page.textContent("#granted"), /does not switch off automatic gain and noise suppression/);
  await stopRecording(page);
  await page.evaluate(() => { navigator.mediaDevices.getUserMedia = () => Promise.reject(new DOMException("no", "NotAllowedError")); });
  await page.click("#begin");
  await page.waitForSelector("#trouble:not([hidden])");
  assert.match(await page.textContent("#trouble"), /microphone was refused/);
  await page.setInputFiles("#plan-file", { name: "plan.json", mimeType: "application/json", buffer: Buffer.from("{\"format\": 1}") });
  await page.waitForFunction(() => /no plan/.test(document.querySelector("#trouble").textContent));
  await phone.close();
});

// The browser's first process has its profile among its words; the others end with it.
async function killed(profile) {
  for (const name of fs.readdirSync("/proc").filter((one) => /^\d+$/.test(one))) {
    let words = "";
    try { words = fs.readFileSync("/proc/" + name + "/cmdline", "utf8"); } catch (gone) { continue; }
    if (words.includes("--user-data-dir=" + profile) && !words.includes("--type=")) process.kill(Number(name), "SIGKILL");
  }
  await new Promise((done) => setTimeout(done, 300));
  fs.rmSync(path.join(profile, "SingletonLock"), { force: true });
}

// What the microphone hears in each half: 13 s of the sample's recordings.
function heardFile(name, recording, from) {
  execFileSync("ffmpeg", ["-v", "error", "-ss", String(from), "-t", "20", "-i", path.join(top, "samples/pinion_bearing", recording), "-ac", "1", "-ar", "48000", "-y", inFolder(name)]);
}

test("a plan is walked over the phone's sudden death, sent to the workbench over https, and gets the original's verdict", async () => {
  heardFile("first.wav", "run1.m4a", 1);
  heardFile("second.wav", "run3.m4a", 1);
  const port = 20000 + process.pid % 20000;
  const bench = await startBench(program, "--lan-address", "127.0.0.1", "--https", "--lan-port", String(port));
  running.push(() => bench.child.exitCode === null ? bench.end() : Promise.resolve());
  assert.strictEqual(fs.statSync(path.join(bench.folder, "data/gearhark/https_127.0.0.1.pem")).mode & 0o777, 0o600);
  const { said: invitation } = await bench.ask("GET", "/api/lan");
  assert.match(invitation.fingerprint, /^([0-9A-F]{2}:){31}[0-9A-F]{2}$/);
  assert.ok(bench.said.includes(invitation.fingerprint));
  // The voice is listened to.
  const listen = (page) => page.addInitScript(() => {
    window.spoken = [];
    speechSynthesis.getVoices = () => [{ localService: true, lang: "en-GB", name: "own" }];
    window.SpeechSynthesisUtterance = class { constructor(text) { this.text = text; } };
    speechSynthesis.speak = (one) => { window.spoken.push(one.text); };
  });
  const settings = { ignoreHTTPSErrors: true };
  let { phone, page } = await opened("walk", "first.wav", settings);
  await listen(page);
  await page.goto(bench.phones + "/#" + invitation.code);
  await page.click("#recorder a");
  await page.waitForSelector("html[data-ready]");
  // A made certificate is not enough for a browser to keep the page, and the page says so.
  await page.waitForSelector("html[data-offline=no]");
  // The workbench's own plan would be five long runs; that it is handed over is enough.
  await bench.ask("PUT", "/api/car", { text: plan.car_file, speed: "", gear: "" });
  await bench.ask("POST", "/api/work/plan", { part: "pinion_head_bearing" });
  while ((await bench.ask("GET", "/api/job")).said.work.plan.state === "running") await new Promise((done) => setTimeout(done, 50));
  await page.click("#fetch-plan");
  await page.waitForFunction(() => /Tarn Heron.*runs?\.$/.test(document.querySelector("#card-says").textContent));
  await bench.ask("DELETE", "/api/job");
  await page.setInputFiles("#plan-file", { name: "plan.json", mimeType: "application/json", buffer: Buffer.from(JSON.stringify(plan)) });
  await page.waitForFunction(() => /2 runs/.test(document.querySelector("#card-says").textContent));
  await page.check("#aloud");
  await startRecording(page);
  await looks(page, "waiting");
  assert.deepStrictEqual(await page.evaluate(() => window.spoken), ["Run 1. third gear, 65 kilometres an hour, pulling, throttle well open, straight road, 12 seconds."]);
  await page.getByRole("button", { name: "Begin" }).click();
  await looks(page, "running");
  await page.waitForFunction(() => /Run 2 of 2/.test(document.querySelector("#card").textContent), undefined, { timeout: 40000 });
  await page.waitForTimeout(1100);
  // The battery is dead: nothing is told to anybody.
  await killed(inFolder("walk"));
  await phone.close().catch(() => {});

  ({ phone, page } = await opened("walk", "second.wav", settings));
  await listen(page);
  await ready(page, bench.phones + "/recorder.html");
  assert.match(await page.textContent(".kept"), /1 run marked\. It was broken off/);
  await page.check("#agree");
  await page.getByRole("button", { name: "Go on recording" }).click();
  await page.waitForFunction(() => /Run 2 of 2/.test(document.querySelector("#card").textContent));
  await page.getByRole("button", { name: "Begin" }).click();
  await page.waitForFunction(() => /All runs are done/.test(document.querySelector("#card").textContent), undefined, { timeout: 40000 });
  await stopRecording(page);
  const { files, facts } = await saved(page, "walk.zip");
  assert.strictEqual(facts.finished, true);
  assert.deepStrictEqual(facts.sound.map((piece) => piece.file), ["sound_1.wav", "sound_2.wav"]);
  assert.strictEqual(facts.gaps[0].why, "the page was closed");
  assert.deepStrictEqual(facts.taps.filter((one) => one.kind === "run" || one.kind === "end").map((one) => one.kind + one.value), ["run1", "end", "run2", "end"]);
  const [first, , second] = facts.taps.filter((one) => one.kind === "run" || one.kind === "end").map((one) => one.time_s);
  assert.ok(first < facts.gaps[0].from_s && second > facts.gaps[0].to_s);
  assert.deepStrictEqual(facts.speeds_told.map((one) => one.speed), ["65 km/h", "67 km/h"]);
  assert.strictEqual(files["car.toml"].toString(), plan.car_file);

  await page.getByRole("button", { name: "Send to the workbench" }).click();
  await page.waitForFunction(() => /lies on the workbench/.test(document.querySelector(".kept").textContent));
  await phone.close();
  const checked = async () => {
    for (;;) {
      await new Promise((done) => setTimeout(done, 100));
      const { said } = await bench.ask("GET", "/api/job");
      if (said.runs.every((run) => run.state !== "checking")) return said;
    }
  };
  let job = await checked();
  assert.deepStrictEqual(job.runs.map((run) => [run.state, run.gear, run.load, parseFloat(run.speed)]), [["ready", "3", "drive", 65], ["ready", "3", "coast", 67]], JSON.stringify(job.runs));
  assert.strictEqual((await bench.ask("GET", "/api/car")).said.text, plan.car_file);
  // The same with its second run marked as spoilt: the bench says what is missing.
  facts.taps.filter((one) => one.kind === "end")[1].value = "spoilt";
  const parts = Object.assign({}, files, { "bundle.json": Buffer.from(JSON.stringify(facts)) });
  for (const part of Object.keys(parts)) fs.writeFileSync(inFolder(part), parts[part]);
  execFileSync("python3", ["-m", "zipfile", "-c", "spoilt.zip", ...Object.keys(parts)], { cwd: path.dirname(inFolder("spoilt.zip")) });
  await bench.ask("DELETE", "/api/job");
  const sent = await bench.ask("POST", "/api/runs?set=before", fs.readFileSync(inFolder("spoilt.zip")), { "X-Name": "spoilt.zip" });
  assert.strictEqual(sent.status, 201, JSON.stringify(sent));
  job = await checked();
  assert.strictEqual(job.runs.length, 1);
  assert.match(job.runs[0].left_out.join(), /gear 3, coast, straight\) is not used: it was marked as spoilt/);
  await bench.end();

  const verdict = (...words) => JSON.parse(execFileSync(program, ["diagnose", ...words, "--json", "-"]));
  const original = inFolder("ORIGINAL.toml");
  fs.writeFileSync(original, "car = " + JSON.stringify(path.join(top, "models/heron_rear_transaxle.toml")) + [["first", "drive", "65"], ["second", "coast", "67"]].map(([file, load, speed]) =>
    `\n[[recording]]\nfile = "${file}.wav"\ngear = "3"\nload = "${load}"\nspeed = "${speed} km/h"\nto = "0:12"\n`).join(""));
  const ours = verdict(inFolder("walk.zip")), theirs = verdict(original);
  assert.deepStrictEqual([ours.verdict, ours.suspects[0].part, ours.suspects[0].fault], [theirs.verdict, theirs.suspects[0].part, theirs.suspects[0].fault]);
  assert.strictEqual(ours.verdict, "fault heard");
});
