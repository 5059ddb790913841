use super::*;
use records::Book;

/// A record book with these regions.
fn with_economics(regions: &str) -> String {
    format!(
        "[book]\nname = \"x\"\n[economics]\ncurrency = \"c\"\nprice_per_kg = 1.0\nwage_per_hour = 1.0\n{regions}"
    )
}

struct Iris {
    raw: Vec<Vec<f64>>,
    standard: Vec<Vec<f64>>,
    groups: [Vec<usize>; 4],
}

/// Fisher's iris as scikit-learn ships it, with its groups of three (clusters.py).
fn iris() -> Iris {
    let text = include_str!("../../../../tests/reference/review/iris.csv");
    let rows: Vec<Vec<f64>> = text
        .lines()
        .skip(1)
        .map(|line| line.split(',').map(|cell| cell.parse().unwrap()).collect())
        .collect();
    let raw: Vec<Vec<f64>> = rows.iter().map(|row| row[..4].to_vec()).collect();
    let n = raw.len() as f64;
    let mut standard = raw.clone();
    for j in 0..4 {
        let mean = raw.iter().map(|row| row[j]).sum::<f64>() / n;
        let sd = (raw.iter().map(|row| (row[j] - mean).powi(2)).sum::<f64>() / n).sqrt();
        standard.iter_mut().for_each(|row| row[j] = (row[j] - mean) / sd);
    }
    let groups = [4, 5, 6, 7].map(|j| rows.iter().map(|row| row[j] as usize).collect());
    Iris { raw, standard, groups }
}

fn value(quantity: &str, groups: usize) -> f64 {
    let text = include_str!("../../../../tests/reference/review/clusters.csv");
    let wanted = format!("{quantity},{groups},");
    let line = text.lines().find(|line| line.starts_with(&wanted)).unwrap();
    line[wanted.len()..].parse().unwrap()
}

#[test]
fn groups_of_iris_are_those_of_scikit_learn() {
    let iris = iris();
    for (name, points, own) in [("raw", &iris.raw, 0), ("standard", &iris.standard, 2)] {
        for k in 2..=6 {
            let grouped = k_means(points, k, 100, 1).unwrap();
            // Both report the best of 100 starts; local minima differ by more than this.
            let within = value(&format!("{name}.within"), k);
            assert!((grouped.within / within - 1.0).abs() < 1e-4, "{name} {k} {}", grouped.within);
            let (mean, _) = silhouette(points, &grouped.codes).unwrap();
            assert!(
                (mean - value(&format!("{name}.silhouette"), k)).abs() < 5e-3,
                "{name} {k} {mean}"
            );
            let linkage = average_linkage(points, k);
            let (mean, _) = silhouette(points, &linkage).unwrap();
            assert!((mean - value(&format!("{name}.linkage_silhouette"), k)).abs() < 1e-9);
        }
        let three = k_means(points, 3, 100, 1).unwrap();
        assert_eq!(adjusted_rand_index(&three.codes, &iris.groups[own]), 1.0);
        let linkage = average_linkage(points, 3);
        assert_eq!(adjusted_rand_index(&linkage, &iris.groups[own + 1]), 1.0);
        let agreement = adjusted_rand_index(&three.codes, &linkage);
        assert!((agreement - value(&format!("{name}.agreement"), 3)).abs() < 1e-12);
        // Given the groups, the silhouette is arithmetic.
        let (mean, _) = silhouette(points, &iris.groups[own]).unwrap();
        assert!((mean - value(&format!("{name}.silhouette"), 3)).abs() < 1e-12);
    }
}

#[test]
fn the_gap_statistic_is_that_of_its_formula() {
    let iris = iris();
    let settings = ZoneSettings { references: 60, starts: 50, ..ZoneSettings::default() };
    let gaps = gap_statistic(&iris.standard, 4, &settings).unwrap();
    for own in &gaps {
        // 60 reference sets here, 500 in the reference: 4 standard errors of the difference.
        let sd = value("standard.gap_sd", own.groups);
        let error = sd * (1.0_f64 / 60.0 + 1.0 / 500.0).sqrt();
        let reference = value("standard.gap", own.groups);
        assert!((own.gap - reference).abs() < 4.0 * error + 0.005, "{own:?} {reference}");
    }
}

