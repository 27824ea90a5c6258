"use strict";
// What a hostile page, neighbour or file might try. All of it goes to this machine's loopback addresses.
const { test, before, after } = require("node:test");
const assert = require("node:assert");
const fs = require("node:fs"), net = require("node:net"), path = require("node:path");
const { top, slow, startBench, startIn } = require("./bench.js");

const program = process.env.GEARHARK_PROGRAM;
const checked = slow > 1;      // the checker's own bookkeeping grows with every allocation
const sound = fs.readFileSync(path.join(top, "samples/pinion_bearing/run1.m4a"));
let bench, phone;

before(async () => {
  bench = await startBench(program, "--lan-address", "127.0.0.2", "--largest", "300", "--patience", "1");
  phone = { host: bench.phones.slice(7).split(":")[0], port: Number(bench.phones.split(":")[2]) };
});
after(async () => {
  const ended = await bench.end();
  assert.deepStrictEqual([ended.code, ended.left], [0, []], bench.complaint);
});

// Bytes as they are; everything that comes back until the server closes or `ms` have passed.
function raw(text, { to = { host: "127.0.0.1", port: bench.port }, ms = 5000 * slow, cut = false } = {}) {
  return new Promise((done) => {
    const socket = net.connect(to.port, to.host);
    let back = "";
    const end = () => { clearTimeout(timer); socket.destroy(); done(back); };
    const timer = setTimeout(end, ms);
    socket.on("data", (bytes) => { back += bytes.toString("latin1"); });
    socket.on("close", end).on("end", end).on("error", end);
    socket.write(text, () => { if (cut) end(); });
  });
}
const request = (line, headers = {}, body = "") =>
  line + " HTTP/1.1\r\n" + Object.entries({ Host: "127.0.0.1:" + bench.port, Connection: "close", ...headers }).filter(([, value]) => value !== null)
    .map(([name, value]) => name + ": " + value + "\r\n").join("") + "\r\n" + body;
const status = (answer) => Number((answer.match(/^HTTP\/1\.1 (\d+)/) || [])[1]);
const memory = (what) => Number(fs.readFileSync("/proc/" + bench.child.pid + "/status", "utf8").match(new RegExp(what + ":\\s+(\\d+)"))[1]);
const alive = async () => assert.strictEqual((await bench.ask("GET", "/api/job")).status, 200);
async function settled() {
  for (;;) {
    const { said } = await bench.ask("GET", "/api/job");
    if (!said.runs.some((run) => run.state === "checking") && !Object.values(said.work).some((work) => work.state === "running")) return said;
    await new Promise((done) => setTimeout(done, 100));
  }
}
async function clear() {
  for (const run of (await bench.ask("GET", "/api/job")).said.runs) await bench.ask("DELETE", "/api/runs/" + run.id);
}
// Hours of silence in a FLAC file of some 80 kB an hour: frames of one constant (RFC 9639).
function longSilence(hours) {
  const crc = (bytes, width, polynomial) => {
    let sum = 0;
    const mask = 2 ** width - 1, high = 2 ** (width - 1);
    for (const byte of bytes) {
      sum ^= byte << (width - 8);
      for (let bit = 0; bit < 8; ++bit) sum = (sum & high ? (sum << 1) ^ polynomial : sum << 1) & mask;
    }
    return sum;
  };
  const info = Buffer.alloc(38);
  info.writeUInt32BE(0x80000022, 0);
  info.writeUInt16BE(32768, 4);
  info.writeUInt16BE(32768, 6);
  info.writeUInt32BE((48000 << 12 | 15 << 4) >>> 0, 14);     // 48 kHz, one channel, 16 bits, length unknown
  const parts = [Buffer.from("fLaC"), info];
  for (let i = 0; i < hours * 3600 * 48000 / 32768; ++i) {
    const number = i < 0x80 ? [i] : i < 0x800 ? [0xc0 | i >> 6, 0x80 | i & 63] : [0xe0 | i >> 12, 0x80 | i >> 6 & 63, 0x80 | i & 63];
    const head = [0xff, 0xf8, 0xfa, 0x08, ...number];
    const frame = [...head, crc(head, 8, 0x07), 0, 0, 0], sum = crc(frame, 16, 0x8005);
    parts.push(Buffer.from([...frame, sum >> 8, sum & 255]));
  }
  return Buffer.concat(parts);
}
const send = (body, name = "run.m4a", headers = {}) => bench.ask("POST", "/api/runs?set=before", body, { "X-Name": name, ...headers });

