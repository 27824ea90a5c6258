"use strict";
// Makes the pictures of README: node screenshots.js PROGRAM FOLDER. Run by samples/screenshots.
const path = require("node:path");
const { top, startBench, startBrowser } = require("./bench.js");

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

main(...process.argv.slice(2)).catch((wrong) => {
  console.error(wrong.message);
  process.exit(1);
});
