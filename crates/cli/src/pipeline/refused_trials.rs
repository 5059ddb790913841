//! What is told of declared trials where a file of the trial table was refused: its columns are there.

use records::{Book, Code, Place, Problem, Table};
use words::say;

const SETTINGS: &str = "book.toml";

/// The problems without those that call a column absent which stands in the heading of a refused file of the trial
/// table: the file's own problem is the one to mend. Where it lacks the replicate it is told what designs without
/// replicates write.
pub(super) fn without_consequences(book: Option<&Book>, problems: Vec<Problem>) -> Vec<Problem> {
    let listed: Vec<&str> = book
        .and_then(|book| book.files.get(&Table::Trials))
        .map(|files| files.iter().map(|file| file.path.as_str()).collect())
        .unwrap_or_default();
    let is_refused = |problem: &Problem| {
        problem.code == Code::ColumnMissing && is_of_trials(&problem.place, &listed)
    };
    // The problem tells the words of the heading.
    let headings: Vec<String> = problems
        .iter()
        .filter(|problem| is_refused(problem))
        .flat_map(|own| words_of(&own.what))
        .collect();
    let follows = |problem: &Problem| {
        let of_settings = problem.code == Code::ColumnMissing && problem.place.file == SETTINGS;
        let column = problem.what.split('\'').nth(1).map(form).filter(|_| of_settings);
        column.is_some_and(|column| headings.contains(&column))
    };
    let replicate = form(records::tree_season::REPLICATE);
    problems
        .into_iter()
        .filter(|problem| !follows(problem))
        .map(|mut problem| {
            let lacks = is_refused(&problem)
                && problem.what.split(';').next().is_some_and(|lacking| {
                    lacking.split_whitespace().any(|word| form(word) == replicate)
                });
            if lacks {
                problem.remedy = say!(
                    "{}; for a design without replicates, every_row = {{ replicate = \"R1\" }}",
                    problem.remedy
                );
            }
            problem
        })
        .collect()
}

/// Whether a place lies in a file of the trial table: one that `[[files.trials]]` lists, `*` standing for any text, or one
/// that is found by its name.
fn is_of_trials(place: &Place, listed: &[&str]) -> bool {
    let file = place.file.split('#').next().unwrap_or_default();
    let is_named = |path: &&str| match path.split_once('*') {
        Some((begin, end)) => {
            let end = end.rsplit('*').next().unwrap_or_default();
            file.len() >= begin.len() + end.len() && file.starts_with(begin) && file.ends_with(end)
        }
        None => file == *path,
    };
    match listed {
        [] => file.to_lowercase().starts_with(Table::Trials.as_str()),
        listed => listed.iter().any(is_named),
    }
}

/// Words of a heading as columns are named.
fn words_of(what: &str) -> Vec<String> {
    what.split([',', ':', ';']).map(form).collect()
}

fn form(word: &str) -> String {
    let word = word.trim().to_lowercase();
    word.split(|c: char| !c.is_alphanumeric())
        .filter(|part| !part.is_empty())
        .collect::<Vec<_>>()
        .join("_")
}
