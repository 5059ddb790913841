//! The sentences of a region: what to do, and the figures beside it in words.

use crate::number::{DASH, chance, counted, date, fixed, percent, signed, span};
use advise::{
    Advised, Horizon, Interval, InversionKind, InversionSet, Lateness, Optimum, Present,
    RegionAdvice, RegionPicture,
};
use advise::{MoneyInterval, Verdict};
use std::collections::BTreeMap;
use words::{say, text};

/// What to do in the region, in one plain sentence, and a second where trees are pruned in turn and go on to be,
/// or where the window was over when the last record was made.
#[must_use]
pub fn sentence(region: &RegionAdvice) -> String {
    let goes_on = region.verdict == Verdict::Keep
        || region.verdict == Verdict::Trial && region.interim.is_none();
    let seasons = region.present.in_turn;
    let said = match region.over_since() {
        Some(day) => say!(
            "{} This window was over on {}, the day of the book's last record: it is too late to follow it for harvest {}. To plan for the harvest after, set season = {} under [options].",
            to_do(region),
            date(day),
            region.season,
            region.season + 1
        ),
        None => to_do(region),
    };
    if goes_on && seasons > 1 {
        say!(
            "{said} Trees are pruned in turn over {seasons} seasons: the work plan cuts those whose turn it is."
        )
    } else {
        said
    }
}

fn to_do(region: &RegionAdvice) -> String {
    // Who is to go on as at present, or to change for a time, must know from what.
    let now = now(&region.present);
    match (region.verdict, &region.advised) {
        (Verdict::Trial, _) if region.interim.is_some() => {
            region.interim.as_ref().map_or_else(String::new, |interim| {
                let meanwhile = if interim.intensity > 0.0 {
                    say!("remove {} of the canopy{}", percent(interim.intensity), when(interim))
                } else {
                    say!("leave the trees unpruned")
                };
                match waiting(region) {
                    Some(trials) => say!(
                        "{trials}; until it is read, {meanwhile} on other trees; at present: {now}."
                    ),
                    None => {
                        say!("Lay out a trial; until it is read, {meanwhile}; at present: {now}.")
                    }
                }
            })
        }
        (Verdict::Trial, _) | (_, None) => match waiting(region) {
            Some(trials) => say!("{trials}; go on as at present on other trees: {now}."),
            None => say!("Lay out a trial, and go on as at present: {now}."),
        },
        (Verdict::Prune, Some(advised)) if advised.intensity <= 0.0 => {
            say!("Leave the trees unpruned.")
        }
        (Verdict::Prune, Some(advised)) => {
            say!("Remove {} of the canopy{}.", percent(advised.intensity), when(advised))
        }
        (Verdict::Keep, Some(advised)) if advised.intensity <= 0.0 => {
            say!("Keep the present practice: leave the trees unpruned.")
        }
        (Verdict::Keep, Some(advised)) => say!(
            "Keep the present practice: about {}{}.",
            on_average(&region.present),
            when(advised)
        ),
    }
}

/// Present practice in few words.
fn now(present: &Present) -> String {
    if present.is_assumed {
        return say!("not known, and taken to be no pruning");
    }
    if present.share_pruned <= 0.0 {
        return say!("trees are left unpruned");
    }
    on_average(present)
}

/// The mean over all trees, and what is cut of a pruned one where that is another number: the plan's
/// sheets, which are for pruned trees alone, state that.
fn on_average(present: &Present) -> String {
    let [mean, own] = [present.intensity, present.of_a_pruned_tree()].map(percent);
    if mean == own {
        return say!("{mean} of the canopy on average");
    }
    say!("{mean} of the canopy on average, {own} of a tree that is pruned")
}

/// That regions are advised for different seasons, where they are; empty else.
#[must_use]
pub fn other_seasons(regions: &[RegionAdvice]) -> String {
    let mut by_season: BTreeMap<i32, Vec<&str>> = BTreeMap::new();
    for region in regions {
        by_season.entry(region.season).or_default().push(&region.name);
    }
    if by_season.len() < 2 {
        return String::new();
    }
    let parts =
        by_season.iter().map(|(season, names)| say!("harvest {season}: {}", names.join(", ")));
    say!(
        "Regions are advised for different seasons, each for the one after its last recorded: {}. Set season under [options] where one is meant for all.",
        parts.collect::<Vec<_>>().join("; ")
    )
}

