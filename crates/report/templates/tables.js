// Sorting and a filter for long tables. Without this script they are as complete, in their first order.
(() => {
  const words = document.currentScript.dataset;
  const numbers = new Intl.NumberFormat(document.documentElement.lang).formatToParts(12345678.5);
  const sign = (type) => (numbers.find((part) => part.type === type) || { value: "" }).value;
  const letters = new Intl.Collator(document.documentElement.lang, { numeric: true });
  const plain = (text) => text.normalize("NFD").replace(/\p{M}/gu, "").toLowerCase();

  // The first number of a text, as the page writes it; null without one.
  const number = (text) => {
    const digits = text
      .replace(/\s/g, "")
      .replaceAll(sign("group"), "")
      .replace(sign("decimal"), ".")
      .replaceAll("−", "-")
      .match(/[+-]?\d+(\.\d+)?(e[+-]?\d+)?/);
    return digits && Number(digits[0]);
  };

  // What a row is sorted by; null stands last in both directions.
  const value = (row, column, numeric) => {
    const cell = row.cells[column];
    const text = cell.textContent.trim();
    if (numeric) return number(text);
    return cell.dataset.key || (/[\p{L}\p{N}]/u.test(text) ? text : null);
  };

  const element = (name, properties) => Object.assign(document.createElement(name), properties);

  document.querySelectorAll(".scroll.long").forEach((frame) => {
    const table = frame.querySelector("table");
    const body = table.tBodies[0];
    const rows = [...body.rows];
    const texts = rows.map((row) => plain([...row.cells].map((cell) => cell.textContent).join(" ")));
    const heads = [...table.tHead.rows[0].cells];

    const label = element("label", { textContent: words.filter + " " });
    const field = element("input", { type: "search" });
    const shown = element("output");
    const tools = element("div", { className: "tools" });
    label.append(field);
    tools.append(label, shown);
    frame.before(tools);

    const filter = () => {
      const asked = plain(field.value).split(/\s+/).filter(Boolean);
      let left = 0;
      rows.forEach((row, at) => {
        row.hidden = !asked.every((word) => texts[at].includes(word));
        left += row.hidden ? 0 : 1;
      });
      shown.textContent = words.shown.replace("{shown}", left).replace("{all}", rows.length);
      tools.classList.toggle("filtered", left < rows.length);
    };

    const sort = (head, column, direction) => {
      heads.forEach((other) => other.removeAttribute("aria-sort"));
      const order = rows.map((row) => [row, value(row, column, head.classList.contains("num"))]);
      if (direction !== "none") {
        head.setAttribute("aria-sort", direction);
        const turn = direction === "ascending" ? 1 : -1;
        order.sort(([, a], [, b]) => {
          if (a === null || b === null) return (a === null) - (b === null);
          return turn * (typeof a === "number" ? a - b : letters.compare(a, b));
        });
      }
      body.append(...order.map(([row]) => row));
    };

    const next = { none: "ascending", ascending: "descending", descending: "none" };
    heads.forEach((head, column) => {
      const button = element("button", { type: "button", className: "sort" });
      button.setAttribute("aria-label", words.sort + " " + head.textContent.trim());
      button.addEventListener("click", () => {
        sort(head, column, next[head.getAttribute("aria-sort") || "none"]);
      });
      head.append(" ", button);
    });
    field.addEventListener("input", filter);
    filter();
  });
})();