test("a Host that is not the server's own is refused, whatever else is right", async () => {
  const token = { "X-Token": bench.token };
  for (const host of ["evil.example", "evil.example:" + bench.port, "127.0.0.1", "127.0.0.1:1", "localhost:" + bench.port + ".evil.example", "[::1]:" + bench.port, "", null])
    assert.ok([400, 421].includes(status(await raw(request("GET /api/job", { Host: host, ...token })))), String(host));
  assert.strictEqual(status(await raw("GET /api/job HTTP/1.1\r\nHost: 127.0.0.1:" + bench.port + "\r\nHost: evil.example\r\nX-Token: " + bench.token + "\r\nConnection: close\r\n\r\n")), 400);
  assert.strictEqual(status(await raw(request("GET /api/job", token))), 200);
  assert.strictEqual(status(await raw(request("GET /api/job", { Host: "localhost:" + bench.port, ...token }))), 200);
});

test("a foreign Origin is refused, and no page of another site may read an answer", async () => {
  const token = { "X-Token": bench.token };
  for (const origin of ["http://evil.example", "null", "https://127.0.0.1:" + bench.port, "http://127.0.0.1:1", "http://127.0.0.1:" + bench.port + ".evil.example"])
    assert.strictEqual(status(await raw(request("GET /api/job", { Origin: origin, ...token }))), 403, origin);
  assert.strictEqual(status(await raw(request("GET /api/job", { "Sec-Fetch-Site": "cross-site", ...token }))), 403);
  assert.strictEqual(status(await raw(request("GET /api/job", { "Sec-Fetch-Site": "same-site", ...token }))), 403);
  const own = await raw(request("GET /api/job", { Origin: "http://127.0.0.1:" + bench.port, ...token }));
  assert.strictEqual(status(own), 200);
  assert.doesNotMatch(own, /access-control-allow/i);
  assert.notStrictEqual(status(await raw(request("OPTIONS /api/job", { Origin: "http://evil.example", "Access-Control-Request-Method": "PUT" }))), 200);
});

test("without the token nothing is told and nothing is taken", async () => {
  const asked = [["GET", "/api/job"], ["GET", "/api/car"], ["GET", "/api/cases"], ["GET", "/api/examples"], ["GET", "/api/lan"], ["GET", "/api/work/diagnose"],
    ["POST", "/api/enter"], ["PUT", "/api/car"], ["POST", "/api/runs"], ["POST", "/api/work/diagnose"], ["POST", "/api/cases"], ["POST", "/api/lan/code"],
    ["GET", "/view/diagnose.html"], ["GET", "/view/listen.wav"], ["GET", "/view/runs/" + "0".repeat(32)]];
  for (const token of [null, "", "0".repeat(32), bench.token.slice(1), bench.token + "0", bench.token.toUpperCase() + " "])
    for (const [method, where] of asked) {
      const answer = await raw(request(method + " " + where, { "X-Token": token, "Content-Length": method === "GET" ? null : "2" }, method === "GET" ? "" : "{}"));
      assert.strictEqual(status(answer), 401, method + " " + where);
    }
  // The token is no key to what the cookie opens, nor the other way round.
  assert.strictEqual(status(await raw(request("GET /view/diagnose.html", { "X-Token": bench.token, Cookie: "gearhark_" + bench.port + "=" + bench.token }))), 401);
});

