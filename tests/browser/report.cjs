// Opens the report of a run in headless Chromium, as a grower would from disk, and uses it.
//
//   NODE_PATH=<prefix>/node_modules node tests/browser/report.cjs RUN_FOLDER [PICTURES_FOLDER]
//
// Needs playwright-core and axe-core (`.ci/papers` installs them) and a Chromium (CHROMIUM, else /usr/bin/chromium).
"use strict";
const assert = require("node:assert/strict");
const fs = require("node:fs");
const path = require("node:path");
const { chromium } = require("playwright-core");

const [run, pictures] = process.argv.slice(2);
const address = "file://" + path.resolve(run, "report.html");

/** A comma-separated file of ours as objects. */
function table(name) {
  const cells = (line) => [...line.matchAll(/("(?:[^"]|"")*"|[^,]*)(,|$)/g)].map((m) => m[1].replace(/^"|"$/g, "").replaceAll('""', '"'));
  const [head, ...lines] = fs.readFileSync(path.join(run, "tables", name + ".csv"), "utf8").trim().split("\n");
  const names = cells(head);
  return lines.map((line) => Object.fromEntries(cells(line).map((cell, i) => [names[i], cell])));
}

async function opened(browser, width, height) {
  const page = await browser.newPage({ viewport: { width, height } });
  const asked = [];
  const said = [];
  page.on("request", (r) => r.url() !== address && asked.push(r.url()));
  page.on("console", (m) => ["error", "warning"].includes(m.type()) && said.push(m.text()));
  page.on("pageerror", (e) => said.push(String(e)));
  await page.goto(address, { waitUntil: "load" });
  return { page, asked, said };
}

async function shows(page, words) {
  const text = await page.locator("#numbers").innerText();
  for (const word of words) assert.ok(text.includes(word), `"${word}" is not among: ${text}`);
}

async function layers(page) {
  const boxes = page.locator("input[data-for]");
  assert.ok((await boxes.count()) >= 6, "there are layers to switch");
  for (let i = 0; i < (await boxes.count()); i++) {
    const box = boxes.nth(i);
    const id = await box.getAttribute("data-for");
    const before = await box.isChecked();
    const seen = () => page.evaluate((l) => document.querySelector(`g[data-layer="${l}"]`).getAttribute("display"), id);
    assert.equal(await seen(), before ? "inline" : "none", id);
    await box.click();
    assert.equal(await seen(), before ? "none" : "inline", `${id} does not switch`);
    await box.click();
  }
}

async function numbers(page) {
  const blocks = table("block_register");
  const rows = table("rows");
  const largest = blocks.reduce((a, b) => (Number(b.area_ha) > Number(a.area_ha) ? b : a));
  // A click on the land of the block, where its label or its middle is, found by asking the page what lies there.
  const at = await page.evaluate((id) => {
    const shape = document.querySelector(`[data-block="${id}"]`);
    shape.scrollIntoView({ block: "center" });
    const box = shape.getBoundingClientRect();
    for (const [fx, fy] of [[0.5, 0.5], [0.4, 0.4], [0.6, 0.6], [0.3, 0.6], [0.6, 0.3]]) {
      const p = [box.left + fx * box.width, box.top + fy * box.height];
      if (document.elementFromPoint(...p) === shape) return p;
    }
    return null;
  }, largest.block);
  assert.ok(at, "the block can be hit");
  await page.mouse.click(...at);
  await shows(page, ["Block " + largest.name, largest.area_ha, largest.length_mean_m, largest.bearing_true_deg, "Row "]);
  const number = (await page.locator("#numbers h3").first().innerText()).match(/Row (\d+)/)[1];
  const row = rows.find((r) => r.block === largest.block && r.number === number);
  await shows(page, [row.length_m, row.drains_to]);
  const next = page.getByRole("button", { name: "next row" });
  if (await next.isEnabled()) {
    await next.click();
    await shows(page, [`Row ${Number(number) + 1} of`]);
  }
  await page.selectOption("#pick-block", { index: 1 });
  await shows(page, ["Block " + blocks[0].name, blocks[0].area_ha]);
  const drains = table("drains");
  if (drains.length) {
    await page.selectOption("#pick-drain", { index: 1 });
    await shows(page, [Object.values(drains[0])[0]]);
  }
}

async function zooming(page) {
  const box = () => page.locator("#map svg").first().getAttribute("viewBox");
  const whole = await box();
  await page.locator("#map").focus();
  await page.keyboard.press("+");
  const near = await box();
  assert.notEqual(near, whole, "plus zooms");
  await page.keyboard.press("ArrowRight");
  assert.notEqual(await box(), near, "arrows move");
  await page.keyboard.press("0");
  assert.equal((await box()).split(" ").map(Number).join(), whole.split(" ").map(Number).join(), "0 shows all");
  await page.getByRole("button", { name: "Zoom in" }).click();
  const before = await box();
  const map = await page.locator("#map svg").first().boundingBox();
  await page.mouse.move(map.x + map.width / 2, map.y + map.height / 2);
  await page.mouse.down();
  await page.mouse.move(map.x + map.width / 2 - 60, map.y + map.height / 2 - 20, { steps: 4 });
  await page.mouse.up();
  assert.notEqual(await box(), before, "dragging moves");
  await page.getByRole("button", { name: "whole map" }).click();
}

async function accessible(page) {
  await page.evaluate(fs.readFileSync(require.resolve("axe-core/axe.min.js"), "utf8"));
  const { violations } = await page.evaluate(() => window.axe.run(document, { resultTypes: ["violations"] }));
  for (const v of violations) console.log(`axe ${v.impact}: ${v.id}, ${v.nodes.length} times, first ${v.nodes[0].html.slice(0, 120)}`);
  assert.deepEqual(violations.filter((v) => ["serious", "critical"].includes(v.impact)).map((v) => v.id), []);
}

(async () => {
  const browser = await chromium.launch({
    executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
    args: ["--no-sandbox", "--disable-gpu", "--disable-background-networking"],
  });
  try {
    for (const [name, width, height] of [["desktop", 1366, 900], ["phone", 390, 844]]) {
      const { page, asked, said } = await opened(browser, width, height);
      const ready = await page.evaluate(() => performance.getEntriesByType("navigation")[0].domContentLoadedEventEnd);
      const wide = await page.evaluate(() => document.documentElement.scrollWidth);
      assert.ok(wide <= width, `${name}: the page is ${wide} wide`);
      await layers(page);
      await numbers(page);
      await zooming(page);
      if (pictures) {
        fs.mkdirSync(pictures, { recursive: true });
        await page.evaluate(() => window.scrollTo(0, 0));
        await page.screenshot({ path: path.join(pictures, name + ".png"), fullPage: true });
      }
      await accessible(page);
      assert.deepEqual(asked, [], "the page asks for something");
      assert.deepEqual(said, [], "the page complains");
      console.log(`${name}: interactive after ${Math.round(ready)} ms; layers, clicks, zoom and axe pass`);
    }
  } finally {
    await browser.close();
  }
})().catch((error) => {
  console.error(error);
  process.exit(1);
});
