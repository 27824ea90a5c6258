"use strict";
// A phone: pairs by a code, sends recordings, sees that they arrived.
(function () {
  const byId = function (id) { return document.getElementById(id); };
  let key = sessionStorage.getItem("phone") || "";

  function trouble(sentence) {
    byId("trouble").textContent = sentence;
    byId("trouble").hidden = !sentence;
  }

  async function ask(method, path, body) {
    let response;
    try {
      response = await fetch(path, { method: method, headers: { "X-Phone": key }, body: body });
    } catch (unreachable) {
      throw new Error("The workbench does not answer; is it still running, and this phone on its network?");
    }
    const said = await response.json();
    if (!response.ok) throw new Error(said.problem);
    return said;
  }

  async function arrived() {
    const mine = await ask("GET", "/api/mine");
    byId("arrived").replaceChildren(...mine.map(function (one) {
      const item = document.createElement("li");
      item.textContent = one.name + ", " + (one.bytes / 1e6).toFixed(1) + " MB";
      return item;
    }));
  }

  async function pair(code) {
    key = (await ask("POST", "/api/pair", JSON.stringify({ code: code }))).token;
    sessionStorage.setItem("phone", key);
    await enter();
  }

  async function enter() {
    await arrived();
    byId("pair").hidden = true;
    byId("sender").hidden = false;
  }

  function send(file) {
    return new Promise(function (done, fail) {
      const row = document.createElement("p"), bar = document.createElement("progress"), request = new XMLHttpRequest();
      bar.max = 1;
      bar.value = 0;
      bar.setAttribute("aria-label", "Sending " + file.name);
      row.append("Sending " + file.name, bar);
      byId("sending").append(row);
      request.open("POST", "/api/runs");
      request.setRequestHeader("Content-Type", "application/octet-stream");
      request.setRequestHeader("X-Name", encodeURIComponent(file.name));
      request.setRequestHeader("X-Phone", key);
      request.upload.onprogress = function (event) { if (event.lengthComputable) bar.value = event.loaded / event.total; };
      request.onloadend = function () { row.remove(); };
      request.onerror = function () { fail(new Error(file.name + " could not be sent; it may be too large, or the workbench was ended.")); };
      request.onload = function () {
        if (request.status === 201) return done();
        let said = "it was refused";
        try { said = JSON.parse(request.responseText).problem; } catch (none) { /* as above */ }
        fail(new Error(file.name + ": " + said));
      };
      request.send(file);
    });
  }

  async function tried(act) {
    trouble("");
    try { await act(); } catch (wrong) { trouble(wrong.message); }
  }

  byId("pair").addEventListener("submit", function (event) {
    event.preventDefault();
    tried(function () { return pair(byId("code").value); });
  });
  byId("files").addEventListener("change", function () {
    tried(async function () {
      for (const file of Array.from(byId("files").files)) await send(file);
      byId("files").value = "";
      await arrived();
    });
  });

  const safe = location.protocol === "https:";
  byId("recorder").hidden = !safe;
  byId("plain").hidden = safe;
  const code = location.hash.slice(1);
  if (code) history.replaceState(null, "", "/");
  tried(async function () {
    if (key) { try { return await enter(); } catch (forgotten) { key = ""; } }
    byId("pair").hidden = false;
    if (code) await pair(code);
  });
})();