test("what a client names never becomes a path", async () => {
  await clear();
  const before = fs.readdirSync(bench.folder).sort();
  for (const name of ["../../../etc/passwd", "/etc/passwd.wav", "..%2f..%2fx.m4a", "x.m4a%00.sh", "a\\..\\b.m4a", "%2e%2e/%2e%2e/evil.m4a", "--report=/tmp/x.m4a", "a".repeat(5000) + ".m4a"]) {
    const { status: code, said } = await send(sound, name.replace(/[^ -~]/g, ""));
    assert.strictEqual(code, 201, name);
    assert.match(said.id, /^[0-9a-f]{32}$/);
  }
  assert.deepStrictEqual(fs.readdirSync(bench.folder).sort(), before);
  assert.ok(bench.inside().every((name) => /^(car\.toml|sound_[0-9a-f]{32}|work_\d+)$/.test(name)), bench.inside().join());
  for (const where of ["/../../etc/passwd", "/..%2f..%2fetc/passwd", "/%2e%2e/%2e%2e/etc/passwd", "//etc/passwd", "/view/../../etc/passwd", "/view/runs/../../../etc/passwd",
    "/page.css/../../x", "/workbench.html%00", "/view/diagnose.html/../..", "/api/work/..", "/api/runs/" + "f".repeat(32) + "/../../x"]) {
    const answer = await raw(request("GET " + where, { "X-Token": bench.token }));
    assert.ok([400, 401, 404].includes(status(answer)), where + " " + status(answer));
    assert.doesNotMatch(answer, /root:/);
  }
  await clear();
});

test("what is written in the car or of a run stays text: no option, no file, no markup", async () => {
  await clear();
  const car = fs.readFileSync(path.join(top, "models/heron_rear_transaxle.toml"), "utf8");
  assert.strictEqual((await bench.ask("PUT", "/api/car", { text: car, speed: "--json=/tmp/evil", gear: "--json=/tmp/evil" })).status, 200);
  assert.ok(!fs.existsSync("/tmp/evil"));
  const { said } = await send(sound);
  const where = "/api/runs/" + said.id;
  for (const [key, value] of [["load", "--json"], ["turn", "up"], ["speed_kind", "file"], ["set", "../x"], ["gear", 3], ["speed", "x".repeat(201)], ["from", null]])
    assert.strictEqual((await bench.ask("PATCH", where, { [key]: value })).status, 400, key);
  // A speed that tries to end its string and name a file of its own.
  await bench.ask("PATCH", where, { gear: "3", load: "drive", speed: '65 km/h"\nspeed_file = "/etc/passwd' });
  await bench.ask("POST", "/api/work/diagnose", {});
  const work = (await settled()).work.diagnose;
  assert.strictEqual(work.state, "failed");
  assert.doesNotMatch(work.sentence, /root:/);
  await bench.ask("PATCH", where, { speed: "65 km/h", to: "0:06" });
  await bench.ask("POST", "/api/work/confirm", { part: "--report=/tmp/evil.html" });
  await bench.ask("POST", "/api/work/listen", { part: "generator_bearing", fault: "--json=/tmp/evil" });
  assert.strictEqual((await bench.ask("POST", "/api/work/confirm", { part: ["x"] })).status, 400);
  assert.strictEqual((await bench.ask("POST", "/api/work/listen", { half_speed: "yes" })).status, 400);
  assert.strictEqual((await bench.ask("POST", "/api/work/rm", {})).status, 404);
  await settled();
  assert.ok(!fs.existsSync("/tmp/evil") && !fs.existsSync("/tmp/evil.html"));
  await clear();
  await alive();
});

test("car files and bodies that are no such thing are refused with a sentence", async () => {
  for (const text of ["[".repeat(100000), "a = " + "[".repeat(50000), "\u0000", "name = \"" + "x".repeat(100000) + "\"", "a.".repeat(5000) + "b = 1", "[[bearing]]\n".repeat(20000),
    "a = " + "[{b.c.d.e.f = ".repeat(60) + "1" + "}]".repeat(60)]) {
    const { status: code, said } = await bench.ask("PUT", "/api/car", { text });
    assert.strictEqual(code, 200);
    assert.ok(said.problem.length > 0);
  }
  for (const body of ["", "[]", "nonsense", "{\"text\":", "[".repeat(100000), "{\"text\": \"\\ud800\"}"])
    assert.ok([200, 400].includes((await bench.ask("PUT", "/api/car", body)).status), body.slice(0, 20));
  const deep = "[".repeat(100000) + "]".repeat(100000);
  for (const [method, where] of [["PUT", "/api/car"], ["POST", "/api/work/plan"], ["POST", "/api/cases"], ["PATCH", "/api/runs/" + "0".repeat(32)]])
    await bench.ask(method, where, '{"text": ' + deep + ', "part": ' + deep + ', "title": ' + deep + ', "more": ' + deep + "}");
  assert.strictEqual((await bench.ask("PUT", "/api/car", { text: "x".repeat(600000) })).status, 413);
  assert.strictEqual((await bench.ask("PUT", "/api/car", "{}", { "Content-Encoding": "gzip" })).status, 415);
  assert.strictEqual((await bench.ask("PUT", "/api/car", "--x\r\n\r\n--x--", { "Content-Type": "multipart/form-data; boundary=x" })).status, 400);
  await alive();
});

