use super::*;
use rand::SeedableRng;
use rand_chacha::ChaCha12Rng;
use rand_distr::{Distribution, StandardNormal};

fn table(text: &str) -> Vec<Vec<&str>> {
    text.lines().skip(1).map(|line| line.split(',').collect()).collect()
}

/// Efron and Morris (1975), table 1, as rows of single at-bats.
fn batting() -> (Vec<String>, Vec<f64>, Vec<u32>, Vec<f64>) {
    let rows = table(include_str!("../../../../tests/reference/review/batting.csv"));
    let names = rows.iter().map(|row| row[0].to_owned()).collect();
    let rest = rows.iter().map(|row| row[2].parse().unwrap()).collect();
    let mut values = Vec::new();
    let mut codes = Vec::new();
    for (row, code) in rows.iter().zip(0..) {
        let hits: usize = row[1].parse().unwrap();
        values.extend((0..45).map(|k| f64::from(u8::from(k < hits))));
        codes.extend([code; 45]);
    }
    (names, values, codes, rest)
}

#[test]
fn batting_averages_shrink_as_lme4_shrinks_them_and_predict_better() {
    let (names, values, codes, rest) = batting();
    let unit = Labels { codes: &codes, labels: &names };
    let ranking = rank(&values, unit, None, None, &RankSettings::default()).unwrap();
    // Witness: lme4 (batting.R), 10 digits printed; optimisers agree to about 1e-5 of a spread.
    let modes = table(include_str!("../../../../tests/reference/review/batting-lme4.csv"));
    for row in &modes {
        let own = ranking.units.iter().find(|own| own.unit == row[0]).unwrap();
        assert!((own.mode - row[1].parse::<f64>().unwrap()).abs() < 2e-6, "{own:?}");
    }
    let spreads =
        table(include_str!("../../../../tests/reference/review/batting-lme4-spreads.csv"));
    assert!((ranking.unit_sd - spreads[0][1].parse::<f64>().unwrap()).abs() < 5e-6);
    assert!((ranking.residual_sd - spreads[1][1].parse::<f64>().unwrap()).abs() < 5e-6);
    // Second witness, closed form of balanced data: factor 1 - MSW / MSB.
    let mean = values.iter().sum::<f64>() / 810.0;
    let means: Vec<f64> =
        (0..18).map(|k| values[k * 45..(k + 1) * 45].iter().sum::<f64>() / 45.0).collect();
    let between = means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() * 45.0 / 17.0;
    let within = means.iter().map(|m| 45.0 * m * (1.0 - m)).sum::<f64>() / (18.0 * 44.0);
    let factor = 1.0 - within / between;
    let first = ranking.units.iter().find(|own| own.unit == names[0]).unwrap();
    assert!((first.mode - factor * (means[0] - mean)).abs() < 2e-6);
    // Shrunk averages come much nearer to the rest of the season, as published; the ratio is computed
    // here from the published averages.
    let loss = |value: &dyn Fn(&Ranked) -> f64| -> f64 {
        let of = |(name, rest): (&String, &f64)| {
            let own = ranking.units.iter().find(|own| own.unit == *name).unwrap();
            (mean + value(own) - rest).powi(2)
        };
        names.iter().zip(&rest).map(of).sum()
    };
    assert!(loss(&|own| own.shrunk) < loss(&|own| own.raw) / 2.5);
    // Chance may have made the best player best: the odds say so.
    assert!(first.p_top_quarter < 0.8 && first.p_top_quarter > 0.3, "{}", first.p_top_quarter);
}

#[test]
fn a_small_unit_does_not_top_by_luck() {
    // 40 blocks, five of them with three trees: plain means put small blocks at both ends.
    let mut top_raw = 0;
    let mut top_shrunk = 0;
    let mut covered = 0;
    for seed in 0..20 {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let names: Vec<String> = (0..40).map(|k| format!("b{k:02}")).collect();
        let mut values = Vec::new();
        let mut codes = Vec::new();
        let mut truth = Vec::new();
        for block in 0..40 {
            truth.push(0.15 * normal());
            for _ in 0..if block < 5 { 3 } else { 60 } {
                values.push(1.5 + truth[block] + 0.5 * normal());
                codes.push(block as u32);
            }
        }
        let unit = Labels { codes: &codes, labels: &names };
        let settings = RankSettings { draws: 500, seed, ..RankSettings::default() };
        let ranking = rank(&values, unit, None, None, &settings).unwrap();
        let small = |own: &Ranked| own.rows == 3;
        let best = ranking.units.iter().max_by(|a, b| a.raw.total_cmp(&b.raw)).unwrap();
        top_raw += usize::from(small(best));
        top_shrunk += usize::from(small(&ranking.units[0]));
        let mean = truth.iter().sum::<f64>() / 40.0;
        covered += ranking
            .units
            .iter()
            .filter(|own| {
                let block: usize = own.unit[1..].parse().unwrap();
                let own_truth = truth[block] - mean;
                own.low <= own_truth && own_truth <= own.high
            })
            .count();
        let sum: f64 = ranking.units.iter().map(|own| own.p_top_quarter).sum();
        assert!((sum - 10.0).abs() < 1e-9);
    }
    assert!(top_raw >= 8, "{top_raw}");
    assert!(top_shrunk <= 2, "{top_shrunk}");
    // 800 intervals of 95 %: binomial limits of 4 standard errors below.
    assert!(covered as f64 / 800.0 > 0.95 - 4.0 * (0.95_f64 * 0.05 / 800.0).sqrt(), "{covered}");
}

