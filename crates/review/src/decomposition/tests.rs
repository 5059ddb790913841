use super::*;
use crate::columns::Labels;
use crate::simulated::Orchard;

/// The mean marginal value over all 720 orders, every order walked and every background row visited.
fn by_orders(
    scale: Scale,
    constant: f64,
    own: &[f64; PARTS],
    background: &[[f64; PARTS]],
) -> [f64; PARTS] {
    let value = |known: &[bool; PARTS]| {
        let of_row = |other: &[f64; PARTS]| {
            let sum: f64 = (0..PARTS).map(|k| if known[k] { own[k] } else { other[k] }).sum();
            scale.back(constant + sum)
        };
        background.iter().map(of_row).sum::<f64>() / background.len() as f64
    };
    let mut shares = [0.0; PARTS];
    let mut orders = vec![vec![]];
    for _ in 0..PARTS {
        orders = orders
            .iter()
            .flat_map(|order: &Vec<usize>| {
                (0..PARTS).filter(|k| !order.contains(k)).map(|k| [order.clone(), vec![k]].concat())
            })
            .collect();
    }
    assert_eq!(orders.len(), 720);
    for order in orders {
        let mut known = [false; PARTS];
        for k in order {
            let before = value(&known);
            known[k] = true;
            shares[k] += (value(&known) - before) / 720.0;
        }
    }
    shares
}

#[test]
fn shares_are_the_mean_over_all_orders() {
    let own = [0.2, -0.1, 0.15, -0.3, 0.4, 0.05];
    let background = [[0.0, 0.1, -0.2, 0.3, -0.1, 0.1], [-0.2, 0.0, 0.1, 0.0, 0.2, -0.3], [0.1; 6]];
    for scale in [Scale::Log, Scale::SquareRoot, Scale::Identity] {
        let (expected, shares) = attribute(scale, 1.3, &own, &background);
        let slow = by_orders(scale, 1.3, &own, &background);
        for (fast, slow) in shares.iter().zip(slow) {
            assert!((fast - slow).abs() < 1e-12, "{scale:?}");
        }
        let observed = scale.back(1.3 + own.iter().sum::<f64>());
        assert!((expected + shares.iter().sum::<f64>() - observed).abs() < 1e-12);
    }
}

#[test]
fn two_parts_under_a_logarithm_follow_the_textbook() {
    // Shapley for two players: phi_1 = (v1 - v0 + v12 - v2) / 2, on exp against a background of 0.
    let (a, b) = (0.4_f64, -0.7_f64);
    let (_, shares) = attribute(Scale::Log, 0.0, &[a, 0.0, b, 0.0, 0.0, 0.0], &[[0.0; 6]]);
    let first = 0.5 * ((a.exp() - 1.0) + ((a + b).exp() - b.exp()));
    assert!((shares[0] - first).abs() < 1e-14);
    assert!(shares[1].abs() < 1e-14 && shares[5].abs() < 1e-14);
}

/// Errors of a region's parts in the closed season against the truth, over the expectation. What the
/// region's trees share by chance belongs to the season by definition, so that true and found season
/// and unexplained parts are compared together.
fn errors_of_parts(orchard: &Orchard) -> Vec<([f64; PARTS - 1], [f64; PARTS - 2])> {
    let table = orchard.table();
    let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
    for crop in &review.earlier_crop {
        assert!(((crop.estimate - orchard.rho) / crop.std_error).abs() < 4.0, "{crop:?}");
    }
    let groups = review.groups(&table, Grouping::Region).unwrap();
    let region = |(region, group): (usize, &GroupReview)| {
        let rows = |closed: bool| -> Vec<[f64; PARTS]> {
            (0..table.len())
                .filter(|&row| table.region.code(row) == region)
                .filter(|&row| (table.season[row] == orchard.closed) == closed)
                .map(|row| orchard.parts[row])
                .collect()
        };
        let (own, background) = (rows(true), rows(false));
        // Truth: the same attribution applied to the parts that made the yields.
        let mut errors: [f64; PARTS] = std::array::from_fn(|k| group.parts[k].kg);
        for parts in &own {
            let (_, shares) = attribute(Scale::Log, orchard.constant, parts, &background);
            errors.iter_mut().zip(shares).for_each(|(e, s)| *e -= s / own.len() as f64);
        }
        errors[0] += errors[PARTS - 1];
        let std_error = |k: usize| group.parts[k].std_error_kg.unwrap() / group.expected_kg;
        (std::array::from_fn(|k| errors[k] / group.expected_kg), std::array::from_fn(std_error))
    };
    groups.iter().enumerate().map(region).collect()
}

