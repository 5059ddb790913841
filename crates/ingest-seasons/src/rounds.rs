//! Whole rounds of picks whose year is a slip, as happens at the turn of the year: nothing but their place
//! in the file shows them, where both seasons are full.

use crate::frame::{DATE, TREE_NO, indices, ints, stands};
use crate::year_slip::YEAR;
use polars::prelude::{DataFrame, PolarsResult};
use records::tree_season as ts;
use std::collections::{BTreeMap, HashMap};

/// Fewest trees of one file that tell the same of a round.
const TREES: u64 = 10;
/// How many times as many trees tell of a slip as have picks in no order: a file that was not written
/// day by day, as one joined of months' sheets, tells nothing.
const IN_ORDER: u64 = 2;

/// A pick by file and tree, in the order of lines, with its season and day.
type Pick = ((u32, u32), u32, i32, i32);

/// Picks of one tree that follow each other in a file and in time, within one season.
struct Piece {
    season: i32,
    first_day: i32,
    last_day: i32,
    rows: usize,
    line: u32,
}

/// What a tree's picks in one file tell.
enum Told {
    InOrder,
    Unordered,
    /// The piece at this place, moved by so many years, fits into the order of time.
    Slip(usize, i32),
    /// As before, but all is in order as it stands too: other files must hold picks of that season.
    MayBe(usize, i32),
}

/// By file, season meant and season written: how many picks, and the line of the first.
pub(crate) type Slips = BTreeMap<(u32, i32, i32), (u64, u32)>;

/// Picks of whole rounds that are most likely of another year.
pub(crate) fn slips(picks: &DataFrame) -> PolarsResult<Slips> {
    let of_tree = indices(picks, TREE_NO)?.iter().zip(stands(picks)?);
    let of_day = ints(picks, ts::SEASON)?.iter().zip(ints(picks, DATE)?.iter());
    let mut rows: Vec<Pick> = of_tree
        .zip(of_day)
        .filter_map(|((tree, (file, line)), (season, day))| {
            Some(((file, tree?), line, season?, day?))
        })
        .collect();
    rows.sort_unstable();
    let mut unordered: BTreeMap<u32, u64> = BTreeMap::new();
    let mut odd = Vec::new();
    // Rows of all files, by tree and season, of which a piece may be a part.
    let mut of_season: HashMap<(u32, i32), usize> = HashMap::new();
    for own in rows.chunk_by(|(one, ..), (other, ..)| one == other) {
        let Some(&((file, tree), ..)) = own.first() else { continue };
        let mut pieces = pieces(own);
        let (place, years, is_sure) = match told(&pieces) {
            Told::InOrder => continue,
            Told::Unordered => {
                *unordered.entry(file).or_default() += 1;
                continue;
            }
            Told::Slip(place, years) => (place, years, true),
            Told::MayBe(place, years) => (place, years, false),
        };
        let piece = pieces.swap_remove(place);
        if !is_sure {
            of_season.insert((tree, piece.season), 0);
        }
        odd.push((file, tree, piece, years, is_sure));
    }
    if !of_season.is_empty() {
        for &((_, tree), _, season, _) in &rows {
            of_season.entry((tree, season)).and_modify(|all| *all += 1);
        }
    }
    // Trees, rows and the first line.
    let mut found: BTreeMap<(u32, i32, i32), (u64, u64, u32)> = BTreeMap::new();
    for (file, tree, Piece { season, rows, line, .. }, years, is_sure) in odd {
        if !is_sure && of_season.get(&(tree, season)).is_none_or(|&all| all <= rows) {
            continue;
        }
        let entry = found.entry((file, season + years, season)).or_insert((0, 0, line));
        *entry = (entry.0 + 1, entry.1 + rows as u64, entry.2.min(line));
    }
    let is_told = |file: &u32, trees: u64| {
        trees >= TREES && trees >= IN_ORDER * unordered.get(file).copied().unwrap_or_default()
    };
    let told = found.into_iter().filter(|((file, ..), (trees, ..))| is_told(file, *trees));
    Ok(told.map(|(key, (_, rows, line))| (key, (rows, line))).collect())
}

fn pieces(picks: &[Pick]) -> Vec<Piece> {
    picks
        .chunk_by(|(_, _, season, day), (_, _, next, after)| season == next && day <= after)
        .filter_map(|run| {
            let (&(_, line, season, first_day), &(.., last_day)) = (run.first()?, run.last()?);
            Some(Piece { season, first_day, last_day, rows: run.len(), line })
        })
        .collect()
}

fn told(pieces: &[Piece]) -> Told {
    let steps = pieces.iter().zip(pieces.iter().skip(1)).enumerate();
    let back = |(_, (before, after)): &(usize, (&Piece, &Piece))| before.last_day > after.first_day;
    let back: Vec<usize> = steps.filter(back).map(|(place, _)| place).collect();
    // The place moved by a year is in order with its neighbours, one of which is of that season.
    let fits = |place: usize| {
        let piece = pieces.get(place)?;
        let before = place.checked_sub(1).and_then(|place| pieces.get(place));
        let after = pieces.get(place + 1);
        [1, -1].into_iter().find(|years| {
            let is_of = |other: Option<&Piece>| {
                other.is_some_and(|other| other.season == piece.season + years)
            };
            (is_of(before) || is_of(after))
                && before.is_none_or(|own| own.last_day < piece.first_day + years * YEAR)
                && after.is_none_or(|own| piece.last_day + years * YEAR < own.first_day)
        })
    };
    match (back.as_slice(), pieces) {
        ([], [first, last]) => {
            // The smaller of two is the odd one.
            let place = match first.rows.cmp(&last.rows) {
                std::cmp::Ordering::Less => 0,
                std::cmp::Ordering::Greater => 1,
                std::cmp::Ordering::Equal => return Told::InOrder,
            };
            fits(place).map_or(Told::InOrder, |years| Told::MayBe(place, years))
        }
        ([], _) => Told::InOrder,
        (&[place], _) => {
            let rows = |place: usize| pieces.get(place).map_or(0, |piece| piece.rows);
            match (fits(place), fits(place + 1)) {
                (Some(years), None) => Told::Slip(place, years),
                (None, Some(years)) => Told::Slip(place + 1, years),
                (Some(years), Some(_)) if rows(place) < rows(place + 1) => Told::Slip(place, years),
                (Some(_), Some(years)) if rows(place) > rows(place + 1) => {
                    Told::Slip(place + 1, years)
                }
                _ => Told::Unordered,
            }
        }
        _ => Told::Unordered,
    }
}