#[test]
fn regions_are_taken_out_and_draws_repeat() {
    let mut rng = ChaCha12Rng::seed_from_u64(4);
    let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
    let units: Vec<String> = (0..12).map(|k| format!("b{k:02}")).collect();
    let regions: Vec<String> = ["x", "y"].map(str::to_owned).to_vec();
    let trees: Vec<String> = (0..120).map(|k| format!("t{k}")).collect();
    let (mut values, mut unit, mut region, mut tree) = (vec![], vec![], vec![], vec![]);
    for block in 0..12_u32 {
        let level = 0.2 * normal();
        for own in 0..10_u32 {
            let level = level + 0.3 * normal();
            for _ in 0..3 {
                values.push(5.0 * f64::from(block % 2) + level + 0.2 * normal());
                unit.push(block);
                region.push(block % 2);
                tree.push(block * 10 + own);
            }
        }
    }
    values[0] = f64::NAN;
    let run = || {
        rank(
            &values,
            Labels { codes: &unit, labels: &units },
            Some(Labels { codes: &tree, labels: &trees }),
            Some(Labels { codes: &region, labels: &regions }),
            &RankSettings { draws: 400, ..RankSettings::default() },
        )
        .unwrap()
    };
    let ranking = run();
    // With 5 kg between regions left in, the better half would be one region.
    let odd = |own: &&Ranked| own.unit[1..].parse::<u32>().unwrap() % 2 == 1;
    let better = ranking.units[..6].iter().filter(odd).count();
    assert!((1..=5).contains(&better), "{better}");
    assert!(ranking.units.iter().all(|own| own.raw.abs() < 1.0));
    assert_eq!(ranking, run());
    let few = rank(
        &values[..60],
        Labels { codes: &unit[..60], labels: &units },
        None,
        None,
        &RankSettings::default(),
    );
    assert_eq!(few, Err(ReviewError::TooFew { what: "a ranking", least: 3, found: 2 }));
}

/// Three blocks say little of the mean of all blocks that there might be, and much of each other.
#[test]
fn few_units_are_held_against_each_other() {
    let names: Vec<String> = ["a", "b", "c"].map(str::to_owned).to_vec();
    let (mut covered, mut widest) = (0_u32, 0.0_f64);
    for seed in 0..40 {
        let mut rng = ChaCha12Rng::seed_from_u64(seed);
        let mut normal = || -> f64 { StandardNormal.sample(&mut rng) };
        let truth: Vec<f64> = (0..3).map(|_| normal()).collect();
        let mut values = Vec::new();
        let mut codes = Vec::new();
        for (block, code) in truth.iter().zip(0_u32..) {
            values.extend((0..30).map(|_| 5.0 + block + normal()));
            codes.extend([code; 30]);
        }
        let unit = Labels { codes: &codes, labels: &names };
        let settings = RankSettings { draws: 500, seed, ..RankSettings::default() };
        let ranking = rank(&values, unit, None, None, &settings).unwrap();
        let mean = truth.iter().sum::<f64>() / 3.0;
        for own in &ranking.units {
            let block = names.iter().position(|name| *name == own.unit).unwrap();
            covered += u32::from((own.low..=own.high).contains(&(truth[block] - mean)));
            widest = widest.max(own.high - own.low);
        }
        assert!(ranking.units.iter().map(|own| own.shrunk).sum::<f64>().abs() < 1e-9);
    }
    // A mean of 30 less that of three such has standard error sqrt(2/3 / 30) = 0.149, its 95 % limits are 0.584
    // apart, give or take a tenth for the estimated spread and as much for the draws.
    assert!(widest < 0.584 * 1.3, "{widest}");
    // Of 120 intervals of 95 %, four binomial standard errors below.
    assert!(
        f64::from(covered) / 120.0 > 0.95 - 4.0 * (0.95_f64 * 0.05 / 120.0).sqrt(),
        "{covered}"
    );
}
