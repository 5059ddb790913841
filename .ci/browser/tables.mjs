// Sorting and filtering of long tables, by keyboard.

/** Tries every long table; the number of them and what went wrong. */
export async function tryTables(page) {
  const faults = [];
  const turn = (open) =>
    page.evaluate((open) => {
      document.querySelectorAll("details").forEach((details) => (details.open = open));
    }, open);
  await turn(true);
  const frames = await page.locator(".scroll.long").all();
  for (const frame of frames) {
    const name = await frame.getAttribute("aria-label");
    const fault = (text) => faults.push(`${name}: ${text}`);
    const tools = frame.locator("xpath=preceding-sibling::*[1]");
    const rows = () => frame.locator("tbody tr:not([hidden])").allInnerTexts();
    const first = await rows();
    const heads = frame.locator("thead th");
    const column = (await heads.count()) - 1;
    const button = heads.nth(column).locator("button");
    const values = () =>
      frame.locator(`tbody tr:not([hidden]) > :nth-child(${column + 1})`).allInnerTexts();
    const numeric = (await heads.nth(column).getAttribute("class")) === "num";
    const read = (text) => {
      const digits = text.replace(/\s/g, "").replace("−", "-").match(/-?\d+(\.\d+)?(e-?\d+)?/);
      return digits ? Number(digits[0]) : null;
    };
    for (const direction of ["ascending", "descending"]) {
      await button.focus();
      await page.keyboard.press("Enter");
      if ((await heads.nth(column).getAttribute("aria-sort")) !== direction) fault(`not sorted ${direction}`);
      const shown = (await values()).map(read);
      const known = shown.filter((value) => value !== null);
      const turn = direction === "ascending" ? 1 : -1;
      if (numeric && known.some((value, at) => at > 0 && turn * (value - known[at - 1]) < 0)) {
        fault(`rows are not ${direction}: ${known.slice(0, 8).join(" ")}`);
      }
      if (numeric && shown.slice(0, known.length).includes(null)) fault("a row without a number stands among those with one");
    }
    await page.keyboard.press("Space");
    if ((await heads.nth(column).getAttribute("aria-sort")) !== null) fault("sorting cannot be undone");
    if ((await rows()).join() !== first.join()) fault("the first order does not come back");
    const wanted = first[Math.floor(first.length / 2)].split(/\s/)[0];
    await tools.locator("input").focus();
    await page.keyboard.type(wanted);
    const left = (await rows()).length;
    const expected = first.filter((row) => row.toLowerCase().includes(wanted.toLowerCase())).length;
    const said = await tools.locator("output").innerText();
    if (left !== expected || left === 0) fault(`'${wanted}' leaves ${left} rows, expected ${expected}`);
    if (!said.startsWith(`${left} `) || !said.includes(`${first.length}`)) fault(`the count says '${said}'`);
    await tools.locator("input").fill("");
    if ((await rows()).length !== first.length) fault("an empty filter hides rows");
  }
  const short = await page.locator(".scroll:not(.long) .sort").count();
  if (short > 0) faults.push(`${short} sort buttons on short tables`);
  await turn(false);
  return { tables: frames.length, faults };
}