test("requests that are no HTTP, too long or contradictory are refused", async () => {
  const token = "X-Token: " + bench.token;
  const bodyless = await raw(request("POST /api/enter", { "X-Token": bench.token }));
  assert.strictEqual(status(bodyless), 411);
  for (const bytes of ["\x00\x01\x02\r\n\r\n", "GET\r\n\r\n", "GET / HTTP/9.9\r\n\r\n", "G".repeat(100000), "GET /" + "a".repeat(20000) + " HTTP/1.1\r\n\r\n",
    request("GET /api/job", { "X-Token": bench.token, "X-Long": "a".repeat(40000) }),
    request("GET /api/job", { "X-Token": bench.token, ...Object.fromEntries(Array.from({ length: 3000 }, (_, i) => ["X-" + i, "a"])) }),
    request("GET /api/job", { "X-Token": bench.token, "Content-Length": "5" }, "12345"),
    request("PUT /api/car", { "X-Token": bench.token, "Content-Length": "2", "Transfer-Encoding": "chunked" }, "0\r\n\r\n"),
    request("PUT /api/car", { "X-Token": bench.token, "Content-Length": "-1" }, "{}"),
    request("PUT /api/car", { "X-Token": bench.token, "Content-Length": "99999999999999999999" }, "{}"),
    request("PUT /api/car", { "X-Token": bench.token, "Transfer-Encoding": "chunked" }, "zz\r\n{}\r\n"),
    request("BREW /api/job", { "X-Token": bench.token })]) {
    const answer = await raw(bytes, { ms: 4000 });
    assert.ok(answer === "" || status(answer) >= 400, JSON.stringify(bytes.slice(0, 40)) + " " + answer.slice(0, 60));
  }
  // A refused body must not be taken for another request: this one holds a whole one within.
  const inner = request("GET /api/job", { "X-Token": bench.token });
  const smuggled = await raw("POST /api/runs HTTP/1.1\r\nHost: evil.example\r\nContent-Length: " + inner.length + "\r\n\r\n" + inner);
  assert.strictEqual(smuggled.match(/HTTP\/1\.1 /g).length, 1);
  assert.ok(token && status(smuggled) === 421);
  await alive();
});

test("five hundred requests with something wrong in them leave the server as it was", async () => {
  // Park and Miller's generator: the same requests every time.
  let state = 1;
  const draw = (below) => { state = state * 48271 % 2147483647; return state % below; };
  const good = [request("GET /api/job", { "X-Token": bench.token }), request("PUT /api/car", { "X-Token": bench.token, "Content-Length": "14" }, '{"text": "a=1"}'),
    request("POST /api/runs?set=before", { "X-Token": bench.token, "X-Name": "a.wav", "Content-Length": "30" }, "RIFF" + "x".repeat(26)),
    request("PATCH /api/runs/" + "a".repeat(32), { "X-Token": bench.token, "Content-Length": "14" }, '{"gear": "3"}  '),
    request("GET /view/listen.wav", { Cookie: "gearhark_1=x", Range: "bytes=0-10" }),
    request("PUT /api/car", { "X-Token": bench.token, "Transfer-Encoding": "chunked" }, "e\r\n{\"text\": \"a=1\"}\r\n0\r\n\r\n")];
  const spoilt = () => {
    let bytes = Buffer.from(good[draw(good.length)], "latin1");
    for (let i = draw(4); i >= 0; --i) {
      const at = draw(bytes.length), kind = draw(4);
      if (kind === 0) bytes[at] = draw(256);
      if (kind === 1) bytes = Buffer.concat([bytes.subarray(0, at), bytes.subarray(Math.min(bytes.length, at + draw(20)))]);
      if (kind === 2) bytes = Buffer.concat([bytes.subarray(0, at), Buffer.from("\r\n".repeat(draw(3)) + "%00:;,\"".slice(draw(7))), bytes.subarray(at)]);
      if (kind === 3) bytes = Buffer.concat([bytes.subarray(0, at), bytes.subarray(at, at + 50), bytes.subarray(at)]);
      if (bytes.length === 0) bytes = Buffer.from("x");
    }
    return bytes;
  };
  for (let round = 0; round < 2; ++round) await Promise.all(Array.from({ length: 250 }, () => raw(spoilt(), { ms: 3000 })));
  await clear();
  await alive();
  assert.strictEqual(bench.complaint, "");
});

