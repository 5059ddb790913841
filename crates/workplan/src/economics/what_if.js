// What if the price, the wage, the yield level or the horizon were other? The same operations in the
// same order as the command, so that both show the same digits. No other code is needed.
function whatIf(region, scenario) {
  const season = region.seasons[scenario.seasons - 1];
  const money = scenario.price_per_kg * region.price_factor * scenario.yield_level;
  const cost = (practice) =>
    (practice.hours * scenario.wage_per_hour + practice.other) * scenario.seasons;
  const extra = cost(region.advised) - cost(region.present);
  const present = money * season.present_kg - cost(region.present);
  const gain = money * season.gain_kg - extra;
  return {
    advised_per_tree: present + gain,
    present_per_tree: present,
    gain_per_tree: gain,
    gain_per_ha: region.trees_per_ha === null ? null : gain * region.trees_per_ha,
    odds_of_loss: money > 0 ? shareBelow(season, extra / money) : extra > 0 ? 1 : 0,
  };
}

// Share of draws below a value, by straight lines between equally spaced quantiles and through the
// share that was counted.
function shareBelow(season, value) {
  const quantiles = season.gain_quantiles_kg;
  const counted = season.counted;
  if (counted !== null && counted.kg === value) return counted.below;
  const last = quantiles.length - 1;
  if (!(value > quantiles[0])) return 0;
  if (value > quantiles[last]) return 1;
  let below = 0;
  while (below + 1 < last && quantiles[below + 1] < value) below += 1;
  let low = [quantiles[below], below / last];
  let high = [quantiles[below + 1], (below + 1) / last];
  if (counted !== null) {
    if (counted.kg > low[0] && counted.kg < value) low = [counted.kg, counted.below];
    else if (counted.kg > value && counted.kg < high[0]) high = [counted.kg, counted.below];
  }
  return low[1] + ((value - low[0]) / (high[0] - low[0])) * (high[1] - low[1]);
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
