// What if the price, the wage, the yield level or the horizon were other? The same operations in the
// same order as the command, so that both show the same digits. No other code is needed.
function whatIf(region, scenario) {
  const season = region.seasons[scenario.seasons - 1];
  const money = scenario.price_per_kg * region.price_factor * scenario.yield_level;
  const cost = (practice) =>
    (practice.hours * scenario.wage_per_hour + practice.other) * scenario.seasons;
  const advised = money * season.advised_kg - cost(region.advised);
  const present = money * season.present_kg - cost(region.present);
  const extra = cost(region.advised) - cost(region.present);
  const gain = advised - present;
  return {
    advised_per_tree: advised,
    present_per_tree: present,
    gain_per_tree: gain,
    gain_per_ha: region.trees_per_ha === null ? null : gain * region.trees_per_ha,
    odds_of_loss: money > 0 ? shareBelow(season.gain_quantiles_kg, extra / money) : extra > 0 ? 1 : 0,
  };
}

// Share of draws below a value, by straight lines between equally spaced quantiles.
function shareBelow(quantiles, value) {
  const last = quantiles.length - 1;
  if (!(value > quantiles[0])) return 0;
  if (value > quantiles[last]) return 1;
  let below = 0;
  while (below + 1 < last && quantiles[below + 1] < value) below += 1;
  const step = quantiles[below + 1] - quantiles[below];
  return (below + (value - quantiles[below]) / step) / last;
}

// A number with its decimals, half away from zero, a point and no thousands mark.
function shown(value, decimals) {
  if (value === null || !Number.isFinite(value)) return "";
  let scale = 1;
  for (let i = 0; i < decimals; i += 1) scale *= 10;
  const whole = Math.floor(Math.abs(value) * scale + 0.5);
  if (!(whole < 9007199254740992)) return "";
  const digits = String(whole).padStart(decimals + 1, "0");
  const cut = digits.length - decimals;
  const sign = value < 0 && whole > 0 ? "-" : "";
  return sign + digits.slice(0, cut) + (decimals > 0 ? "." + digits.slice(cut) : "");
}