test("ranges of a sound are single and bounded", async () => {
  await clear();
  const { said } = await send(sound);
  await settled();
  const enter = await raw(request("POST /api/enter", { "X-Token": bench.token, "Content-Length": "2" }, "{}"));
  const cookie = enter.match(/Set-Cookie: ([^;]+); HttpOnly; SameSite=Strict; Path=\/view\//i)[1];
  const range = (value) => raw(request("GET /view/runs/" + said.id, { Cookie: cookie, Range: value }));
  assert.strictEqual(status(await range("bytes=0-99")), 206);
  assert.ok(status(await range("bytes=0-9," + "0-,".repeat(50) + "0-9")) >= 400);
  for (const odd of ["bytes=" + "0-,".repeat(3000), "bytes=99999999999999999999999-", "bytes=--", "bytes=" + "1".repeat(8000) + "-", "bytes=5-1", "bytes=999999999-9999999999"])
    assert.ok((await range(odd)).length < 400000, odd.slice(0, 30));
  await clear();
  await alive();
});

test("sound that unpacks to more than there is memory, or is none, is told as unusable", async () => {
  await clear();
  // A WAV header that promises four gigabytes and brings none.
  const riff = Buffer.alloc(44);
  riff.write("RIFF", 0); riff.writeUInt32LE(0xffffffff, 4); riff.write("WAVEfmt ", 8); riff.writeUInt32LE(16, 16); riff.writeUInt16LE(1, 20); riff.writeUInt16LE(1, 22);
  riff.writeUInt32LE(48000, 24); riff.writeUInt32LE(96000, 28); riff.writeUInt16LE(2, 32); riff.writeUInt16LE(16, 34); riff.write("data", 36); riff.writeUInt32LE(0xfffffff0, 40);
  const files = { "promise.wav": riff, "bomb.flac": longSilence(5), "cut.m4a": sound.subarray(0, 60000), "noise.m4a": Buffer.concat([sound.subarray(0, 12), Buffer.alloc(50000, 0xa5)]),
    "id3.mp3": Buffer.concat([Buffer.from("ID3\x04\x00\x00\x7f\x7f\x7f\x7f"), Buffer.alloc(1000)]), "list.m4a": Buffer.from("RIFFconcat file:///etc/passwd\n"),
    "zip.m4a": Buffer.from("PK\x03\x04aaaaaaaaaaaaaaaaaaa") };
  if (checked) delete files["bomb.flac"];      // its limit of memory can't hold there
  const before = memory("VmHWM");
  for (const [name, bytes] of Object.entries(files)) assert.strictEqual((await send(bytes, name)).status, 201, name);
  const job = await settled();
  for (const run of job.runs) {
    assert.strictEqual(run.state, "unusable", run.name);
    assert.ok(run.trouble.length > 10 && !/root:|gearhark_workbench/.test(run.trouble), run.trouble);
  }
  if (!checked) assert.match(job.runs.find((run) => run.name === "bomb.flac").trouble, /memory|hours/);
  // The server itself never held any of it.
  assert.ok(checked || memory("VmHWM") - before < 100000, "kB more: " + (memory("VmHWM") - before));
  for (const [name, bytes] of [["x.m4a", Buffer.from("#!/bin/sh\nexit 0\n# and more")], ["x.wav", Buffer.alloc(0)], ["x.mp3", Buffer.from("<html><script>alert(1)</script>")]])
    assert.strictEqual((await send(bytes, name)).status, 415, name);
  await clear();
  assert.deepStrictEqual(bench.inside().filter((name) => name.startsWith("sound_")), []);
});

test("200 MB stream to disk in bounded memory, and more than is allowed is refused", async () => {
  const block = Buffer.alloc(1 << 20), blocks = 200;
  const before = memory("VmHWM");
  const socket = net.connect(bench.port, "127.0.0.1");
  let back = "";
  socket.on("data", (bytes) => { back += bytes; });
  const header = Buffer.alloc(44);
  header.write("RIFF", 0); header.write("WAVEfmt ", 8); header.writeUInt32LE(16, 16); header.writeUInt16LE(1, 20); header.writeUInt16LE(1, 22); header.writeUInt32LE(48000, 24);
  header.writeUInt32LE(96000, 28); header.writeUInt16LE(2, 32); header.writeUInt16LE(16, 34); header.write("data", 36); header.writeUInt32LE(blocks << 20, 40);
  socket.write(request("POST /api/runs?set=before", { "X-Token": bench.token, "X-Name": "long.wav", "Content-Length": String(44 + (blocks << 20)) }));
  socket.write(header);
  for (let i = 0; i < blocks; ++i) if (!socket.write(block)) await new Promise((done) => socket.once("drain", done));
  await new Promise((done) => socket.on("close", done));
  assert.strictEqual(status(back), 201, back.slice(0, 200));
  assert.ok(checked || memory("VmHWM") - before < 40000, "kB more: " + (memory("VmHWM") - before));
  await clear();
  assert.strictEqual(status(await raw(request("POST /api/runs", { "X-Token": bench.token, "Content-Length": String(400 << 20) }, "x"))), 413);
  await settled();
  assert.deepStrictEqual(bench.inside().filter((name) => name.startsWith("sound_")), []);
});

test("uploads that are cut, slow or endless leave nothing behind", async () => {
  const head = request("POST /api/runs?set=before", { "X-Token": bench.token, "X-Name": "x.m4a", "Content-Length": String(sound.length) });
  await Promise.all(Array.from({ length: 20 }, () => raw(Buffer.concat([Buffer.from(head), sound.subarray(0, 50000)]), { cut: true })));
  // A byte now and then, in the body and in the head.
  const drip = (first, ms) => new Promise((done) => {
    const socket = net.connect(bench.port, "127.0.0.1"), began = Date.now();
    socket.write(first);
    const timer = setInterval(() => socket.write("a"), 100);
    const end = () => { clearInterval(timer); clearTimeout(limit); socket.destroy(); done(Date.now() - began); };
    const limit = setTimeout(end, ms);
    socket.on("close", end).on("error", end).resume();
  });
  const [body, headers] = await Promise.all([drip(Buffer.concat([Buffer.from(head), sound.subarray(0, 100)]), 8000), drip("GET / HTTP/1.1\r\nX-Slow: ", 8000)]);
  assert.ok(body < 7000 && headers < 7000, body + " and " + headers + " ms");
  await new Promise((done) => setTimeout(done, 300));
  assert.deepStrictEqual(bench.inside().filter((name) => name.startsWith("sound_")), []);
  await alive();
});

test("a thousand small requests at once are all answered, while a hundred connections are held open", async () => {
  const held = Array.from({ length: 100 }, () => net.connect(bench.port, "127.0.0.1").on("error", () => {}));
  const answers = await Promise.all(Array.from({ length: 1000 }, (_, i) => raw(request(i % 2 ? "GET /api/job" : "GET /page.css", { "X-Token": bench.token }), { ms: 60000 })));
  const counts = {};
  answers.forEach((answer) => { counts[status(answer)] = (counts[status(answer)] || 0) + 1; });
  held.forEach((socket) => socket.destroy());
  assert.deepStrictEqual(counts, { 200: 1000 });
});

test("a phone pairs by the code, sends, sees what it sent, and gets at nothing else", async () => {
  const to = phone, host = { Host: phone.host + ":" + phone.port };
  const code = (await bench.ask("GET", "/api/lan")).said.code;
  assert.match(code, /^[2-9A-Z]{4}-[2-9A-Z]{4}$/);
  const post = (where, headers, body) => raw(request("POST " + where, { ...host, "Content-Length": String(body.length), ...headers }, body), { to });
  assert.strictEqual(status(await post("/api/runs", {}, "RIFF")), 401);
  assert.strictEqual(status(await post("/api/pair", {}, JSON.stringify({ code: "AAAA-AAAA" }))), 403);
  assert.strictEqual(status(await post("/api/pair", {}, JSON.stringify({ code: 7 }))), 400);
  const key = JSON.parse((await post("/api/pair", {}, JSON.stringify({ code: code.toLowerCase().replace("-", " ") }))).split("\r\n\r\n")[1]).token;
  const paired = { ...host, "X-Phone": key };
  const sent = await fetch(bench.phones + "/api/runs", { method: "POST", headers: { "X-Phone": key, "X-Name": "voice%20memo.m4a" }, body: sound });
  assert.deepStrictEqual([sent.status, await sent.json()], [201, {}]);
  const mine = await (await fetch(bench.phones + "/api/mine", { headers: { "X-Phone": key } })).json();
  assert.deepStrictEqual(mine, [{ name: "voice memo.m4a", bytes: sound.length }]);
  assert.strictEqual((await settled()).runs[0].name, "voice memo.m4a");
  for (const where of ["/api/job", "/api/car", "/api/cases", "/api/lan", "/api/examples", "/api/work/diagnose", "/view/diagnose.html", "/workbench.html", "/workbench.js", "/view/runs/" + "0".repeat(32)]) {
    assert.ok([401, 404].includes(status(await raw(request("GET " + where, { ...paired, "X-Token": bench.token }), { to }))), where);
    assert.ok([401, 404].includes(status(await post(where, { ...paired, "X-Token": bench.token }, "{}"))), where);
  }
  assert.strictEqual(status(await raw(request("GET /", { Host: "127.0.0.1:" + bench.port }), { to })), 421);
  assert.strictEqual(status(await raw(request("GET /", { ...host, Origin: "http://evil.example" }), { to })), 403);
  // The page of the phone is no key to the desk, and the desk does not answer on the network's address.
  assert.strictEqual(status(await raw(request("GET /api/job", { "X-Token": key }))), 401);
  assert.strictEqual(await raw(request("GET /"), { to: { host: phone.host, port: bench.port }, ms: 500 }), "");
  // Guessing closes the code.
  for (let i = 0; i < 25; ++i) await post("/api/pair", {}, JSON.stringify({ code: "AAAA-AAA" + (i % 8 + 2) }));
  assert.strictEqual(status(await post("/api/pair", {}, JSON.stringify({ code }))), 403);
  assert.strictEqual((await bench.ask("GET", "/api/lan")).said.code, null);
  assert.ok((await bench.ask("POST", "/api/lan/code")).said.code);
  await clear();
});

test("over https nothing more is let in, plain requests are pointed there, and who does not agree on keys is let go", async () => {
  const port = 40000 + process.pid % 20000, at = { host: "127.0.0.3", port }, name = "127.0.0.3:" + port;
  const secure = await startBench(program, "--lan-address", at.host, "--https", "--lan-port", String(port), "--patience", "1");
  const plain = await raw(request("GET /", { Host: name }), { to: at });
  assert.strictEqual(status(plain), 301);
  assert.match(plain, new RegExp("Location: https://" + name + "/\r\n"));
  for (const first of [null, "\x16\x03\x01\x00\x05hello", "\x80\x00\x00"]) {
    const began = Date.now(), socket = net.connect(at.port, at.host).on("error", () => {});
    if (first) socket.write(first, "latin1");
    socket.resume();
    await new Promise((done) => socket.on("close", done));
    assert.ok(Date.now() - began < 15000);
  }
  const ask = (method, where, headers, body) => new Promise((done, fail) => {
    const sent = require("node:https").request({ ...at, method, path: where, headers: { Host: name, ...headers }, rejectUnauthorized: false, agent: false }, (response) => {
      let text = "";
      response.on("data", (part) => { text += part; }).on("end", () => done({ status: response.statusCode, headers: response.headers, text }));
    });
    sent.on("error", fail).end(body);
  });
  const page = await ask("GET", "/recorder.html");
  assert.deepStrictEqual([page.status, page.headers["content-security-policy"]], [200, "frame-ancestors 'none'"]);
  const script = page.text.match(/<script>([^]*)<\/script>/)[1];
  assert.ok(page.text.includes("default-src 'none'; script-src 'sha256-" + require("node:crypto").createHash("sha256").update(script).digest("base64") + "' blob: data:; "));
  for (const where of ["/api/plan", "/api/mine", "/api/job", "/api/car"]) assert.ok([401, 404].includes((await ask("GET", where)).status), where);
  assert.strictEqual((await ask("GET", "/", { Origin: "http://" + name })).status, 403);
  const code = (await secure.ask("GET", "/api/lan")).said.code;
  const key = JSON.parse((await ask("POST", "/api/pair", { "Content-Length": 20 }, JSON.stringify({ code }))).text).token;
  assert.strictEqual((await ask("GET", "/api/plan", { "X-Phone": key })).status, 404);
  // What only begins as a road test does.
  const junk = "PK\x03\x04" + "..".repeat(3000);
  assert.strictEqual((await ask("POST", "/api/runs", { "X-Phone": key, "X-Name": "..%2F..%2Fa.zip", "Content-Length": junk.length }, junk)).status, 201);
  let run;
  do run = (await secure.ask("GET", "/api/job")).said.runs[0]; while (run.state === "checking");
  assert.strictEqual(run.state, "unusable");
  assert.match(run.trouble, /^[^\n]{10,300}\.?$/);
  assert.ok(!run.trouble.includes(secure.folder));
  const refused = await secure.ask("POST", "/api/work/diagnose", {});
  assert.strictEqual(refused.status, 409);
  assert.deepStrictEqual((await secure.end()).left, []);
});

test("what leaves carries the policy, and no answer is kept by the browser", async () => {
  for (const where of ["/", "/api/job", "/workbench.js", "/nothing"]) {
    const answer = await raw(request("GET " + where, { "X-Token": bench.token }));
    assert.match(answer, /Content-Security-Policy: default-src 'none'; script-src 'self'; style-src 'self';/, where);
    assert.doesNotMatch(answer, /unsafe-/);
    assert.match(answer, /X-Content-Type-Options: nosniff/);
    assert.match(answer, /Cache-Control: no-store/);
    assert.ok(!answer.includes(bench.folder), where);
  }
});

test("the browser is opened without the token in anybody's sight", async () => {
  const programs = fs.mkdtempSync(path.join(require("node:os").tmpdir(), "gearhark_opener_"));
  fs.writeFileSync(path.join(programs, "xdg-open"), "#!/bin/sh\necho \"$@\" >" + programs + "/words\ncat \"$1\" >" + programs + "/page\n", { mode: 0o755 });
  const opened = await startIn({ PATH: programs + ":" + process.env.PATH }, program);
  while (!fs.existsSync(programs + "/page") || !fs.readFileSync(programs + "/page", "utf8").includes("</html>")) await new Promise((done) => setTimeout(done, 20));
  assert.ok(!fs.readFileSync(programs + "/words", "utf8").includes(opened.token));
  assert.ok(fs.readFileSync(programs + "/page", "utf8").includes("url=" + opened.address + "\""));
  const ended = await opened.end();
  assert.deepStrictEqual([ended.code, ended.left], [0, []]);
  fs.rmSync(programs, { recursive: true });
});

for (const signal of ["SIGINT", "SIGTERM", "SIGHUP"])
  test("ended by " + signal + " in the middle of work, it leaves no child and no folder", async () => {
    const short = await startBench(program);
    await short.ask("PUT", "/api/car", { text: fs.readFileSync(path.join(top, "models/heron_rear_transaxle.toml"), "utf8") });
    const { said } = await short.ask("POST", "/api/runs?set=before", sound, { "X-Name": "run.m4a" });
    await short.ask("PATCH", "/api/runs/" + said.id, { gear: "3", load: "drive", speed: "65 km/h" });
    await short.ask("POST", "/api/work/diagnose", {});
    await new Promise((done) => setTimeout(done, 500));
    const children = fs.readFileSync("/proc/" + short.child.pid + "/task/" + short.child.pid + "/children", "utf8");
    const folder = path.join(short.folder, short.kept()[0]);
    assert.strictEqual(fs.statSync(folder).mode & 0o777, 0o700);
    const ended = await short.end(signal);
    assert.deepStrictEqual([ended.code, ended.left], [0, []]);
    for (const child of children.trim().split(" ").filter(Boolean)) assert.ok(!fs.existsSync("/proc/" + child), child);
  });
