"use strict";
// Makes the pictures of README: node screenshots.js PROGRAM FOLDER. Run by samples/screenshots.
const path = require("node:path");
const { execFileSync } = require("node:child_process");
const fs = require("node:fs"), os = require("node:os");
const { top, startBench, startBrowser, startPhone } = require("./bench.js");
const { host } = require("./recording.js");

const runs = [["3", "drive", "65 km/h"], ["4", "drive", "71 km/h"], ["3", "coast", "67 km/h"]];

async function main(program, folder) {
  const bench = await startBench(program), browser = await startBrowser();
  const page = await browser.newPage({ viewport: { width: 1280, height: 860 } });
  await page.goto(bench.address);
  await page.waitForSelector("html[data-ready]");
  await page.selectOption("#examples", { label: "Tarn Heron 1300 (invented)" });
  await page.waitForFunction(() => document.querySelector("#car-title").textContent.includes("Heron"));
  await page.setInputFiles("#drop-before input", [1, 2, 3].map((i) => path.join(top, "samples/pinion_bearing/run" + i + ".m4a")));
  await page.waitForFunction(() => document.querySelectorAll("#list-before .wave").length === 3);
  const cards = page.locator("#list-before .card");
  for (let i = 0; i < 3; ++i) {
    await cards.nth(i).getByRole("combobox", { name: "Gear", exact: true }).selectOption(runs[i][0]);
    await cards.nth(i).getByRole("combobox", { name: "Throttle", exact: true }).selectOption(runs[i][1]);
    await cards.nth(i).getByRole("textbox", { name: "Speed", exact: true }).fill(runs[i][2]);
    await cards.nth(i).getByRole("textbox", { name: "Speed", exact: true }).press("Tab");
  }
  await page.waitForFunction(() => /all described/.test(document.querySelector("#at-runs").textContent));
  const shoot = async (of, file) => {
    await page.evaluate((id) => { document.activeElement.blur(); document.querySelector(id).scrollIntoView(); }, of);
    await page.screenshot({ path: path.join(folder, file) });
  };
  await shoot("#drop-before", "recordings.png");
  await page.getByRole("button", { name: "Find the noise" }).click();
  await page.waitForSelector("#report-diagnose a", { timeout: 120000 });
  await shoot("#verdict", "verdict.png");
  await browser.close();
  await bench.end();
}

// The recorder hears the sample's first run.
async function recorder(program, folder) {
  const own = fs.mkdtempSync(path.join(os.tmpdir(), "gearhark_pictures_"));
  const plan = path.join(own, "plan.json"), heard = path.join(own, "heard.wav");
  execFileSync(program, ["recorder", path.join(own, "recorder.html")]);
  execFileSync(program, ["plan", path.join(top, "models/heron_rear_transaxle.toml"), "--suspect", "pinion_head_bearing,input_bearing_front", "--fastest", "45mph", "--json", plan]);
  execFileSync("ffmpeg", ["-v", "error", "-i", path.join(top, "samples/pinion_bearing/run1.m4a"), heard]);
  const served = await host(own), phone = await startPhone(path.join(own, "profile"), heard, { viewport: { width: 390, height: 760 } });
  const page = phone.pages()[0], chrome = await phone.newCDPSession(page);
  await chrome.send("Emulation.setGeolocationOverride", { latitude: 0, longitude: 0, accuracy: 3, speed: 13.3 });
  for (const [name, planned] of [["recorder_free", false], ["recorder_run", true]]) {
    await page.goto(served.url + "/recorder.html");
    await page.waitForSelector("html[data-ready]");
    if (planned) await page.setInputFiles("#plan-file", plan);
    await page.check("#agree");
    await page.click("#begin");
    await page.waitForFunction(() => /by satellite/.test(document.querySelector("#speed").textContent));
    if (planned) await page.getByRole("button", { name: "Begin" }).click();
    else for (const key of ["3", "Pulling"]) await page.getByRole("button", { name: key, exact: true }).click();
    await page.waitForTimeout(3000);
    await page.screenshot({ path: path.join(folder, name + ".png") });
  }
  await phone.close();
  await served.end();
  fs.rmSync(own, { recursive: true });
}

async function all(program, folder) {
  await main(program, folder);
  await recorder(program, folder);
}

all(...process.argv.slice(2)).catch((wrong) => {
  console.error(wrong.message);
  process.exit(1);
});
