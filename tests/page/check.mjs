// Opens a review page in headless Chromium, works it, and fails on what a reviewer would stumble
// over: a complaint of the browser, an empty picture, a dead key, anything fetched.
//
//   node tests/page/check.mjs PAGE.html [FOLDER FOR PICTURES]

import { createRequire } from "node:module";
import { mkdtempSync } from "node:fs";
import { tmpdir } from "node:os";
import { join, resolve } from "node:path";
import { pathToFileURL } from "node:url";

// Installed by .ci/run, beside the other things that are built.
const require = createRequire(new URL("../../target/node/", import.meta.url));
const puppeteer = require("puppeteer-core");

const page_file = resolve(process.argv[2]);
const pictures = process.argv[3];
const faults = [];
const hold = (holds, what) => {
  console.log(`  ${holds ? "ok  " : "FAIL"} ${what}`);
  if (!holds) faults.push(what);
};

const browser = await puppeteer.launch({
  executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
  headless: true,
  userDataDir: mkdtempSync(join(tmpdir(), "page-")),
  args: [
    "--no-sandbox", "--disable-gpu", "--disable-quic", "--no-first-run", "--use-gl=angle",
    "--use-angle=swiftshader", "--enable-unsafe-swiftshader", "--disable-background-networking",
    "--disable-component-update", "--disable-sync",
  ],
});
try {
  const page = await browser.newPage();
  await page.setViewport({ width: 1280, height: 900 });
  const said = [];
  const asked = [];
  page.on("console", (message) => {
    if (["error", "warn"].includes(message.type()) && !/GPU stall|swiftshader|software/i.test(message.text())) said.push(message.text());
  });
  page.on("pageerror", (error) => said.push(String(error)));
  page.on("request", (request) => {
    if (!request.url().startsWith("data:") && request.url() !== pathToFileURL(page_file).href) asked.push(request.url());
  });
  await page.goto(pathToFileURL(page_file).href, { waitUntil: "load" });
  await new Promise((done) => setTimeout(done, 500));

  const shades = () => page.evaluate(() => {
    const part = document.getElementById("part");
    const copy = document.createElement("canvas");
    [copy.width, copy.height] = [part.width, part.height];
    const pen = copy.getContext("2d");
    pen.drawImage(part, 0, 0);
    const data = pen.getImageData(0, 0, copy.width, copy.height).data;
    const seen = new Set();
    let drawn = 0, sum = 0;
    for (let i = 0; i < data.length; i += 4) {
      const code = (data[i] << 16) | (data[i + 1] << 8) | data[i + 2];
      if (code !== 0xffffff) { drawn++; sum = (sum * 31 + code) >>> 0; }
      seen.add(code);
    }
    return { colours: seen.size, part: drawn / (data.length / 4), sum };
  });
  const start = await shades();
  hold(start.colours > 8 && start.part > 0.03 && start.part < 0.9, `the part is drawn: ${start.colours} colours on ${(start.part * 100).toFixed(0)} % of the view`);

  // By keys alone: Tab to the view, turn it, show something else.
  let reached = false;
  for (let i = 0; i < 8 && !reached; i++) {
    await page.keyboard.press("Tab");
    reached = await page.evaluate(() => document.activeElement.id === "part");
  }
  hold(reached, "Tab reaches the view");
  const state = () => page.evaluate(() => ({ ...document.getElementById("part").dataset, says: document.getElementById("says").textContent }));
  const before = await state();
  await page.keyboard.press("ArrowRight");
  await new Promise((done) => setTimeout(done, 200));
  const turned = await state();
  const after = await shades();
  hold(turned.turn !== before.turn && after.sum !== start.sum, "an arrow key turns the part");
  hold(turned.says !== before.says && turned.says.length > 10, "and it is told in words");
  await page.keyboard.press("2");
  await new Promise((done) => setTimeout(done, 200));
  hold((await state()).show === "asked", "the key 2 shows the requested colours");
  await page.keyboard.press("Tab");
  await page.keyboard.press("Enter");
  hold((await state()).show === "printed", "a button works by keys");
  await page.keyboard.press("Tab");
  hold(await page.evaluate(() => document.activeElement.tagName === "BUTTON"), "focus goes on to the next button");

  const sane = await page.evaluate(() => ({
    lang: document.documentElement.lang,
    title: document.title,
    headings: [...document.querySelectorAll("h1, h2")].map((h) => Number(h.tagName[1])),
    unnamed: [...document.querySelectorAll("img, canvas, svg, button, [role=img]")].filter((e) => !(e.alt || e.getAttribute("aria-label") || e.textContent.trim())).length,
    tables: [...document.querySelectorAll("table")].every((t) => t.caption && [...t.querySelectorAll("th")].every((h) => h.scope)),
    ids: (() => { const all = [...document.querySelectorAll("[id]")].map((e) => e.id); return all.length === new Set(all).size; })(),
    broken: [...document.images].filter((i) => !(i.complete && i.naturalWidth > 0)).length,
    wide: document.documentElement.scrollWidth <= window.innerWidth,
  }));
  hold(sane.lang === "en" && sane.title.length > 3, "it has a language and a title");
  hold(sane.headings[0] === 1 && sane.headings.filter((h) => h === 1).length === 1, "one heading leads the others");
  hold(sane.unnamed === 0, "every picture and button has a name");
  hold(sane.broken === 0, "every picture can be shown");
  hold(sane.tables, "tables have captions and scopes");
  hold(sane.ids, "no id stands twice");
  hold(sane.wide, "it does not scroll sideways");
  await page.setViewport({ width: 390, height: 800 });
  await new Promise((done) => setTimeout(done, 200));
  hold(await page.evaluate(() => document.documentElement.scrollWidth <= window.innerWidth + 1), "nor on a narrow screen");
  await page.setViewport({ width: 1280, height: 900 });
  if (pictures) {
    await new Promise((done) => setTimeout(done, 300));
    await page.screenshot({ path: join(pictures, "page.png"), fullPage: true });
  }
  for (const format of ["A4", "Letter"]) {
    const options = { format, printBackground: true };
    if (pictures) options.path = join(pictures, `${format}.pdf`);
    const pdf = await page.pdf(options);
    const pages = (Buffer.from(pdf).toString("latin1").match(/\/Type\s*\/Page\b/g) || []).length;
    hold(pages >= 1 && pages <= 12, `it prints on ${pages} pages of ${format}`);
  }
  hold(said.length === 0, `the browser complains of nothing${said.length ? `: ${said.join(" | ")}` : ""}`);
  hold(asked.length === 0, `nothing is fetched${asked.length ? `: ${asked.join(" ")}` : ""}`);
} finally {
  await browser.close();
}
console.log(faults.length ? `${faults.length} faults` : "the page holds");
process.exit(faults.length ? 1 : 0);