/// That trials of the region are declared and wait for the coming harvest; `None` without any.
fn waiting(region: &RegionAdvice) -> Option<String> {
    let season = region.season;
    match region.trials_waiting.as_slice() {
        [] => None,
        [trial] => Some(say!("Trial {trial} waits for harvest {season}")),
        trials => {
            Some(say!("Trials {trials} wait for harvest {season}", trials = trials.join(", ")))
        }
    }
}

fn when(advised: &Advised) -> String {
    match (&advised.window, advised.lead_days) {
        (Some([from, to]), Some(lead)) => {
            say!(", from {} to {} (reckoned {})", date(*from), date(*to), lead_words(lead))
        }
        (Some([from, to]), None) => say!(", from {} to {}", date(*from), date(*to)),
        (None, Some(lead)) => format!(", {}", lead_words(lead)),
        (None, None) => String::new(),
    }
}

/// A lead in words.
pub fn lead_words(lead_days: f64) -> String {
    if !lead_days.is_finite() {
        DASH.to_owned()
    } else if lead_days < -0.5 {
        say!("about {} after the flush begins", days(-lead_days))
    } else {
        say!("about {} before the flush", days(lead_days))
    }
}

/// A number of days in words.
pub fn days(number: f64) -> String {
    let shown = fixed(number, 0);
    let noun = if shown == "1" { text!("day") } else { text!("days") };
    format!("{shown} {noun}")
}

/// What the gains of a region are about: the advised practice or, where nothing changes, the best supported one.
#[must_use]
pub fn gain_subject(region: &RegionAdvice) -> &'static str {
    if region.verdict == Verdict::Prune {
        text!("advised practice")
    } else {
        text!("best supported practice")
    }
}

/// Window of the advice, or of what to follow until a trial is read, in words; the dash when there
/// is none.
pub fn window(advised: Option<&Advised>, interim: Option<&Advised>) -> String {
    advised
        .or(interim)
        .and_then(|a| a.window)
        .map_or_else(|| DASH.to_owned(), |[from, to]| span(from, to))
}

/// Advised intensity, or that to follow until a trial is read; the dash without either.
pub fn remove(advised: Option<&Advised>, interim: Option<&Advised>) -> String {
    match (advised, interim) {
        (Some(advised), _) => percent(advised.intensity),
        (None, Some(interim)) => format!("({})", percent(interim.intensity)),
        (None, None) => DASH.to_owned(),
    }
}

/// A gain with its interval, for example `+0.42 (0.10 to 0.74)`.
pub fn gain(interval: Option<&Interval>) -> String {
    match interval {
        Some(i) if i.median.is_finite() => {
            say!("{} ({} to {})", signed(i.median, 2), fixed(i.low, 2), fixed(i.high, 2))
        }
        _ => DASH.to_owned(),
    }
}

/// The gain of a region, with the intensity it is of where that is not advised: of the best that the records
/// support, beside a verdict that names another or none.
pub fn gain_of(region: &RegionAdvice, pictures: &[RegionPicture]) -> String {
    let said = gain(region.gain_over_present_kg.as_ref());
    let is_advised = region.verdict == Verdict::Prune || region.interim.is_some();
    let picture = pictures.iter().find(|own| own.region == region.region);
    // Where it is present practice itself, there is no chance of more either.
    let is_other = chance_of_more(region) != DASH;
    match picture.filter(|_| !is_advised && is_other && said != DASH) {
        Some(own) => say!("{said} at {}", percent(own.best_intensity)),
        None => said,
    }
}

/// An expected yield with its interval; the dash where there is none.
pub fn yielded(interval: Option<&Interval>) -> String {
    match interval {
        Some(i) if i.median.is_finite() => {
            say!(
                "{} kg per tree in an average season, of trees of their present ages ({} to {}, {} interval)",
                fixed(i.median, 2),
                fixed(i.low, 2),
                fixed(i.high, 2),
                percent(i.level)
            )
        }
        _ => DASH.to_owned(),
    }
}

