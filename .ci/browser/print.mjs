// Printing: each figure stands whole on one sheet of A4.
import { execFileSync } from "node:child_process";
import { mkdtempSync, readFileSync, rmSync } from "node:fs";
import { tmpdir } from "node:os";
import { join } from "node:path";

/** Marks the corners of every figure, prints, and looks for the marks on the sheets. */
export async function printed(page) {
  const count = await page.evaluate(() => {
    const figures = [...document.querySelectorAll("figure, .map")].filter((figure) => !figure.closest("details"));
    figures.forEach((figure, number) => {
      figure.style.position = "relative";
      for (const [corner, place] of [["a", "left:0;top:0"], ["b", "right:0;bottom:0"]]) {
        const mark = document.createElement("span");
        mark.textContent = `q${number}${corner}q`;
        mark.setAttribute("style", `position:absolute;${place};font:1px monospace;line-height:1;color:#fefefe`);
        figure.append(mark);
      }
    });
    return figures.length;
  });
  const folder = mkdtempSync(join(tmpdir(), "printed-"));
  try {
    const [pdf, words] = [join(folder, "page.pdf"), join(folder, "page.html")];
    await page.pdf({ path: pdf, preferCSSPageSize: true, printBackground: true });
    execFileSync("pdftotext", ["-bbox", pdf, words]);
    return { count, ...read(readFileSync(words, "utf8"), count) };
  } finally {
    rmSync(folder, { recursive: true });
  }
}

function read(text, count) {
  const marks = new Map();
  let sheet = 0;
  let size = [0, 0];
  for (const line of text.split("\n")) {
    const page = line.match(/<page width="([\d.]+)" height="([\d.]+)"/);
    if (page) {
      sheet += 1;
      size = [Number(page[1]), Number(page[2])];
    }
    const word = line.match(/xMin="([-\d.]+)" yMin="([-\d.]+)" xMax="([-\d.]+)" yMax="([-\d.]+)">.*?(q\d+[ab]q)/);
    if (word) {
      const [left, top, right, bottom] = word.slice(1, 5).map(Number);
      const inside = left >= 0 && top >= 0 && right <= size[0] && bottom <= size[1];
      marks.set(word[5], { sheet, inside });
    }
  }
  const faults = [];
  for (let number = 0; number < count; number += 1) {
    const [a, b] = ["a", "b"].map((corner) => marks.get(`q${number}${corner}q`));
    if (!a || !b) faults.push(`figure ${number + 1}: a corner is on no sheet`);
    else if (a.sheet !== b.sheet) faults.push(`figure ${number + 1}: from sheet ${a.sheet} to ${b.sheet}`);
    else if (!a.inside || !b.inside) faults.push(`figure ${number + 1}: reaches out of sheet ${a.sheet}`);
  }
  return { sheets: sheet, faults };
}
