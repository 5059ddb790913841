// Every column of numbers, named value and figure leads to how it was computed.
import { existsSync, readFileSync } from "node:fs";
import { dirname, join } from "node:path";

/** Numbers without a link, and links that lead nowhere. */
export async function unexplained(page, file) {
  const found = await page.evaluate(() => {
    const faults = [];
    for (const table of document.querySelectorAll("table")) {
      if (table.caption?.querySelector("a.how")) continue;
      for (const head of table.querySelectorAll("th.num[scope=col]")) {
        if (!head.querySelector("a.how")) faults.push(`column without a link: ${table.caption?.textContent}: ${head.textContent}`);
      }
    }
    for (const name of document.querySelectorAll("dl dt")) {
      if (!name.querySelector("a.how")) faults.push(`value without a link: ${name.textContent}`);
    }
    for (const caption of document.querySelectorAll(".figures figcaption")) {
      if (!caption.querySelector("a.how")) faults.push(`figure without a link: ${caption.textContent.slice(0, 60)}`);
    }
    const links = [...document.querySelectorAll("a[href]")].map((a) => a.getAttribute("href"));
    return { faults, links, how: document.querySelectorAll("a.how").length };
  });
  const targets = new Map();
  for (const link of new Set(found.links)) {
    const [path, id] = link.split("#");
    const target = path ? join(dirname(file), path) : file;
    if (!existsSync(target)) {
      found.faults.push(`link to no file: ${link}`);
    } else if (id) {
      if (!targets.has(target)) targets.set(target, readFileSync(target, "utf8"));
      if (!targets.get(target).includes(` id="${id}"`)) found.faults.push(`link to nowhere: ${link}`);
    }
  }
  return found;
}