/// Chance that the practice earns more than present practice; the dash where it is present practice,
/// which can earn neither more nor less than itself.
pub fn chance_of_more(region: &RegionAdvice) -> String {
    let nothing = |own: Option<&Interval>| {
        own.is_some_and(|own| [own.median, own.low, own.high].iter().all(|kg| kg.abs() < 1e-9))
    };
    let money = region.net_gain_over_present.as_ref().map(|own| &own.amount);
    if nothing(region.gain_over_present_kg.as_ref()) && nothing(money) {
        return DASH.to_owned();
    }
    region.p_gain.map_or_else(|| DASH.to_owned(), chance)
}

/// A money gain with its interval; the currency stands in the heading.
pub fn money_gain(interval: Option<&MoneyInterval>) -> String {
    gain(interval.map(|m| &m.amount))
}

/// The best lead with its interval, and why gains are reckoned for another day where they are.
pub fn lead_optimum(region: &RegionAdvice, lead: &Interval, currency: &str) -> String {
    let best = say!(
        "{} ({} to {} days, {} interval)",
        lead_words(lead.median),
        fixed(lead.low, 0),
        fixed(lead.high, 0),
        percent(lead.level)
    );
    match region.gains_lead_days {
        Some(own) if fixed(own, 0) != fixed(lead.median, 0) => {
            let reckoned = lead_words(own);
            if let Some(other) = &region.other_dates {
                let gain = &other.net_gain;
                say!(
                    "{best}. Gains are reckoned for {reckoned}, near the region's usual dates, although {} is expected to earn {} ({} to {}) {currency} per tree more: the chance that it earns more is {}, and 97.5 % is asked, as the best of many dates looks better than it is; a trial of dates would tell",
                    lead_words(other.lead_days),
                    signed(gain.median, 2),
                    signed(gain.low, 2),
                    signed(gain.high, 2),
                    chance(other.chance)
                )
            } else if region.keeps_usual_dates {
                say!(
                    "{best}. Gains are reckoned for {reckoned}, near the region's usual dates: no others are expected to earn more than these by over the tolerance"
                )
            } else {
                say!(
                    "{best}. Gains are reckoned for {reckoned}, which earns most on average over the draws: the first number is the middle of what is best in each draw"
                )
            }
        }
        _ => best,
    }
}

/// What each delay costs, delays without records named as such.
pub fn lateness(delays: &[Lateness], currency: &str) -> String {
    let words: Vec<String> = delays
        .iter()
        .map(|delay| {
            let weeks = delay.days / 7;
            match (&delay.loss_kg, &delay.net_loss) {
                (Some(kg), Some(net)) if kg.high < 0.0 => say!(
                    "{weeks} weeks late gains {} kg ({} to {}), {} ({} to {}) {currency} per tree",
                    fixed(-kg.median, 2),
                    fixed(-kg.high, 2),
                    fixed(-kg.low, 2),
                    fixed(-net.median, 2),
                    fixed(-net.high, 2),
                    fixed(-net.low, 2)
                ),
                (Some(kg), Some(_)) if kg.median <= 0.0 => say!(
                    "{weeks} weeks late no loss is expected: the yield changes by {} kg per tree ({} to {})",
                    signed(-kg.median, 2),
                    signed(-kg.high, 2),
                    signed(-kg.low, 2)
                ),
                (Some(kg), Some(net)) => say!(
                    "{weeks} weeks late loses {} kg ({} to {}), {} ({} to {}) {currency} per tree",
                    fixed(kg.median, 2),
                    fixed(kg.low, 2),
                    fixed(kg.high, 2),
                    fixed(net.median, 2),
                    fixed(net.low, 2),
                    fixed(net.high, 2)
                ),
                _ => say!("{weeks} weeks late was not tested at this intensity"),
            }
        })
        .collect();
    format!("{}.", words.join("; "))
}

/// A practice repeated over several seasons.
pub fn horizon(horizon: &Horizon, subject: &str, currency: &str) -> String {
    say!(
        "Repeating the {subject} gains {} ({} to {}) {currency} per tree over repeating present practice; the best intensity to repeat is {}.",
        signed(horizon.net_gain.median, 2),
        fixed(horizon.net_gain.low, 2),
        fixed(horizon.net_gain.high, 2),
        percent(horizon.best_intensity)
    )
}