fn climate(blocks_by_zone: &[usize], spread: f64) -> Features {
    // Rain and temperature by month, altitude and a harvest across New Year, with a fixed wobble.
    let mut features = Features {
        blocks: Vec::new(),
        names: Vec::new(),
        families: Vec::new(),
        kinds: Vec::new(),
        values: Vec::new(),
    };
    for month in 1..=12 {
        features.names.push(format!("rain_{month:02}_mm"));
        features.families.push("rain".into());
    }
    for name in ["altitude_m", "harvest_from", "harvest_to", "flush_from", "flush_to"] {
        features.names.push(name.into());
        features.families.push(if name == "altitude_m" { "altitude" } else { "calendar" }.into());
    }
    let kind = |name: &String| match name.ends_with("from") || name.ends_with("to") {
        true => FeatureKind::DayOfYear,
        false => FeatureKind::Plain,
    };
    features.kinds = features.names.iter().map(kind).collect();
    let mut wobble = 1_u32;
    let mut next = || {
        wobble = wobble.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        spread * (f64::from(wobble >> 8) / f64::from(1 << 24) - 0.5)
    };
    for (zone, &blocks) in blocks_by_zone.iter().enumerate() {
        for block in 0..blocks {
            let z = zone as f64;
            let mut row: Vec<f64> = (0..12)
                .map(|m| 80.0 + 40.0 * (f64::from(m) * 0.5 + 2.0 * z).sin() + next())
                .collect();
            row.push(100.0 + 150.0 * z + 2.0 * next());
            // Day 358 to day 3 in the first zone: near each other across New Year.
            row.push((358.0 + 60.0 * z + 0.3 * next()).rem_euclid(365.25));
            row.push((70.0 + 60.0 * z + 0.3 * next()).rem_euclid(365.25));
            row.push((240.0 + 60.0 * z + 0.3 * next()).rem_euclid(365.25));
            row.push((300.0 + 60.0 * z + 0.3 * next()).rem_euclid(365.25));
            features.blocks.push(format!("z{zone}b{block}"));
            features.values.push(row);
        }
    }
    features
}

#[test]
fn zones_of_an_invented_climate_are_proposed_and_explained() {
    let mut features = climate(&[12, 9, 7], 10.0);
    features.values[3][0] = f64::NAN;
    // A block at the same place as another counts once.
    features.blocks.push("twin".into());
    features.values.push(features.values[0].clone());
    let zones = propose(&features, &ZoneSettings::default()).unwrap();
    assert_eq!((zones.zones.len(), zones.places), (3, 27), "{}", zones.reason);
    assert_eq!((zones.by_silhouette, zones.by_gap), (3, 3));
    assert_eq!(zones.unassigned, ["z0b3"]);
    assert_eq!(zones.linkage_agreement, Some(1.0));
    for zone in &zones.zones {
        assert!(zone.stability.unwrap() > 0.85, "{zone:?}");
        let first = &zone.blocks[0][..2];
        assert!(zone.blocks.iter().all(|block| block == "twin" || &block[..2] == first));
    }
    assert!(zones.zones[0].blocks.contains(&"twin".to_owned()));
    let text = zones.book_toml();
    assert!(text.contains("[regions.zone_1]") && text.contains("column `region`"), "{text}");
    // The circular mean of days on both sides of New Year is not in summer.
    let book = Book::parse(&with_economics(&text)).unwrap();
    let harvest = book.regions["zone_1"].harvest.unwrap();
    let text_of_window = serde_json::to_string(&harvest).unwrap();
    assert!(text_of_window.contains("12-2"), "{text_of_window}");
    assert_eq!(zones, propose(&features, &ZoneSettings::default()).unwrap());
}

#[test]
fn one_climate_is_one_zone() {
    let features = climate(&[30], 40.0);
    let zones = propose(&features, &ZoneSettings::default()).unwrap();
    assert_eq!(zones.by_gap, 1);
    assert_eq!(zones.zones.len(), 1, "{}", zones.reason);
    assert_eq!(zones.linkage_agreement, None);
}

#[test]
fn too_few_places_and_bad_settings_are_refused() {
    let features = climate(&[2], 10.0);
    assert!(matches!(
        propose(&features, &ZoneSettings::default()),
        Err(ReviewError::TooFew { least: 3, found: 2, .. })
    ));
    let features = climate(&[5], 10.0);
    let settings = ZoneSettings { groups: Some(9), ..ZoneSettings::default() };
    assert!(matches!(
        propose(&features, &settings),
        Err(ReviewError::Setting { name: "groups", .. })
    ));
    let mut short = climate(&[5], 10.0);
    short.values[2].pop();
    assert!(matches!(propose(&short, &ZoneSettings::default()), Err(ReviewError::Length { .. })));
}

