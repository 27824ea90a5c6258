// Recordings that lie on this phone: saved, shared, sent, gone on with, deleted.

const workbench = {
  // Only a page that the workbench itself serves knows of it.
  here: document.querySelector('meta[name="workbench"]') !== null,
  key: "",
  async ask(method, path, body) {
    let response;
    try {
      response = await fetch(path, { method: method, headers: { "X-Phone": workbench.key }, body: body });
    } catch (unreachable) {
      throw new Error("The workbench does not answer; is it still running, and this phone on its network?");
    }
    const said = await response.json();
    if (response.status === 401 && path !== "/api/pair") workbench.forget();
    if (!response.ok) throw new Error(said.problem);
    return said;
  },
  forget() {
    workbench.key = "";
    remembered("phone", "");
    workbench.show();
  },
  async pair(code) {
    workbench.key = (await workbench.ask("POST", "/api/pair", JSON.stringify({ code: code }))).token;
    remembered("phone", workbench.key);
    workbench.show();
  },
  send(file, onshare) {
    return new Promise(function (done, fail) {
      const request = new XMLHttpRequest();
      request.open("POST", "/api/runs");
      request.setRequestHeader("Content-Type", "application/octet-stream");
      request.setRequestHeader("X-Name", encodeURIComponent(file.name));
      request.setRequestHeader("X-Phone", workbench.key);
      request.upload.onprogress = function (event) { if (event.lengthComputable) onshare(event.loaded / event.total); };
      request.onerror = function () { fail(new Error("It could not be sent; it may be too large, or the workbench was ended. It is still here.")); };
      request.onload = function () {
        if (request.status === 201) return done();
        if (request.status === 401) workbench.forget();
        let said = "It was refused.";
        try { said = JSON.parse(request.responseText).problem; } catch (none) { /* as above */ }
        fail(new Error(said));
      };
      request.send(file);
    });
  },
  show() {
    byId("pairing").hidden = !workbench.here || workbench.key !== "";
    byId("fetch-plan").hidden = !workbench.here || workbench.key === "";
  },
  begin() {
    // Paired on the page before this one, or by the recorder before it was closed.
    try { workbench.key = sessionStorage.getItem("phone") || remembered("phone") || ""; } catch (kept) { /* nothing is kept */ }
    if (workbench.key) remembered("phone", workbench.key);
    workbench.show();
  }
};

async function bundleKept(one) {
  return bundleOf(readJournal(one.journal), function (number) { return writer.ask("sound", { id: one.id, number: number }); });
}

function savedAs(file) {
  const link = el("a", { href: URL.createObjectURL(file), download: file.name });
  document.body.append(link);
  link.click();
  link.remove();
  setTimeout(function () { URL.revokeObjectURL(link.href); }, 60000);
}

function shareable() {
  const probe = new File([new Uint8Array(1)], "road_test.zip", { type: "application/zip" });
  return Boolean(navigator.canShare && navigator.canShare({ files: [probe] }));
}

function keptCard(one, journal, goOn) {
  const when = new Date(journal.start.started), said = el("p", { className: "fine", role: "status" });
  const runs = journal.taps.filter(function (one) { return one.kind === "run"; }).length;
  const what = minutes(journal.end_s) + " min" + (runs ? ", " + runs + (runs === 1 ? " run marked" : " runs marked") : "") + (journal.fixes.length ? journal.start.position_kept ? ", with speed and places" : ", with speed" : "");
  const lead = async function (words, act) {
    said.textContent = words;
    try { await act(await bundleKept(one)); } finally { if (said.textContent === words) said.textContent = ""; }
  };
  const tools = el("div", { className: "keys two" });
  if (workbench.here) tools.append(button("Send to the workbench", function () {
    if (!workbench.key) throw new Error("Pair this phone first: type the code that the workbench shows.");
    return lead("Packing ...", async function (file) {
      await workbench.send(file, function (share) { said.textContent = "Sending, " + Math.round(100 * share) + " %"; });
      said.textContent = "It lies on the workbench.";
    });
  }, "press send"));
  tools.append(button("Save as a file", function () { return lead("Packing ...", async function (file) { savedAs(file); said.textContent = file.name + ", " + megabytes(file.size); }); }, "press save"));
  if (shareable()) tools.append(button("Share", function () { return lead("Packing ...", function (file) { return navigator.share({ files: [file] }); }); }, "press"));
  if (!journal.finished) tools.append(button("Go on recording", function () { return goOn(one, journal); }, "press go-on"));
  const remove = button("Delete", async function () {
    if (!remove.sure) {
      remove.sure = true;
      remove.textContent = "Really delete";
      setTimeout(function () { remove.sure = false; remove.textContent = "Delete"; }, 4000);
      return;
    }
    await writer.ask("remove", { id: one.id });
    await showKept(goOn);
  }, "press delete");
  tools.append(remove);
  return el("article", { className: "card kept" }, el("h3", {}, when.toLocaleString([], { dateStyle: "medium", timeStyle: "short" })),
    el("p", {}, what + (journal.finished ? "." : ". It was broken off; what was recorded until then is here.")), tools, said);
}

// Those that another tab is writing are left alone.
async function beingWritten() {
  if (!navigator.locks) return [];
  return (await navigator.locks.query()).held.map(function (lock) { return lock.name; });
}

async function showKept(goOn) {
  const kept = await writer.ask("kept"), busy = await beingWritten(), cards = [];
  for (const one of kept.sort(function (a, b) { return a.id < b.id ? 1 : -1; })) {
    const journal = readJournal(one.journal);
    if (journal.start && !busy.includes("recording " + one.id)) cards.push(keptCard(one, journal, goOn));
  }
  byId("broken").hidden = !cards.some(function (one) { return one.querySelector(".go-on") !== null; });
  byId("kept").replaceChildren(...cards);
  byId("kept-none").hidden = cards.length > 0;
}
