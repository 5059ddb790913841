//! A proposal of zones in words and as a table.

use records::counted;
use review::Zones;

/// The proposal for people: evidence first, then the zones.
#[must_use]
pub fn text(zones: &Zones) -> String {
    let mut out = format!("{}\n", zones.reason);
    out.push_str(&format!(
        "From {}. Evidence by number of zones (the larger, the better):\n",
        counted(zones.places as u64, "distinct place", "distinct places")
    ));
    out.push_str("  zones  silhouette    gap  its standard error\n");
    for count in &zones.counts {
        let silhouette = count.silhouette.map_or("–".to_owned(), |mean| format!("{mean:.2}"));
        out.push_str(&format!(
            "  {:>5}  {silhouette:>10}  {:>5.2}  {:>18.2}\n",
            count.groups, count.gap, count.gap_std_error
        ));
    }
    if let Some(index) = zones.linkage_agreement {
        out.push_str(&format!(
            "Agreement with another method (average linkage; adjusted Rand index, 1 the same): {index:.2}\n"
        ));
    }
    for zone in &zones.zones {
        let stability = zone.stability.map_or("not known".to_owned(), |own| format!("{own:.2}"));
        out.push_str(&format!(
            "\n{} ({}), stability under resampling {stability} (under 0.6: not to be trusted)\n  {}\n",
            zone.id,
            counted(zone.blocks.len() as u64, "place", "places"),
            zone.blocks.join(", ")
        ));
        for feature in &zone.features {
            let range = match (feature.low, feature.high) {
                (Some(low), Some(high)) => format!(" ({low:.1} to {high:.1})"),
                _ => String::new(),
            };
            out.push_str(&format!("  {}: {:.1}{range}\n", feature.name, feature.mean));
        }
    }
    if let Some(otherwise) = zones.otherwise_in_words() {
        out.push_str(&format!("\nGrouped otherwise by the other method: {otherwise}\n"));
    }
    for (what, names) in [
        ("In no zone, a feature being missing", &zones.unassigned),
        ("The same everywhere, so telling nothing", &zones.constant_features),
    ] {
        if !names.is_empty() {
            out.push_str(&format!("\n{what}: {}\n", names.join(", ")));
        }
    }
    out
}

/// Place, zone and stability, one row per place.
#[must_use]
pub fn csv(zones: &Zones) -> String {
    let mut out = "place,zone,stability\n".to_owned();
    for zone in &zones.zones {
        let stability = zone.stability.map_or(String::new(), |own| own.to_string());
        for block in &zone.blocks {
            out.push_str(&report::csv_line([block, &zone.id, &stability]));
        }
    }
    out
}