/// An optimum with its interval and edges.
pub fn optimum(optimum: Option<&Optimum>) -> String {
    match optimum {
        Some(o) if o.median.is_finite() => say!(
            "{} ({} to {}, {} interval). Odds: at the lower edge of the tested range {}, inside {}, at the upper edge {}; the curve bends down {}.",
            percent(o.median),
            percent(o.low),
            percent(o.high),
            percent(o.level),
            chance(o.p_lower_edge),
            chance(o.p_inside),
            chance(o.p_upper_edge),
            chance(o.p_bends_down),
        ),
        _ => DASH.to_owned(),
    }
}

/// A turning point's confidence set in words.
pub fn inversion(set: Option<&InversionSet>) -> String {
    let Some(set) = set else { return DASH.to_owned() };
    let bounds = match (set.kind, set.bounds.as_slice()) {
        (InversionKind::Interval, [a, b]) => say!("from {} to {}", percent(*a), percent(*b)),
        (InversionKind::TwoRays, [a, b]) => {
            say!("up to {} or from {} on", percent(*a), percent(*b))
        }
        (InversionKind::WholeLine, _) => {
            say!("anywhere: the records do not locate a turning point")
        }
        (InversionKind::Empty, _) => {
            say!("nowhere: no intensity is compatible with a turning point")
        }
        _ => return DASH.to_owned(),
    };
    say!("{bounds} ({} confidence; not limited to the tested range)", percent(set.level))
}

/// A range of intensities.
pub fn intensity_range(range: Option<[f64; 2]>) -> String {
    range.map_or_else(
        || DASH.to_owned(),
        |[low, high]| say!("{from} to {to}", from = percent(low), to = percent(high)),
    )
}

/// Tested intensities, with the stretch between them that was not.
pub fn tested_intensities(region: &RegionAdvice) -> String {
    let range = intensity_range(region.tested_intensity);
    match region.untried_intensity {
        Some([low, high]) => say!(
            "{range}; between {from} and {to} nothing was tried, so nothing there is advised",
            from = percent(low),
            to = percent(high)
        ),
        None => range,
    }
}

/// A range of leads in days before the flush.
pub fn lead_range(range: Option<[f64; 2]>) -> String {
    range.map_or_else(
        || DASH.to_owned(),
        |[low, high]| say!("{} to {} days before the flush", fixed(low, 0), fixed(high, 0)),
    )
}

/// Between what most trees lie, where they are not treated alike.
fn spread(present: &Present) -> String {
    present.unlike().map_or_else(String::new, |[low, high]| {
        say!(" (nine trees in ten from {} to {})", percent(low), percent(high))
    })
}

/// Present practice in words.
pub fn present(present: &Present) -> String {
    if present.is_assumed {
        return say!(
            "not known: no everyday record shows it, and book.toml states none; gains are over leaving trees unpruned"
        );
    }
    let mut out = if present.share_pruned <= 0.0 {
        say!("trees are left unpruned")
    } else {
        say!(
            "{} of the canopy on average{}, {} of the trees pruned",
            percent(present.intensity),
            spread(present),
            percent(present.share_pruned)
        )
    };
    if let Some(lead) = present.lead_days {
        out.push_str(&format!(", {}", lead_words(lead)));
    }
    match present.season {
        Some(season) if present.in_turn > 1 => out.push_str(&say!(
            " (seasons {} to {season}, in which trees were pruned in turn)",
            season - present.in_turn as i32 + 1
        )),
        Some(season) => out.push_str(&say!(" (season {season})")),
        None => out.push_str(text!(" (as stated, not from records)")),
    }
    if let Some((season, before)) = present.season.zip(present.before) {
        out.push_str(&say!(
            "; in season {} it was {} of the canopy on average, {} of the trees pruned",
            season - 1,
            percent(before.intensity),
            percent(before.share_pruned)
        ));
    }
    if present.left_to_compare > 0 {
        out.push_str(&say!(
            "; {} left unlike the advice to compare with not counted",
            counted(present.left_to_compare, text!("tree"), text!("trees"))
        ));
    }
    if present.younger > 0 {
        let trees = counted(present.younger, text!("tree"), text!("trees"));
        out.push_str(&if present.before.is_some() {
            say!("; {trees} younger than those that were cut so, counted in neither season")
        } else {
            say!("; {trees} younger than those that were cut so, not counted")
        });
    }
    out
}

