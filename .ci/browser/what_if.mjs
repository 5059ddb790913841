// The form of the page against the command, to the last shown digit.
import { execFile } from "node:child_process";
import { promisify } from "node:util";

const run = promisify(execFile);
/** Commands that run side by side. */
const SIDE_BY_SIDE = 2;

/** Settings inside the ranges that the form takes, the same in every run; empty means the region's own. */
function settings(count, seasons) {
  let state = 20270101;
  const random = () => {
    state = (Math.imul(state, 1664525) + 1013904223) >>> 0;
    return state / 2 ** 32;
  };
  const between = (low, high) => (low + random() * (high - low)).toFixed(3);
  return Array.from({ length: count }, (_, number) => ({
    price: number % 4 === 3 ? "" : between(0.2, 3),
    wage: number % 4 === 2 ? "" : between(0.1, 4),
    level: between(0.4, 1.8),
    seasons: String(1 + Math.floor(random() * seasons)),
  }));
}

/** The options of a setting; the page's command under the form names the same. */
function optionsOf(setting) {
  return [
    ...(setting.price ? ["--price", String(Number(setting.price))] : []),
    ...(setting.wage ? ["--wage", String(Number(setting.wage))] : []),
    "--yield-level", String(Number(setting.level)),
    "--seasons", setting.seasons,
  ];
}

async function asked(program, book, language, setting) {
  const options = optionsOf(setting);
  const { stdout } = await run(program, ["--language", language, "whatif", book, "--format", "json", ...options]);
  return JSON.parse(stdout).map((row) => [row.name, ...row.shown]);
}

/** Differences between the page and the command. */
export async function compare(page, program, book, count) {
  const form = page.locator("#what-if-form");
  const seasons = Number(await form.locator("[name=seasons]").getAttribute("max"));
  const language = await page.locator("html").getAttribute("lang");
  const all = settings(count, seasons);
  const faults = [];
  let cells = 0;
  for (let at = 0; at < all.length; at += SIDE_BY_SIDE) {
    const some = all.slice(at, at + SIDE_BY_SIDE);
    const answers = await Promise.all(some.map((setting) => asked(program, book, language, setting)));
    for (const [number, setting] of some.entries()) {
      for (const [name, value] of Object.entries(setting)) {
        await form.locator(`[name=${name}]`).fill(value);
      }
      const shown = await form
        .locator("tbody tr")
        .evaluateAll((rows) => rows.map((row) => [...row.cells].map((cell) => cell.textContent)));
      cells += shown.flat().length;
      const named = await page.locator("#what-if-command").textContent();
      if (!named.includes(` ${optionsOf(setting).join(" ")} `)) {
        faults.push(`${JSON.stringify(setting)}: the page names the command ${named}`);
      }
      if (JSON.stringify(shown) !== JSON.stringify(answers[number])) {
        faults.push(`${JSON.stringify(setting)}: page ${JSON.stringify(shown)}, command ${JSON.stringify(answers[number])}`);
      }
    }
  }
  if (cells === 0) faults.push("the form has no rows");
  return { count: all.length, cells, faults };
}
