// Runs the page's own what-if on made-up regions and scenarios; the command must show the same digits.
import { readFileSync, writeFileSync } from "node:fs";

const [source, out] = process.argv.slice(2);
const { whatIf, shown } = new Function(readFileSync(source, "utf8") + "; return { whatIf, shown };")();

// Park and Miller (1988), Commun. ACM 31:1192-1201.
let state = 20260;
const uniform = () => (state = (state * 16807) % 2147483647) / 2147483647;
const between = (low, high, decimals) => Number((low + (high - low) * uniform()).toFixed(decimals));

const cases = [];
for (let i = 0; i < 45; i += 1) {
  const seasons = [];
  for (let n = 1; n <= 3; n += 1) {
    const quantiles = [between(-2, 1, 4)];
    for (let k = 0; k < 100; k += 1) {
      // Ties as well: draws may repeat.
      quantiles.push(Number((quantiles[k] + (uniform() < 0.2 ? 0 : between(0, 0.05 * n, 4))).toFixed(4)));
    }
    // A share that was counted stands between two quantiles, in some cases.
    const at = Math.floor(100 * uniform());
    const kg = quantiles[at] + uniform() * (quantiles[at + 1] - quantiles[at]);
    seasons.push({
      present_kg: n * between(2, 8, 12),
      gain_kg: n * between(-1, 3, 12),
      gain_quantiles_kg: quantiles,
      counted: i % 4 === 0 ? null : { kg, below: (at + uniform()) / 100 },
    });
  }
  const region = {
    region: `r${i}`,
    price_factor: i % 3 === 0 ? 1 : between(0.8, 1.2, 9),
    trees_per_ha: i % 5 === 0 ? null : between(60, 700, 6),
    advised: { hours: between(0, 0.5, 9), other: between(-0.2, 0.5, 9) },
    present: { hours: between(0, 0.5, 9), other: between(-0.2, 0.5, 9) },
    seasons,
  };
  const scenario = {
    price_per_kg: i % 20 === 7 ? 0 : between(0.3, 3, 2),
    wage_per_hour: between(0.2, 4, 2),
    yield_level: between(0.5, 1.5, 2),
    seasons: 1 + (i % 3),
  };
  const found = whatIf(region, scenario);
  cases.push({
    region,
    scenario,
    shown: {
      advised_per_tree: shown(found.advised_per_tree, 2),
      present_per_tree: shown(found.present_per_tree, 2),
      gain_per_tree: shown(found.gain_per_tree, 2),
      gain_per_ha: shown(found.gain_per_ha, 0),
      odds_of_loss_pct: shown(100 * found.odds_of_loss, 1),
    },
  });
}
const numbers = [0, -0.004, 0.005, -0.005, 1.005, 2.675, -2.5, 1e15, 1e17, 0.1 + 0.2, 123456.785, -0.5, 99.995];
writeFileSync(out, JSON.stringify({ cases, numbers: numbers.map((v) => [v, shown(v, 0), shown(v, 2)]) }) + "\n");
console.log("node", process.version);
