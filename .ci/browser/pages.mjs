// Opens pages in Debian's Chromium and watches what they do.
import { chromium } from "playwright-core";
import { pathToFileURL } from "node:url";
import { statSync } from "node:fs";

export const launch = () =>
  chromium.launch({
    executablePath: process.env.CHROMIUM || "/usr/bin/chromium",
    args: ["--no-sandbox", "--disable-gpu", "--disable-quic", "--font-render-hinting=none"],
  });

/** A page at a width; `faults` collects what it must not do. */
export async function open(browser, file, { width = 1280, script = true } = {}, faults = []) {
  const context = await browser.newContext({
    viewport: { width, height: 900 },
    javaScriptEnabled: script,
    offline: true,
  });
  const page = await context.newPage();
  const home = pathToFileURL(file).href;
  page.on("console", (message) => {
    if (["error", "warning"].includes(message.type())) faults.push(`console: ${message.text()}`);
  });
  page.on("pageerror", (error) => faults.push(`script: ${error.message}`));
  page.on("request", (request) => {
    if (request.url().split("#")[0] !== home) faults.push(`asked for ${request.url()}`);
  });
  await page.goto(home, { waitUntil: "load" });
  return page;
}

/** Bytes of the file, and milliseconds until it had loaded. */
export async function cost(page, file) {
  const loaded = await page.evaluate(() => performance.getEntriesByType("navigation")[0].loadEventEnd);
  return { bytes: statSync(file).size, loaded };
}
