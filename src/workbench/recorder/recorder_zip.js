// A zip of stored files as a Blob made of their Blobs: an hour of sound stays on the phone's disk, where the libraries for
// it would take it through memory.

const crcTable = Uint32Array.from({ length: 256 }, function (unused, n) {
  for (let bit = 0; bit < 8; ++bit) n = n & 1 ? 0xedb88320 ^ (n >>> 1) : n >>> 1;
  return n;
});

async function crcOf(blob) {
  const step = 1 << 20;
  let crc = 0xffffffff;
  for (let at = 0; at < blob.size; at += step) {
    const bytes = new Uint8Array(await blob.slice(at, at + step).arrayBuffer());
    for (let i = 0; i < bytes.length; ++i) crc = crcTable[(crc ^ bytes[i]) & 255] ^ (crc >>> 8);
  }
  return (crc ^ 0xffffffff) >>> 0;
}

// Little-endian fields: [bytes, value].
function packed(...fields) {
  const out = new DataView(new ArrayBuffer(fields.reduce(function (sum, field) { return sum + field[0]; }, 0)));
  let at = 0;
  for (const [size, value] of fields) {
    if (size === 2) out.setUint16(at, value, true);
    else out.setUint32(at, value, true);
    at += size;
  }
  return new Uint8Array(out.buffer);
}

// `files`: [{ name, blob }], ASCII names. Below 4 GB in all, twelve hours of sound.
async function zipped(files, when) {
  const time = (when.getHours() << 11) | (when.getMinutes() << 5) | (when.getSeconds() >> 1);
  const date = ((when.getFullYear() - 1980) << 9) | ((when.getMonth() + 1) << 5) | when.getDate();
  const parts = [], entries = [];
  let at = 0, listed = 0;
  for (const file of files) {
    const name = new TextEncoder().encode(file.name), size = file.blob.size;
    if (at + size > 0xfff00000) throw new Error("this recording is longer than a zip file can hold");
    const facts = [[2, 20], [2, 0], [2, 0], [2, time], [2, date], [4, await crcOf(file.blob)], [4, size], [4, size], [2, name.length], [2, 0]];
    const head = packed([4, 0x04034b50], ...facts);
    entries.push(packed([4, 0x02014b50], [2, 20], ...facts, [2, 0], [2, 0], [2, 0], [4, 0], [4, at]), name);
    parts.push(head, name, file.blob);
    at += head.length + name.length + size;
    listed += 46 + name.length;
  }
  parts.push(...entries, packed([4, 0x06054b50], [2, 0], [2, 0], [2, files.length], [2, files.length], [4, listed], [4, at], [2, 0]));
  return new Blob(parts, { type: "application/zip" });
}