#[test]
fn parts_of_simulated_orchards_are_found_without_bias() {
    let errors: Vec<_> = (0..12).map(|seed| errors_of_parts(&Orchard::simulate(seed))).collect();
    for part in 0..PARTS - 1 {
        // Regions of an orchard share its age curve, so an orchard is one observation.
        let means: Vec<f64> =
            errors.iter().map(|own| own.iter().map(|(e, _)| e[part]).sum::<f64>() / 3.0).collect();
        let n = means.len() as f64;
        let mean = means.iter().sum::<f64>() / n;
        let sd = (means.iter().map(|m| (m - mean).powi(2)).sum::<f64>() / (n - 1.0)).sqrt();
        let z = mean / (sd / n.sqrt());
        // An earlier row knows its tree from one season fewer than the closed one does: a five-hundredth
        // of the yield is allowed for what the logarithm makes of that.
        assert!(
            z.abs() < 3.5 || mean.abs() < 0.002,
            "{:?}: mean error {mean:.4}, z {z:.2}",
            Part::ALL[part]
        );
        // Trees of a region age together, so that age and season are the least sure.
        let most = if part < 2 { 0.035 } else { 0.005 };
        assert!(sd < most, "{:?}: {sd}", Part::ALL[part]);
    }
    for part in [Part::Season, Part::Age, Part::Pruning] {
        let k = part as usize;
        let z: Vec<f64> = errors.iter().flatten().map(|(e, s)| e[k] / s[k]).collect();
        let spread = (z.iter().map(|z| z * z).sum::<f64>() / z.len() as f64).sqrt();
        // 36 regions of 12 orchards: chi-squared limits of 0.1 % on 12 degrees of freedom.
        assert!(spread > 0.42 && spread < 1.66, "{part:?} {spread}");
    }
}

#[test]
fn groups_of_every_grouping_add_up_to_the_same_whole() {
    let orchard = Orchard::simulate(3);
    let table = orchard.table();
    let review = SeasonReview::new(&table, &orchard.seasons(), Scale::SquareRoot).unwrap();
    let total = |grouping: Grouping, part: usize| -> f64 {
        let groups = review.groups(&table, grouping).unwrap();
        groups.iter().map(|g| g.trees as f64 * g.parts[part].kg).sum()
    };
    for grouping in Grouping::ALL {
        for part in 0..PARTS {
            let (own, whole) = (total(grouping, part), total(Grouping::Region, part));
            assert!((own - whole).abs() < 1e-8 * whole.abs().max(1.0));
        }
    }
    let blocks = review.groups(&table, Grouping::Block).unwrap();
    assert!(blocks.iter().all(|block| block.unexplained_std_error_kg > 0.0));
}

#[test]
fn pruning_taken_out_of_the_yields_leaves_the_other_parts() {
    // Counterfactual refit: the same orchard had nobody pruned any tree. The pruning part must
    // vanish, the season must stay, and the mean yields must differ by what pruning did.
    let orchard = Orchard::simulate(29);
    let table = orchard.table();
    let unpruned = orchard.unpruned_yields();
    let none = vec![0.0; table.len()];
    let other = TreeSeasons { yield_kg: &unpruned, intensity: &none, ..table };
    let with = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
    let without = SeasonReview::new(&other, &orchard.seasons(), Scale::Log).unwrap();
    let pairs = with
        .groups(&table, Grouping::Region)
        .unwrap()
        .into_iter()
        .zip(without.groups(&other, Grouping::Region).unwrap());
    for (with, without) in pairs {
        assert_eq!(without.parts[Part::Pruning as usize].kg, 0.0);
        let season =
            |group: &GroupReview| group.parts[Part::Season as usize].kg / group.expected_kg;
        assert!(
            (season(&with) - season(&without)).abs() < 0.03,
            "{} {}",
            season(&with),
            season(&without)
        );
        let change = (with.observed_kg / with.expected_kg)
            / (without.observed_kg / without.expected_kg)
            - 1.0;
        let part = with.parts[Part::Pruning as usize].kg / with.expected_kg;
        assert!((change - part).abs() < 0.04, "{}: {change} against {part}", with.label);
    }
}

#[test]
fn a_pruning_effect_from_a_yield_model_is_taken_as_given() {
    let orchard = Orchard::simulate(5);
    let given: Vec<f64> = orchard.parts.iter().map(|p| p[Part::Pruning as usize]).collect();
    let table = TreeSeasons { pruning_effect: Some(&given), ..orchard.table() };
    let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
    assert!(review.left_out.is_empty(), "{:?}", review.left_out);
    let tree = &review.trees[0];
    let sum: f64 = tree.parts_kg.iter().sum();
    assert!((tree.expected_kg + sum - tree.observed_kg).abs() < 1e-9);
}

#[test]
fn the_expectation_is_the_plain_mean_of_earlier_seasons() {
    let orchard = Orchard::simulate(8);
    let table = orchard.table();
    let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
    let earlier: Vec<f64> = (0..table.len())
        .filter(|&r| table.region.code(r) == 0 && table.season[r] < orchard.closed)
        .map(|r| table.yield_kg[r])
        .collect();
    let mean = earlier.iter().sum::<f64>() / earlier.len() as f64;
    let group = &review.groups(&table, Grouping::Region).unwrap()[0];
    assert!((group.expected_kg - mean).abs() < 1e-9);
}

