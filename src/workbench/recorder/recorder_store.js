"use strict";
// A thread of its own that writes a recording as it comes, so that a page that is killed loses a second at most.
//
//   worklet -> blocks of sound -> RECORDING/sound_1.pcm     page -> notes -> RECORDING/journal (a line of JSON each)
//
// In the page's own files (OPFS) where the browser has them, else in IndexedDB, else in memory.

const everySecond = 1000;

// Files: { append(bytes), flush(), close() } of one that is written, a Blob of one that is read.
async function fileStore() {
  const top = await (await navigator.storage.getDirectory()).getDirectoryHandle("road_tests", { create: true });
  const probe = await top.getFileHandle("probe", { create: true });
  await (await probe.createSyncAccessHandle()).close();
  await top.removeEntry("probe");
  return {
    kind: "files",
    async open(id, name) {
      const file = await (await top.getDirectoryHandle(id, { create: true })).getFileHandle(name, { create: true });
      let at = (await file.getFile()).size;
      const handle = await file.createSyncAccessHandle();
      return {
        append(bytes) {
          const written = handle.write(bytes, { at: at });
          at += written;
          if (written < bytes.byteLength) throw new Error("this phone's storage is full");
        },
        flush() { return handle.flush(); },
        close() { return handle.close(); }
      };
    },
    async names() {
      const out = [];
      for await (const [name, entry] of top.entries()) if (entry.kind === "directory") out.push(name);
      return out;
    },
    async read(id, name) {
      try { return await (await (await top.getDirectoryHandle(id)).getFileHandle(name)).getFile(); } catch (none) { return null; }
    },
    remove(id) { return top.removeEntry(id, { recursive: true }); }
  };
}

function answered(request) {
  return new Promise(function (done, fail) {
    request.onsuccess = function () { done(request.result); };
    request.onerror = function () { fail(request.error); };
  });
}

async function databaseStore() {
  const opening = indexedDB.open("road_tests", 1);
  opening.onupgradeneeded = function () { opening.result.createObjectStore("bytes"); };
  const database = await answered(opening);
  const bytes = function (mode) { return database.transaction("bytes", mode).objectStore("bytes"); };
  const within = function (id, name) { return IDBKeyRange.bound([id, name, 0], [id, name, Infinity]); };
  return {
    kind: "database",
    async open(id, name) {
      let next = (await answered(bytes("readonly").getAllKeys(within(id, name)))).length, waiting = [], last = Promise.resolve();
      const put = function () {
        if (waiting.length === 0) return last;
        const whole = new Blob(waiting), number = next++;
        waiting = [];
        last = last.then(async function () {
          const stored = await whole.arrayBuffer();      // a transaction does not wait for it
          await answered(bytes("readwrite").put(stored, [id, name, number]));
        });
        return last;
      };
      return { append: function (some) { waiting.push(some.slice()); }, flush: put, close: put };
    },
    async names() { return [...new Set((await answered(bytes("readonly").getAllKeys())).map(function (key) { return key[0]; }))]; },
    async read(id, name) {
      const keys = await answered(bytes("readonly").getAllKeys(within(id, name)));
      const parts = [];
      // One after the other: the browser may keep what is in a Blob on disk.
      for (const key of keys) parts.push(new Blob([await answered(bytes("readonly").get(key))]));
      return keys.length ? new Blob(parts) : null;
    },
    async remove(id) { await answered(bytes("readwrite").delete(IDBKeyRange.bound([id], [id, []]))); }
  };
}

function memoryStore() {
  const all = new Map();
  return {
    kind: "memory",
    async open(id, name) {
      const parts = all.get(id + "/" + name) || [];
      all.set(id + "/" + name, parts);
      return { append: function (some) { parts.push(some.slice()); }, flush: function () {}, close: function () {} };
    },
    async names() { return [...new Set([...all.keys()].map(function (key) { return key.split("/")[0]; }))]; },
    async read(id, name) { return all.has(id + "/" + name) ? new Blob(all.get(id + "/" + name)) : null; },
    async remove(id) { for (const key of [...all.keys()]) if (key.startsWith(id + "/")) all.delete(key); }
  };
}

async function bestStore() {
  for (const make of [fileStore, databaseStore]) try { return await make(); } catch (lacking) { /* the next */ }
  return memoryStore();
}

