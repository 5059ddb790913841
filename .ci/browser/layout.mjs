// What a reader sees: nothing wider than the screen, and letters of figures large enough.

/** Smallest letters in a figure, CSS pixels. */
const SMALLEST = 11;

/** Elements that push the page wider than the screen. */
export async function overflow(page) {
  return page.evaluate(() => {
    const width = document.documentElement.clientWidth;
    if (document.scrollingElement.scrollWidth <= width) return [];
    const wide = [...document.querySelectorAll("body *")].filter(
      (element) =>
        !element.closest("svg") && !(matchMedia("screen").matches && element.closest(".scroll")) && element.getBoundingClientRect().right > width + 1,
    );
    return [`wider than ${width} px: ${wide.slice(0, 4).map((e) => e.outerHTML.slice(0, 120)).join(" | ")}`];
  });
}

/** Texts of drawings that are drawn smaller than people can read. */
export async function smallLetters(page) {
  return page.evaluate((smallest) => {
    const faults = [];
    let least = Infinity;
    for (const text of document.querySelectorAll("svg text, svg tspan")) {
      if (!text.textContent.trim() || !text.getClientRects().length) continue;
      const { a, b } = text.getScreenCTM();
      const scale = Math.hypot(a, b);
      const size = scale * parseFloat(getComputedStyle(text).fontSize);
      least = Math.min(least, size);
      if (size < smallest) faults.push(`${size.toFixed(1)} px: ${text.textContent.trim().slice(0, 40)}`);
    }
    const more = faults.length > 5 ? [`and ${faults.length - 5} more`] : [];
    return { least, faults: [...faults.slice(0, 5), ...more] };
  }, SMALLEST);
}

/** Texts of drawings that reach out of their drawing, where they would be cut. */
export async function cutLetters(page) {
  return page.evaluate(() =>
    [...document.querySelectorAll("svg text")]
      .filter((text) => {
        if (!text.textContent.trim() || !text.getClientRects().length) return false;
        const [inner, outer] = [text, text.closest("svg")].map((e) => e.getBoundingClientRect());
        return (
          inner.left < outer.left - 1 || inner.right > outer.right + 1 ||
          inner.top < outer.top - 2 || inner.bottom > outer.bottom + 2
        );
      })
      .map((text) => `text cut by its drawing: ${text.textContent.trim()} (${text.closest("svg").querySelector("title")?.textContent})`)
      .slice(0, 8),
  );
}

/** Drawings without name, description or a table that says the same. */
export async function unheard(page) {
  return page.evaluate(() => {
    const faults = [];
    for (const svg of document.querySelectorAll("svg")) {
      if (svg.closest("[aria-hidden=true]")) continue;
      const name = svg.querySelector("title")?.textContent.trim();
      const words = svg.querySelector("desc")?.textContent.trim();
      if (svg.getAttribute("role") !== "img" || !name) faults.push(`drawing without a name: ${svg.outerHTML.slice(0, 100)}`);
      // A drawing of a crew sheet says in its name what to do; a figure also needs what it shows.
      if (!words && svg.closest(".figures, .map")) faults.push(`drawing without a description: ${name}`);
    }
    for (const figure of document.querySelectorAll(".figures figure")) {
      if (!figure.querySelector("table tbody tr")) faults.push(`figure without its table: ${figure.textContent.slice(0, 60)}`);
    }
    return faults;
  });
}
