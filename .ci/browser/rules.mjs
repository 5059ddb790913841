// The accessibility rules of axe-core, all of them.
import { createRequire } from "node:module";
import { readFileSync } from "node:fs";

const source = readFileSync(createRequire(import.meta.url).resolve("axe-core/axe.min.js"), "utf8");

/** Violations as lines: rule, what it asks, and the places. */
export async function violations(page) {
  await page.evaluate(() => {
    document.querySelectorAll("details").forEach((details) => (details.open = true));
  });
  await page.evaluate(source);
  const found = await page.evaluate(() => axe.run(document, { resultTypes: ["violations"] }));
  if (found.passes.length < 10) return [`only ${found.passes.length} rules had something to look at`];
  return found.violations.map(({ id, help, nodes }) => {
    const places = nodes.slice(0, 3).map((node) => node.target.join(" ") + ": " + node.html.slice(0, 160));
    return `${id} (${nodes.length}): ${help}\n      ${places.join("\n      ")}`;
  });
}
