// Marks and words of the page's language; a point and English where there is no page.
const words =
  typeof document === "undefined"
    ? { decimal: ".", under: "under 1 %", over: "over 99 %" }
    : document.getElementById("what-if-form").dataset;
const spoken = (value, decimals) => shown(value, decimals).replace(".", words.decimal);

// The form of the page. `row` says in the words of the table what a scenario brings.
function row(region, asked) {
  const scenario = {
    price_per_kg: asked.price === null ? region.price_per_kg : asked.price,
    wage_per_hour: asked.wage === null ? region.wage_per_hour : asked.wage,
    yield_level: asked.level,
    seasons: asked.seasons,
  };
  const found = whatIf(region.what_if, scenario);
  return [
    spoken(found.advised_per_tree, 2),
    spoken(found.present_per_tree, 2),
    spoken(found.gain_per_tree, 2),
    spoken(found.gain_per_ha, 0),
    chance(found.odds_of_loss),
  ];
}

// The options that ask the command for the same digits.
function options(asked) {
  const own = (name, value) => (value === null ? "" : `--${name} ${value} `);
  const prices = own("price", asked.price) + own("wage", asked.wage);
  return `${prices}--yield-level ${asked.level} --seasons ${asked.seasons}`;
}

// No chance is certain.
function chance(odds) {
  if (odds < 0.005) return words.under;
  if (odds > 0.995) return words.over;
  return spoken(100 * odds, 0) + " %";
}

if (typeof document !== "undefined") {
  const form = document.getElementById("what-if-form");
  const regions = JSON.parse(document.getElementById("what-if-data").textContent);
  const command = document.getElementById("what-if-command");
  const update = () => {
    if (!form.checkValidity()) return;
    const field = (name) => form.elements[name].value.trim();
    const own = (name) => (field(name) === "" ? null : Number(field(name)));
    const asked = {
      price: own("price"),
      wage: own("wage"),
      level: Number(field("level")),
      seasons: Number(field("seasons")),
    };
    const { before, after } = command.dataset;
    command.textContent = `${before} ${options(asked)} ${after}`;
    form.querySelectorAll("tbody tr").forEach((line, at) => {
      row(regions[at], asked).forEach((text, column) => {
        line.cells[column + 1].textContent = text;
      });
    });
  };
  form.addEventListener("input", update);
  form.addEventListener("submit", (event) => event.preventDefault());
  form.hidden = false;
  update();
}