#[test]
fn a_harvest_that_is_not_known_stays_open() {
    let mut features = climate(&[6, 6], 10.0);
    features.names[13] = "flowering_day".into();
    let text = propose(&features, &ZoneSettings::default()).unwrap().book_toml();
    assert!(text.contains("# harvest = [\"MM-DD\", \"MM-DD\"]"), "{text}");
    // The book is refused until somebody has filled it in.
    assert!(Book::parse(&with_economics(&text)).is_err());
}

/// The adjusted Rand index from pairs of points, as scikit-learn's `adjusted_rand_score` reckons it from its pair
/// confusion matrix (Hubert and Arabie 1985, J. Classif. 2:193-218).
fn from_pairs(a: &[usize], b: &[usize]) -> f64 {
    let (mut both, mut first, mut second, mut neither) = (0.0, 0.0, 0.0, 0.0);
    for i in 0..a.len() {
        for j in i + 1..a.len() {
            let pair = match (a[i] == a[j], b[i] == b[j]) {
                (true, true) => &mut both,
                (true, false) => &mut first,
                (false, true) => &mut second,
                (false, false) => &mut neither,
            };
            *pair += 1.0;
        }
    }
    let (tp, fn_, fp, tn): (f64, f64, f64, f64) = (both, first, second, neither);
    2.0 * (tp * tn - fn_ * fp) / ((tp + fn_) * (fn_ + tn) + (tp + fp) * (fp + tn))
}

#[test]
fn one_place_apart_and_two_zones_merged_are_these_indices() {
    let own: Vec<usize> =
        [5, 3, 5, 3, 3].iter().enumerate().flat_map(|(zone, n)| vec![zone; *n]).collect();
    let mut apart = own.clone();
    apart[4] = 5;
    let merged: Vec<usize> = apart.iter().map(|&zone| if zone == 4 { 2 } else { zone }).collect();
    for (other, index) in [(&apart, 0.912_127_440_9), (&merged, 0.657_242_325_1)] {
        assert!((from_pairs(&own, other) - index).abs() < 1e-9);
        assert!((adjusted_rand_index(&own, other) - index).abs() < 1e-9);
    }
}

/// Zones and what is told of the other method's groups give its agreement back: nothing is left untold.
#[test]
fn what_is_grouped_otherwise_is_told_whole() {
    let mut differing = 0;
    let mut state = 7_u32;
    let mut next = || {
        state = state.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        f64::from(state >> 8) / f64::from(1 << 24)
    };
    for groups in [2, 3, 4, 5, 6] {
        for _ in 0..6 {
            let blocks: Vec<String> = (0..14).map(|place| format!("p{place}")).collect();
            let values = blocks.iter().map(|_| vec![next(), next().powi(3)]).collect();
            let features = Features {
                blocks: blocks.clone(),
                names: vec!["a".into(), "b".into()],
                families: vec!["a".into(), "b".into()],
                kinds: vec![FeatureKind::Plain; 2],
                values,
            };
            let few = ZoneSettings {
                groups: Some(groups),
                references: 2,
                resamples: 2,
                ..ZoneSettings::default()
            };
            let zones = propose(&features, &few).unwrap();
            let mut own = vec![0; blocks.len()];
            let mut other = vec![0; blocks.len()];
            let at = |name: &String| blocks.iter().position(|block| block == name).unwrap();
            for (code, zone) in zones.zones.iter().enumerate() {
                let merged =
                    zones.otherwise.iter().position(|group| group.zones.contains(&zone.id));
                for place in zone.blocks.iter().map(at) {
                    own[place] = code;
                    other[place] = merged.map_or(code, |group| 100 + group);
                }
            }
            for (group, told) in zones.otherwise.iter().enumerate() {
                told.places.iter().for_each(|place| other[at(place)] = 100 + group);
            }
            let told = from_pairs(&own, &other);
            assert!((told - zones.linkage_agreement.unwrap()).abs() < 1e-9, "{zones:?}");
            differing += usize::from(!zones.otherwise.is_empty());
            assert_eq!(zones.otherwise_in_words().is_some(), told < 1.0 - 1e-9);
        }
    }
    assert!(differing > 10, "{differing}");
}
