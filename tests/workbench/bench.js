"use strict";
// Starts the workbench and a browser for the tests and for samples/screenshots.
const { spawn } = require("node:child_process");
const fs = require("node:fs"), os = require("node:os"), path = require("node:path");
const { chromium } = require("playwright-core");

const top = path.resolve(__dirname, "../..");
// How much longer the program takes where a checker watches it.
const slow = { sanitized: 8, threads: 8, valgrind: 30 }[process.env.GEARHARK_KIND] || 1;

// The program under test; its temporary folder and casebook are in a folder of the test's own.
async function startBench(program, ...options) {
  return startIn({}, program, "--no-browser", ...options);
}

async function startIn(environment, program, ...options) {
  const folder = fs.mkdtempSync(path.join(os.tmpdir(), "gearhark_browser_"));
  const child = spawn(program, ["workbench", "--casebook", path.join(folder, "book.sqlite"), ...options],
    { env: { ...process.env, TMPDIR: folder, XDG_DATA_HOME: path.join(folder, "data"), ...environment }, stdio: ["ignore", "pipe", "pipe"] });
  const bench = { folder, child, said: "", complaint: "", ended: new Promise((done) => child.on("exit", (code, signal) => done({ code, signal }))) };
  child.stderr.on("data", (bytes) => { bench.complaint += bytes; });
  await new Promise((done, fail) => {
    child.stdout.on("data", (bytes) => {
      bench.said += bytes;
      if (bench.said.includes("Ctrl-C")) done();
    });
    bench.ended.then(() => fail(new Error("the workbench ended: " + bench.complaint)));
  });
  bench.address = bench.said.match(/http:\/\/127\.0\.0\.1:\d+\/#[0-9a-f]+/)[0];
  [bench.url, bench.token] = bench.address.split("/#");
  bench.port = Number(bench.url.split(":")[2]);
  const phones = bench.said.match(/(https?:\/\/[0-9.]+:\d+)\/ with the code/);
  bench.phones = phones && phones[1];
  // What the server keeps in the temporary folder while it runs.
  bench.kept = () => fs.readdirSync(folder).filter((name) => name.startsWith("gearhark_workbench_"));
  bench.inside = () => bench.kept().flatMap((name) => fs.readdirSync(path.join(folder, name)));
  bench.ask = async (method, where, body, headers) => {
    const response = await fetch(bench.url + where, { method, headers: { "X-Token": bench.token, ...headers },
      body: body === undefined ? (method === "GET" ? undefined : "{}") : typeof body === "string" || Buffer.isBuffer(body) ? body : JSON.stringify(body) });
    return { status: response.status, headers: response.headers, said: await response.json().catch(() => null) };
  };
  bench.end = async (signal = "SIGTERM") => {
    child.kill(signal);
    const ended = await bench.ended;
    const left = bench.kept();
    fs.rmSync(folder, { recursive: true });
    return { ...ended, left };
  };
  return bench;
}

// Debian's Chromium. As root it starts without its own sandbox only.
const executablePath = process.env.CHROMIUM || "/usr/bin/chromium", root = process.getuid() === 0 ? ["--no-sandbox"] : [];
function startBrowser() {
  return chromium.launch({ executablePath, args: [...root, "--autoplay-policy=no-user-gesture-required"] });
}

// A phone: a browser that keeps its files in `folder` and hears the WAV file `microphone`, again and again.
function startPhone(folder, microphone, settings) {
  return chromium.launchPersistentContext(folder, { executablePath, viewport: { width: 390, height: 844 }, permissions: ["microphone", "geolocation"], ...settings,
    args: [...root, "--use-fake-ui-for-media-stream", "--use-fake-device-for-media-stream", "--use-file-for-fake-audio-capture=" + microphone] });
}

module.exports = { top, slow, startBench, startIn, startBrowser, startPhone };
