"use strict";
// Help for the recorder's tests: a host for the page, sound for the microphone, what is in a zip.
const http = require("node:http");
const fs = require("node:fs"), path = require("node:path");

// 16-bit mono WAV of `seconds`, sample by sample.
function wav(file, rate, seconds, value) {
  const frames = Math.round(rate * seconds), bytes = Buffer.alloc(44 + 2 * frames);
  bytes.write("RIFF", 0);
  bytes.writeUInt32LE(36 + 2 * frames, 4);
  bytes.write("WAVEfmt ", 8);
  bytes.writeUInt32LE(16, 16);
  bytes.writeUInt16LE(1, 20);
  bytes.writeUInt16LE(1, 22);
  bytes.writeUInt32LE(rate, 24);
  bytes.writeUInt32LE(2 * rate, 28);
  bytes.writeUInt16LE(2, 32);
  bytes.writeUInt16LE(16, 34);
  bytes.write("data", 36);
  bytes.writeUInt32LE(2 * frames, 40);
  for (let i = 0; i < frames; ++i) bytes.writeInt16LE(Math.round(Math.max(-1, Math.min(1, value(i / rate, i))) * 32767), 44 + 2 * i);
  fs.writeFileSync(file, bytes);
}

// Any host: serves a folder on loopback, which browsers trust like https.
async function host(folder) {
  const asked = [];
  const server = http.createServer(function (request, response) {
    asked.push(request.url);
    const file = path.join(folder, path.basename(request.url.split("?")[0]));
    if (!fs.existsSync(file) || !fs.statSync(file).isFile()) return response.writeHead(404).end();
    response.writeHead(200, { "Content-Type": file.endsWith(".js") ? "text/javascript" : "text/html; charset=utf-8" });
    response.end(fs.readFileSync(file));
  });
  await new Promise((done) => server.listen(0, "127.0.0.1", done));
  return { asked, url: "http://127.0.0.1:" + server.address().port, end: () => new Promise((done) => { server.closeAllConnections(); server.close(done); }) };
}

// Entries of a zip of stored files, by name. Reads the list at its end, and holds it against each entry's own head.
function unzipped(bytes) {
  const out = {}, end = bytes.length - 22;
  if (bytes.readUInt32LE(end) !== 0x06054b50) throw new Error("no end record");
  let at = bytes.readUInt32LE(end + 16);
  for (let left = bytes.readUInt16LE(end + 10); left > 0; --left) {
    if (bytes.readUInt32LE(at) !== 0x02014b50 || bytes.readUInt16LE(at + 10) !== 0) throw new Error("no stored entry");
    const size = bytes.readUInt32LE(at + 24), name = bytes.toString("latin1", at + 46, at + 46 + bytes.readUInt16LE(at + 28)), head = bytes.readUInt32LE(at + 42);
    if (bytes.readUInt32LE(head) !== 0x04034b50 || bytes.readUInt32LE(head + 22) !== size) throw new Error("head and list differ");
    const from = head + 30 + name.length;
    out[name] = bytes.subarray(from, from + size);
    at += 46 + name.length;
  }
  return out;
}

// { rate, samples: Int16Array } of such a WAV.
function samplesOf(bytes) {
  return { rate: bytes.readUInt32LE(24), samples: Int16Array.from({ length: bytes.readUInt32LE(40) / 2 }, (unused, i) => bytes.readInt16LE(44 + 2 * i)) };
}

// The bundle's time of a frame: straight lines between anchors, the nominal rate outside.
function timeOf(piece, frame, rate) {
  const all = piece.anchors;
  let i = all.findIndex((anchor) => anchor.frame > frame);
  if (i <= 0) { const one = all[i < 0 ? all.length - 1 : 0]; return one.time_s + (frame - one.frame) / rate; }
  const a = all[i - 1], b = all[i];
  return a.time_s + (b.time_s - a.time_s) * (frame - a.frame) / (b.frame - a.frame);
}

module.exports = { wav, host, unzipped, samplesOf, timeOf };