/// A fifth of the first region's trees bear a fifth of a crop in the closed season and nothing before: set apart they
/// leave the numbers of the others as if they were not there, and counted they pass for a poor season.
#[test]
fn trees_that_come_into_bearing_are_no_poor_season() {
    let mut orchard = Orchard::simulate(8);
    let young: Vec<bool> = {
        let table = orchard.table();
        (0..table.len()).map(|row| table.block.code(row) < 2).collect()
    };
    let closed = orchard.table().season.iter().map(|&season| season == orchard.closed);
    let closed: Vec<bool> = closed.collect();
    for row in (0..young.len()).filter(|&row| young[row]) {
        orchard.yield_kg[row] *= if closed[row] { 0.2 } else { f64::NAN };
    }
    let group = |orchard: &Orchard, too_young: Option<&[bool]>| {
        let table = TreeSeasons { too_young, ..orchard.table() };
        let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
        review.groups(&table, Grouping::Region).unwrap()[0].clone()
    };
    let (counted, apart) = (group(&orchard, None), group(&orchard, Some(&young)));
    assert_eq!((counted.trees, apart.trees), (200, 160));
    assert!(counted.difference_kg < apart.difference_kg - 0.1 * apart.expected_kg);
    for row in (0..young.len()).filter(|&row| young[row]) {
        orchard.yield_kg[row] = f64::NAN;
    }
    let without = group(&orchard, None);
    assert!((without.difference_kg - apart.difference_kg).abs() < 1e-9);
    for (own, other) in apart.parts.iter().zip(&without.parts) {
        assert!((own.kg - other.kg).abs() < 1e-9, "{:?}", own.part);
    }
}

#[test]
fn what_cannot_be_reviewed_is_said() {
    let orchard = Orchard::simulate(1);
    let table = orchard.table();
    let in_year = |year: i32| -> BTreeMap<String, i32> {
        table.region.labels.iter().map(|r| (r.clone(), year)).collect()
    };
    assert_eq!(SeasonReview::new(&table, &in_year(1990), Scale::Log), Err(ReviewError::NoSeason));
    let first = table.season.iter().copied().min().unwrap();
    assert_eq!(
        SeasonReview::new(&table, &in_year(first), Scale::Log),
        Err(ReviewError::NoEarlierSeason)
    );
    let short = TreeSeasons { yield_kg: &[], ..table };
    assert!(matches!(
        SeasonReview::new(&short, &orchard.seasons(), Scale::Log),
        Err(ReviewError::Length { column: "yield_kg", .. })
    ));
    let wrong = vec![9_u32; table.len()];
    let codes = Labels { codes: &wrong, labels: table.region.labels };
    assert!(matches!(
        SeasonReview::new(&TreeSeasons { region: codes, ..table }, &orchard.seasons(), Scale::Log),
        Err(ReviewError::Code { column: "region", code: 9 })
    ));
}

#[test]
fn two_seasons_and_missing_ages_are_enough() {
    // One earlier season: no tree level can be told from chance, block levels can.
    let orchard = Orchard::simulate(2);
    let mut table = orchard.table();
    let keep: Vec<usize> =
        (0..table.len()).filter(|&r| table.season[r] >= orchard.closed - 1).collect();
    let floats = |c: &[f64]| keep.iter().map(|&r| c[r]).collect::<Vec<_>>();
    let codes = |l: Labels<'_>| keep.iter().map(|&r| l.codes[r]).collect::<Vec<_>>();
    let (yields, intensity) = (floats(table.yield_kg), floats(table.intensity));
    let unknown = vec![f64::NAN; keep.len()];
    let season: Vec<i32> = keep.iter().map(|&r| table.season[r]).collect();
    let all = [table.region, table.site, table.block, table.tree, table.variety].map(codes);
    table.region.codes = &all[0];
    table.site.codes = &all[1];
    table.block.codes = &all[2];
    table.tree.codes = &all[3];
    table.variety.codes = &all[4];
    table = TreeSeasons {
        season: &season,
        yield_kg: &yields,
        intensity: &intensity,
        age_years: &unknown,
        trees_per_ha: &unknown,
        ..table
    };
    let review = SeasonReview::new(&table, &orchard.seasons(), Scale::Log).unwrap();
    assert!(review.earlier_crop.is_empty());
    let ages = review.groups(&table, Grouping::Age).unwrap();
    assert_eq!((ages.len(), ages[0].label.as_str()), (1, ""));
    assert_eq!(ages[0].parts[Part::Age as usize].kg, 0.0);
    let blocks = review.groups(&table, Grouping::Block).unwrap();
    assert!(blocks.iter().any(|block| block.parts[Part::Level as usize].kg.abs() > 0.05));
}