/// Size and kind of the evidence.
pub fn evidence(region: &RegionAdvice) -> String {
    say!(
        "{} of {} in {}, from {}",
        counted(region.rows, text!("tree-season"), text!("tree-seasons")),
        counted(region.trees, text!("tree"), text!("trees")),
        counted(u64::from(region.seasons), text!("season"), text!("seasons")),
        crate::text::evidence(region.evidence)
    )
}

#[cfg(test)]
mod tests {
    use super::*;
    use jiff::civil::date as day;

    const BOOK: &str = "[book]\nname = \"B\"\n[economics]\ncurrency = \"USD\"\nprice_per_kg = 1.0\n\
        wage_per_hour = 1.0\n[regions.r]\nharvest = [\"02-01\", \"05-31\"]\nflush = [\"09-01\", \"11-30\"]\n";

    /// The mean over all trees stands beside what is cut of a pruned one, which is what the sheets say.
    #[test]
    fn present_practice_tells_a_pruned_tree_from_the_mean() {
        let said = |share_pruned| {
            now(&Present {
                intensity: 0.15,
                lead_days: None,
                share_pruned,
                middle: None,
                season: None,
                in_turn: 1,
                before: None,
                left_to_compare: 0,
                younger: 0,
                is_assumed: false,
            })
        };
        assert_eq!(
            said(0.75),
            "15\u{a0}% of the canopy on average, 20\u{a0}% of a tree that is pruned"
        );
        assert_eq!(said(0.99), "15\u{a0}% of the canopy on average");
        assert_eq!(said(0.0), "trees are left unpruned");
    }

    #[test]
    fn who_prunes_in_turn_is_told_whose_turn_it_is() {
        let mut region = advise::without_records(
            &records::Book::parse(BOOK).unwrap(),
            "r",
            &records::Practice::stated("r", 0.15, None),
            2027,
        );
        assert!(!sentence(&region).contains("in turn"));
        region.present.in_turn = 2;
        assert!(sentence(&region).ends_with(
            "pruned in turn over 2 seasons: the work plan cuts those whose turn it is."
        ));
        region.verdict = Verdict::Prune;
        assert!(!sentence(&region).contains("in turn"));
    }

    #[test]
    fn late_pruning_is_not_called_early() {
        assert_eq!(lead_words(-12.0), "about 12 days after the flush begins");
        assert_eq!(lead_words(112.4), "about 112 days before the flush");
        assert_eq!(lead_words(0.9), "about 1 day before the flush");
        assert_eq!(lead_words(-1.0), "about 1 day after the flush begins");
    }

    #[test]
    fn window_and_intensity_in_words() {
        let advised = Advised {
            intensity: 0.224,
            lead_days: Some(110.0),
            window: Some([day(2026, 5, 3), day(2026, 5, 24)]),
        };
        assert_eq!(
            when(&advised),
            ", from 3 May 2026 to 24 May 2026 (reckoned about 110 days before the flush)"
        );
        assert_eq!(remove(Some(&advised), None), "22\u{a0}%");
        assert_eq!(remove(None, Some(&advised)), "(22\u{a0}%)");
        assert_eq!(window(None, None), DASH);
        assert_eq!(window(None, Some(&advised)), window(Some(&advised), None));
    }

    #[test]
    fn an_inversion_set_is_never_plus_or_minus() {
        let set = |kind, bounds: &[f64]| InversionSet { kind, bounds: bounds.to_vec(), level: 0.9 };
        assert!(
            inversion(Some(&set(InversionKind::TwoRays, &[-0.1, 0.6])))
                .starts_with("up to −10\u{a0}% or from 60\u{a0}% on (90\u{a0}% confidence")
        );
        assert!(inversion(Some(&set(InversionKind::WholeLine, &[]))).starts_with("anywhere"));
        assert_eq!(inversion(Some(&set(InversionKind::Interval, &[]))), DASH);
    }
}
