"use strict";
// The whole job in a real browser, as a mechanic would do it. Run by tests/workbench/run PROGRAM.
const { test, before, after } = require("node:test");
const assert = require("node:assert");
const fs = require("node:fs"), path = require("node:path");
const { top, slow, startBench, startBrowser } = require("./bench.js");

const program = process.env.GEARHARK_PROGRAM;
const sizes = { phone: { width: 390, height: 844 }, laptop: { width: 1280, height: 800 } };
const pictures = process.env.GEARHARK_PICTURES;      // a folder to look at afterwards
const runs = [["run1.m4a", "3", "drive", "65 km/h"], ["run3.m4a", "3", "coast", "67 km/h"]];

let bench, browser, page;
const asked = [], wrong = [];

before(async () => {
  bench = await startBench(program);
  browser = await startBrowser();
  page = await browser.newPage({ viewport: sizes.laptop });
  page.setDefaultTimeout(90000 * slow);      // other tests may have the machine too
  page.on("request", (request) => asked.push(request.url()));
  page.on("console", (message) => { if (message.type() === "error" || message.type() === "warning") wrong.push(message.text()); });
  page.on("pageerror", (error) => wrong.push(error.message));
});
after(async () => {
  await browser.close();
  await bench.end();
});

// axe-core is handed over as text: the page's policy would let no script in.
async function axe(where, of) {
  await where.evaluate(fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8"));
  const found = await where.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  assert.deepStrictEqual(found.violations.map((one) => one.id + ": " + one.nodes.map((node) => node.target + " " + node.failureSummary).join("; ")), [], of);
}

async function fitsSideways(where, of) {
  const [whole, seen] = await where.evaluate(() => [document.documentElement.scrollWidth, document.documentElement.clientWidth]);
  assert.ok(whole <= seen, of + " is " + whole + " pixels wide in " + seen);
}

async function picture(name, where = page) {
  if (pictures) await where.screenshot({ path: path.join(pictures, name + ".png"), fullPage: true });
}

// A new page is an empty one of the workbench's own until its address has answered.
async function openedBy(link) {
  const [opened] = await Promise.all([page.context().waitForEvent("page"), page.click(link)]);
  await opened.waitForURL(/\/view\//);
  return opened;
}

async function add(set, folder, rows) {
  const cards = page.locator("#list-" + set + " .card"), already = await cards.count();
  await page.setInputFiles("#drop-" + set + " input", rows.map((row) => path.join(top, "samples", folder, row[0])));
  for (let i = 0; i < rows.length; ++i) {
    const card = cards.nth(already + i);
    await card.locator(".wave").waitFor();
    await card.getByRole("combobox", { name: "Gear", exact: true }).selectOption(rows[i][1]);
    await card.getByRole("combobox", { name: "Throttle", exact: true }).selectOption(rows[i][2]);
    await card.getByRole("textbox", { name: "Speed", exact: true }).fill(rows[i][3]);
    await card.getByRole("textbox", { name: "Speed", exact: true }).press("Tab");
  }
}

test("the token leaves the address line and no page opens without it", async () => {
  await page.goto(bench.address);
  await page.waitForSelector("html[data-ready]");
  assert.strictEqual(page.url(), bench.url + "/");
  const stranger = await (await browser.newContext()).newPage();
  await stranger.goto(bench.url + "/");
  await stranger.waitForSelector("#trouble:not([hidden])");
  assert.match(await stranger.textContent("#trouble"), /Open the whole address/);
  assert.strictEqual((await stranger.goto(bench.url + "/view/diagnose.html")).status(), 401);
  await stranger.context().close();
});

test("a car is written in the form, checked while one types, and its lines follow", async () => {
  const named = (label) => page.locator("#car-form").getByRole("textbox", { name: label, exact: true });
  await named("Name").fill("Test car");
  await named("Cylinders").fill("4");
  await named("Size").fill("165R15");
  await page.locator("#car-form").getByRole("combobox", { name: "Kind", exact: true }).first().selectOption("two-shaft");
  await page.getByRole("button", { name: "Add a gear" }).click();
  await named("Gear").fill("3");
  await named("Driving").fill("23");
  await named("Driven").fill("29");
  await named("Pinion teeth").fill("8");
  await page.waitForFunction(() => /ring/.test(document.querySelector("#car-says").textContent));
  await named("Ring teeth").fill("35");
  await page.waitForFunction(() => /Nothing wrong/.test(document.querySelector("#car-says").textContent));
  await page.getByRole("button", { name: "Add a bearing" }).click();
  const bearing = page.locator("#car-form details").last();
  await bearing.getByRole("textbox", { name: "ID (needed)" }).fill("pinion_head_bearing");
  await bearing.getByRole("combobox", { name: "Shaft (needed)" }).fill("pinionn");
  await page.waitForFunction(() => /pinionn/.test(document.querySelector("#car-says").textContent));
  await bearing.getByRole("combobox", { name: "Shaft (needed)" }).fill("pinion");
  await bearing.getByRole("textbox", { name: "Balls or rollers in a row" }).fill("14");
  await page.selectOption("#lines-gear", "3");
  await page.fill("#lines-speed", "65 km/h");
  await page.waitForFunction(() => /pinion head bearing/.test(document.querySelector("#lines-rows").textContent));
  // The text that the form wrote is what the program reads; its lines are the very numbers of the machine form.
  const text = await page.inputValue("#car-text");
  assert.match(text, /\[\[bearing\]\]\nid = "pinion_head_bearing"\nshaft = "pinion"\nelements = 14/);
  await page.waitForFunction(() => /\d Hz|^\d/.test(document.querySelector("#lines-rows .n").textContent));
  const { said } = await bench.ask("PUT", "/api/car", { text, speed: "65 km/h", gear: "3" });
  const shown = await page.locator("#lines-rows tr").evaluateAll((rows) => rows.map((row) => row.querySelector(".n").firstChild.textContent));
  said.orders.rows.forEach((row, i) => assert.ok(row.frequency_hz === null || shown[i].startsWith(row.frequency_hz.toFixed(row.frequency_hz < 100 ? 1 : 0)), row.name));
});

test("text and form follow each other, remarks at the top stay", async () => {
  await page.selectOption("#examples", { label: "Tarn Heron 1300 (invented)" });
  await page.waitForFunction(() => document.querySelector("#car-title").textContent.includes("Heron"));
  await page.locator("#car-form").getByRole("textbox", { name: "Name", exact: true }).fill("Heron of Mr. \"Smith\" \\ & <b>co</b>");
  await page.waitForFunction(() => document.querySelector("#car-title").textContent.includes("<b>co</b>"));
  const text = await page.inputValue("#car-text");
  assert.ok(text.startsWith("# Invented"), text.slice(0, 80));
  // Nothing but the name has changed in what the program makes of it.
  const example = fs.readFileSync(path.join(top, "models/heron_rear_transaxle.toml"), "utf8");
  const lines = async (car) => (await bench.ask("PUT", "/api/car", { text: car, speed: "65 km/h", gear: "3" })).said.orders.rows;
  assert.deepStrictEqual(await lines(text), await lines(example));
  await page.locator("#as-text summary").click();
  await page.fill("#car-text", text.replace("cylinders = 4", "cylinders = 6"));
  await page.waitForFunction(() => document.querySelector("#car-form [data-key=cylinders]").value === "6");
  await page.fill("#car-text", "name = ");
  await page.waitForFunction(() => /Line 1/.test(document.querySelector("#car-says").textContent));
  await page.fill("#car-text", example);
  await page.waitForFunction(() => document.querySelector("#car-title").textContent === "Tarn Heron 1300 (invented)");
  await page.locator("#as-text summary").click();
});

test("recordings are dropped, described and trimmed with the keyboard", async () => {
  await add("before", "pinion_bearing", runs);
  const card = page.locator("#list-before .card").first();
  const from = card.getByLabel("Use from");
  await from.focus();
  for (let i = 0; i < 20; ++i) await page.keyboard.press("ArrowRight");
  await from.blur();
  await page.waitForFunction(() => /Used: 0:02 to 0:22/.test(document.querySelector("#list-before .card").textContent));
  // And shorter, for the sake of time.
  for (const i of [0, 1]) await page.locator("#list-before .card").nth(i).getByLabel("to", { exact: true }).fill("14");
  await page.waitForFunction(() => /Used: 0:02 to 0:14 of 0:22/.test(document.querySelector("#list-before .card").textContent));
  await page.waitForTimeout(300 * slow);
  const { said } = await bench.ask("GET", "/api/job");
  assert.deepStrictEqual(said.runs.map((run) => [run.name, run.gear, run.load, run.speed, run.from, run.to]),
    [["run1.m4a", "3", "drive", "65 km/h", "0:02", "0:14"], ["run3.m4a", "3", "coast", "67 km/h", "", "0:14"]]);
  assert.strictEqual(await page.textContent("#at-runs"), "2, all described");
});

test("what is no recording is refused with one sentence in the page", async () => {
  await page.setInputFiles("#drop-before input", path.join(top, "README.md"));
  await page.waitForSelector("#trouble:not([hidden])");
  assert.match(await page.textContent("#trouble"), /README\.md: This is no sound/);
  assert.strictEqual(await page.locator("#list-before .card").count(), 2);
});

test("the verdict comes with progress, and its numbers are those of the machine form", async () => {
  await page.getByRole("button", { name: "Find the noise" }).click();
  await page.waitForSelector("#work-diagnose progress");
  await page.waitForSelector("#diagnosis .verdict");
  assert.strictEqual(await page.textContent("#diagnosis .verdict"), "Fault heard");
  assert.match(await page.textContent("#diagnosis .reason"), /pinion head bearing/);
  const { said } = await bench.ask("GET", "/api/work/diagnose");
  assert.strictEqual(said.format, "gearhark diagnosis");
  assert.strictEqual(await page.textContent("#diagnosis .reason"), said.reason);
  const first = page.locator("#diagnosis .rank li").first();
  assert.strictEqual(await first.locator(".share").textContent(), Math.round(100 * said.suspects[0].probability) + " %");
  assert.strictEqual(said.recordings[0].file, "run1.m4a");
  if (said.next_run) assert.ok((await page.textContent("#diagnosis .next")).includes(said.next_run.because));
});

test("the report opens with the network off, asks for nothing, and says the numbers of the machine form", async () => {
  await page.waitForSelector("#report-diagnose a");
  const report = await openedBy("#report-diagnose a");
  assert.strictEqual(await report.evaluate(() => window.origin), "null", "kept apart from the workbench");
  const saved = path.join(bench.folder, "report.html");
  const { said } = await bench.ask("GET", "/api/work/diagnose");
  const cookies = await page.context().cookies(bench.url + "/view/");
  fs.writeFileSync(saved, Buffer.from(await (await fetch(report.url(), { headers: { Cookie: cookies.map((c) => c.name + "=" + c.value).join("; ") } })).arrayBuffer()));
  await report.close();

  const offline = await browser.newContext({ viewport: sizes.laptop, offline: true });
  const sheet = await offline.newPage(), requests = [];
  sheet.on("request", (request) => { if (!/^(data|blob):/.test(request.url())) requests.push(request.url()); });
  sheet.on("console", (message) => { if (message.type() === "error") wrong.push(message.text()); });
  await sheet.goto("file://" + saved);
  assert.deepStrictEqual(requests, ["file://" + saved]);
  assert.deepStrictEqual(JSON.parse(await sheet.textContent("#machine-form")), said);
  assert.ok((await sheet.textContent(".reason")).includes(said.reason));
  const shares = await sheet.locator(".rank .share").allTextContents();
  assert.strictEqual(shares[0], Math.round(100 * said.suspects[0].probability) + " %");
  await sheet.locator("audio").first().evaluate((player) => player.play());
  await axe(sheet, "report");
  await sheet.setViewportSize(sizes.phone);
  await fitsSideways(sheet, "report on a phone");
  await picture("report_phone", sheet);
  for (const format of ["A4", "Letter"]) assert.ok((await sheet.pdf({ format })).subarray(0, 5).equals(Buffer.from("%PDF-")));
  await offline.close();
});

test("the suspect's band alone is played", async () => {
  await page.getByRole("button", { name: "Hear it: pinion head bearing" }).click();
  const player = page.locator("#heard audio");
  await player.waitFor();
  await player.evaluate((one) => one.play());
  await page.waitForFunction(() => document.querySelector("#heard audio").currentTime > 0.1);
  assert.ok(await player.evaluate((one) => one.duration) > 8);
});

test("a suspect is confirmed, a second question takes the place of the first, and stop stops", async () => {
  await page.getByRole("button", { name: "Confirm it: pinion head bearing" }).click();
  await page.waitForSelector("#work-confirm progress");
  const first = (await bench.ask("GET", "/api/job")).said.work.confirm.number;
  await bench.ask("POST", "/api/work/confirm", { part: "generator_bearing" });
  const second = (await bench.ask("GET", "/api/job")).said.work.confirm;
  assert.ok(second.number > first && second.wishes.part === "generator_bearing");
  await page.locator("#work-confirm").getByRole("button", { name: "Stop" }).click();
  await page.waitForFunction(() => /Stopped/.test(document.querySelector("#work-confirm").textContent));
  await page.getByRole("button", { name: "Confirm it: pinion head bearing" }).click();
  await page.waitForSelector("#confirmation .verdict");
  assert.strictEqual(await page.textContent("#confirmation .verdict"), "Heard");
});

test("before and after are compared", async () => {
  await page.getByRole("button", { name: "Compare before and after" }).click();
  await page.waitForSelector("#trouble:not([hidden])");
  assert.match(await page.textContent("#trouble"), /no recording from after the repair/);
  await add("after", "pinion_repaired", [["run4.opus", "3", "drive", "65 km/h"]]);
  await page.getByRole("button", { name: "Compare before and after" }).click();
  await page.waitForSelector("#comparison .verdict");
  const { said } = await bench.ask("GET", "/api/work/compare");
  assert.strictEqual(said.format, "gearhark comparison");
  assert.strictEqual((await page.textContent("#comparison .verdict")).toLowerCase(), said.verdict);
  const change = said.parts[0].change_db;
  assert.ok((await page.textContent("#comparison table")).includes((change > 0 ? "+" : "") + change.toFixed(1) + " dB"));
});

test("the case is kept, and what the teardown showed", async () => {
  const drive = page.locator("#list-before .card").first().getByRole("combobox", { name: "Road", exact: true });
  await drive.selectOption("left");
  await page.waitForFunction(() => /changed since/.test(document.querySelector("#work-diagnose").textContent));
  await drive.selectOption("straight");
  await page.fill("#case-title", "--casebook=/tmp/elsewhere Heron, growl in third");
  await page.getByRole("button", { name: "Keep in the casebook" }).click();
  await page.waitForSelector("#trouble:not([hidden])");
  assert.match(await page.textContent("#trouble"), /diagnose first/);
  await page.getByRole("button", { name: "Find the noise" }).click();
  await page.waitForFunction(() => /there/.test(document.querySelector("#at-verdict").textContent));
  await page.getByRole("button", { name: "Keep in the casebook" }).click();
  await page.waitForFunction(() => /Case 1/.test(document.querySelector("#keep-says").textContent));
  await page.selectOption("#found-part", "pinion_head_bearing");
  await page.selectOption("#found-fault", "outer race");
  await page.getByRole("button", { name: "Record it" }).click();
  await page.waitForFunction(() => /found: pinion_head_bearing, outer race/.test(document.querySelector("#cases").textContent));
  assert.match(await page.textContent("#cases"), /--casebook=\/tmp\/elsewhere Heron, growl in third/);
});

test("a card for the road test is planned", async () => {
  await page.getByRole("button", { name: "Plan the road test" }).click();
  await page.waitForSelector("#plan-says a");
  const card = await openedBy("#plan-says a");
  assert.ok((await card.locator(".run").count()) > 0);
  await card.close();
});

test("the page has no accessibility fault and no sideways scroll, on a phone and a laptop, light and dark, and prints", async () => {
  for (const [name, size] of Object.entries(sizes)) {
    for (const colorScheme of ["light", "dark"]) {
      await page.setViewportSize(size);
      await page.emulateMedia({ colorScheme });
      await axe(page, name + ", " + colorScheme);
      await fitsSideways(page, name);
      await picture("workbench_" + name + "_" + colorScheme);
    }
  }
  const printed = await page.pdf({ format: "A4" });
  assert.ok(printed.length > 10000);
  if (pictures) fs.writeFileSync(path.join(pictures, "workbench.pdf"), printed);
});

test("a reload finds everything where it was", async () => {
  await page.setViewportSize(sizes.laptop);
  await page.reload();
  await page.waitForSelector("#diagnosis .verdict");
  assert.strictEqual(await page.locator("#list-before .card").count(), 2);
  assert.strictEqual(await page.textContent("#car-title"), "Tarn Heron 1300 (invented)");
});

test("a speed log takes the place of a stated speed", async () => {
  const card = page.locator("#list-before .card").first();
  await card.getByRole("combobox", { name: "told by" }).selectOption("log");
  await card.getByRole("textbox", { name: "Speed", exact: true }).fill("");
  await card.getByRole("textbox", { name: "Speed", exact: true }).press("Tab");
  await card.locator("input[accept='.gpx,.nmea,.csv']").setInputFiles({ name: "track.csv", mimeType: "text/csv",
    buffer: Buffer.from("time_s,speed_mps\n" + Array.from({ length: 23 }, (_, i) => i + ",17.8\n").join("")) });
  await page.waitForFunction(() => /: track\.csv/.test(document.querySelector("#list-before .card").textContent));
  await page.getByRole("button", { name: "Find the noise" }).click();
  await page.waitForSelector("#work-diagnose progress");
  await page.waitForFunction(() => /there|failed/.test(document.querySelector("#at-verdict").textContent));
  assert.strictEqual((await bench.ask("GET", "/api/job")).said.work.diagnose.sentence, "");
  const found = (await bench.ask("GET", "/api/work/diagnose")).said.recordings[0];
  assert.strictEqual(found.speed_found, "sure");
  // 65 km/h on a needle that reads 1.2 % high, against 64.1 km/h in the log.
  assert.ok(Math.abs(found.speed_scale - 1) < 0.01, String(found.speed_scale));
});

test("the bench is cleared for the next car", async () => {
  await page.getByRole("button", { name: "Clear the bench" }).click();
  await page.waitForSelector("#trouble:not([hidden])");
  await page.getByLabel("Yes, all of it").check();
  await page.getByRole("button", { name: "Clear the bench" }).click();
  await page.waitForFunction(() => document.querySelector("#car-title").textContent === "No car yet" && document.querySelector("#cases").textContent.includes("Heron"));
  assert.strictEqual(await page.locator(".card").count(), 0);
  assert.deepStrictEqual(bench.inside().filter((name) => name !== "car.toml"), []);
});

test("nothing was asked of any other machine, and nothing went wrong behind the scenes", async () => {
  assert.deepStrictEqual(asked.filter((url) => !url.startsWith(bench.url + "/") && !url.startsWith("blob:")), []);
  // Refusals that the tests above provoke show as failed loads.
  assert.deepStrictEqual(wrong.filter((text) => !/status of (409|415)/.test(text)), []);
});
