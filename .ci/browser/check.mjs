// Checks finished pages as readers meet them: node check.mjs [--book BOOK --program PROGRAM] PAGE...
import { basename } from "node:path";
import { parseArgs } from "node:util";
import { unexplained } from "./how.mjs";
import { cutLetters, overflow, smallLetters, unheard } from "./layout.mjs";
import { cost, launch, open } from "./pages.mjs";
import { printed } from "./print.mjs";
import { violations } from "./rules.mjs";
import { tryTables } from "./tables.mjs";
import { compare } from "./what_if.mjs";

const WIDTHS = [360, 768, 1280, 1600];
/** A page must open on an old phone: heaviest file in bytes, longest load in milliseconds here. */
const HEAVIEST = 3_000_000;
const SLOWEST = 10_000;
/** Width of A4 inside the widest margins of the style sheets (14 mm), CSS pixels. */
const SHEET = Math.round(((210 - 2 * 14) * 96) / 25.4);
/** Most faults of a kind that are printed. */
const MOST = 6;

const { values, positionals } = parseArgs({
  allowPositionals: true,
  options: { book: { type: "string" }, program: { type: "string" }, settings: { type: "string", default: "12" } },
});

let failed = 0;
function report(name, what, faults) {
  failed += faults.length;
  for (const fault of faults.slice(0, MOST)) console.log(`  FAILED ${name}, ${what}: ${fault}`);
  if (faults.length > MOST) console.log(`  and ${faults.length - MOST} more`);
}

async function check(browser, file) {
  const name = basename(file);
  const said = [];
  const faults = [];
  for (const width of WIDTHS) {
    for (const script of [true, false]) {
      const page = await open(browser, file, { width, script }, faults);
      report(name, `${width} px, script ${script ? "on" : "off"}`, await overflow(page));
      if (!script) {
        const rows = await page.locator("tbody tr:visible").count();
        const hidden = await page.locator("main form:visible, .sort, .tools").count();
        if (hidden > 0) report(name, "script off", [`${hidden} controls that do nothing`]);
        if (rows === 0 && (await page.locator("table").count()) > 0) report(name, "script off", ["no table has rows"]);
      }
      if (script && (width === 360 || width === 1280)) {
        report(name, `rules at ${width} px`, await violations(page));
        const letters = await smallLetters(page);
        report(name, `letters at ${width} px`, letters.faults);
        report(name, `drawings at ${width} px`, await cutLetters(page));
        if (width === 360 && letters.least < Infinity) said.push(`smallest letter of a drawing ${letters.least.toFixed(1)} px`);
      }
      await page.context().close();
    }
  }
  const page = await open(browser, file, {}, faults);
  const { bytes, loaded } = await cost(page, file);
  report(name, "weight", bytes > HEAVIEST ? [`${bytes} bytes`] : []);
  report(name, "load", loaded > SLOWEST ? [`${Math.round(loaded)} ms`] : []);
  report(name, "drawings", await unheard(page));
  const links = await unexplained(page, file);
  report(name, "links", name.startsWith("crew_sheets") ? links.faults.filter((fault) => fault.startsWith("link")) : links.faults);
  const tables = await tryTables(page);
  report(name, "tables", tables.faults);
  if (values.book && (await page.locator("#what-if-form").count()) > 0) {
    const answer = await compare(page, values.program, values.book, Number(values.settings));
    report(name, "what-if", answer.faults);
    said.push(`what-if asked in ${answer.count} settings, ${answer.cells} cells beside the command`);
  }
  // What is wider than the sheet would be printed smaller as a whole, and so escape the next check.
  await page.setViewportSize({ width: SHEET, height: 900 });
  await page.emulateMedia({ media: "print" });
  report(name, "print", await overflow(page));
  await page.emulateMedia({ media: null });
  await page.setViewportSize({ width: WIDTHS[2], height: 900 });
  const paper = await printed(page);
  report(name, "print", paper.faults);
  report(name, "behaviour", [...new Set(faults)]);
  await page.context().close();
  said.unshift(
    `${(bytes / 1024).toFixed(0)} KiB`, `loaded in ${Math.round(loaded)} ms`, `${links.how} links to how it was computed`,
    `${tables.tables} long tables`, `${paper.count} figures whole on ${paper.sheets} sheets`,
  );
  console.log(`${name}: ${said.join(", ")}`);
}

const browser = await launch();
try {
  for (const file of positionals) await check(browser, file);
} finally {
  await browser.close();
}
if (failed > 0) {
  console.log(`${failed} faults`);
  process.exitCode = 1;
}