// Ties frames to the recording's clock by when blocks arrive, once a second. A block may come late but never early, so the
// earliest of each second tells. Where all blocks of a second are later than before, sound was lost at the first of them.
function anchoring(rate, latency, note) {
  const lost_s = 0.04, window_s = 1.0;
  let tied = null, least = Infinity, since = null, risen = null, last = { frame: -1, time_s: -Infinity };
  function place(frame, shift) {
    if (frame <= last.frame) return;
    last = { frame: frame, time_s: Math.max(last.time_s, Number((frame / rate + shift).toFixed(4))) };
    note(last);
  }
  function tie(frame, shift, at) {
    place(frame, shift);
    tied = shift;
    least = Infinity;
    since = at;
    risen = null;
  }
  return {
    // From frame `begin` to `end`; `at`: the clock when it came.
    block(begin, end, at) {
      const shift = at - end / rate - latency;
      if (since === null) since = at;
      if (tied !== null && shift > tied + lost_s) {
        risen = risen || { frame: begin, at: at, least: Infinity };
        risen.least = Math.min(risen.least, shift);
        if (at - risen.at < window_s) return;
        place(risen.frame, tied);
        tie(risen.frame + 1, risen.least, at);
        return;
      }
      risen = null;
      least = Math.min(least, shift);
      if (at - since < window_s) return;
      if (tied === null) place(0, least);
      tie(end, least, at);
    },
    end(frames) {
      if (tied === null && least < Infinity) tie(0, least, 0);
      if (tied !== null) place(frames, Math.min(least, tied + lost_s));
    }
  };
}

let store, journal = null, piece = null, port = null, clockShift = 0, id = "";

function note(line) { if (journal) journal.append(new TextEncoder().encode(JSON.stringify(line) + "\n")); }

function failed(wrong) { postMessage({ trouble: "The recording can't be written: " + wrong.message + "." }); }

function takeBlock(heard) {
  if (!piece) return;
  const at = performance.now() / 1000 + clockShift, begin = piece.frames;
  // Heard before the clock began.
  if (begin === 0 && at < heard.samples.length / piece.rate + piece.latency) return;
  try {
    piece.file.append(new Uint8Array(heard.samples.buffer));
    piece.frames += heard.samples.length;
    piece.anchors.block(begin, piece.frames, at);
  } catch (wrong) {
    failed(wrong);
  }
  postMessage({ level: { peak: heard.peak, power: heard.power, clipped: heard.clipped, seconds: piece.frames / piece.rate } });
}

async function endPiece() {
  const ending = piece;
  piece = null;
  if (!ending) return;
  ending.anchors.end(ending.frames);
  await ending.file.flush();
  await ending.file.close();
}

const commands = {
  async where() { return { kind: store.kind }; },
  async now() { return performance.now() / 1000; },
  async begin(asked) {
    id = asked.id;
    clockShift = asked.clockShift;
    journal = await store.open(id, "journal");
    // Behind a line that was torn off by the end of the page.
    note({ is: "opened" });
  },
  async note(asked) { note(asked.line); },
  async listen(asked, ports) {
    if (port) port.close();
    port = ports[0];
    port.onmessage = function (event) { takeBlock(event.data); };
  },
  async piece(asked) {
    await endPiece();
    const number = asked.number;
    const file = await store.open(id, "sound_" + number + ".pcm");
    note({ is: "piece", number: number, rate: asked.rate, time_s: asked.time_s, why: asked.why, granted: asked.granted });
    const anchors = anchoring(asked.rate, asked.latency, function (anchor) { note({ is: "anchor", piece: number, frame: anchor.frame, time_s: anchor.time_s }); });
    piece = { file: file, rate: asked.rate, latency: asked.latency, frames: 0, anchors: anchors };
  },
  async endPiece() { await endPiece(); },
  async end() {
    await endPiece();
    if (port) port.close();
    port = null;
    if (journal) { await journal.flush(); await journal.close(); }
    journal = null;
  },
  async kept() {
    const out = [];
    for (const name of await store.names()) {
      const text = await store.read(name, "journal");
      out.push({ id: name, journal: text ? await text.text() : "" });
    }
    return out;
  },
  async sound(asked) { return store.read(asked.id, "sound_" + asked.number + ".pcm"); },
  async remove(asked) { await store.remove(asked.id); }
};

const ready = bestStore().then(function (best) { store = best; });
onmessage = async function (event) {
  const asked = event.data;
  try {
    await ready;
    postMessage({ answer: asked.number, value: await commands[asked.command](asked.with || {}, event.ports) });
  } catch (wrong) {
    postMessage({ answer: asked.number, wrong: wrong.message || String(wrong) });
  }
};
setInterval(async function () {
  try {
    if (piece) await piece.file.flush();
    if (journal) await journal.flush();
  } catch (wrong) { failed(wrong); }
}, everySecond);
