//! The file that says what trial is to be laid out, and where in it something is wrong.

use crate::console::Failure;
use records::{reads_as_empty, written_amount};
use std::path::{Path, PathBuf};
use toml::Spanned;
use toml::de::{DeTable, DeValue};
use trials::layout::{LayoutError, LayoutRequest};

/// A request as a file, whose lines messages name.
pub struct RequestFile {
    path: PathBuf,
    text: String,
}

impl RequestFile {
    /// Reads a request.
    ///
    /// # Errors
    /// When the file cannot be read, or is no request.
    pub fn read(path: &Path) -> Result<(Self, LayoutRequest), Failure> {
        let shown = path.display();
        let text = std::fs::read_to_string(path).map_err(|error| {
            Failure::new(
                format!("{shown}: {error}"),
                "name a file with the request; anacurve layout --help shows one",
            )
        })?;
        let text = text.strip_prefix('\u{feff}').unwrap_or(&text).to_owned();
        let mut request: LayoutRequest = toml::from_str(&text).map_err(|error| {
            let line = error.span().map(|span| line_at(&text, span.start));
            Failure::new(
                format!("{}: {}", place(path, line), error.message()),
                "anacurve layout --help shows a request and lists its entries",
            )
        })?;
        let file = Self { path: path.to_owned(), text };
        file.check_names(&request)?;
        as_fractions(&mut request);
        Ok((file, request))
    }

    /// Ids and names that would be read back as empty cells.
    fn check_names(&self, request: &LayoutRequest) -> Result<(), Failure> {
        let names = [
            ("trial", Some(&request.trial)),
            ("site", request.site.as_ref()),
            ("field.block", request.field.block.as_ref()),
            ("field.site", request.field.site.as_ref()),
        ];
        let lost = names.into_iter().find_map(|(part, name)| {
            let name = name.map(|name| name.trim()).filter(|name| !name.is_empty())?;
            reads_as_empty(name).then_some((part, name))
        });
        lost.map_or(Ok(()), |(part, name)| {
            let problem =
                format!("'{name}' is read as an empty cell wherever it stands in a table");
            Err(self.refused(part, None, &problem, "choose another name"))
        })
    }

    /// Something wrong with an entry, such as `field.blocks`; `entry` counts within a list from 0.
    #[must_use]
    pub fn refused(
        &self,
        part: &str,
        entry: Option<usize>,
        problem: &str,
        hint: impl Into<String>,
    ) -> Failure {
        let place = place(&self.path, line_of(&self.text, part, entry));
        Failure::new(format!("{place}: {part}: {problem}"), hint)
    }

    /// Why no layout could be made of the request, with the place in the file where it is known.
    #[must_use]
    pub fn from_layout(&self, error: &LayoutError) -> Failure {
        match error {
            LayoutError::Request { part, entry, problem, hint } => {
                self.refused(part, *entry, problem, hint)
            }
            LayoutError::DoesNotFit { .. } | LayoutError::Restriction { .. } => {
                Failure::new(format!("{}: {error}", self.path.display()), error.hint())
            }
        }
    }
}

/// Levels of fractions that are written in per cent, as trial tables may have them, drawn as fractions.
fn as_fractions(request: &mut LayoutRequest) {
    let fraction = |level: &mut String| {
        if let Some(amount) = written_amount(level, "fraction").filter(|_| level.contains('%')) {
            *level = amount.to_string();
        }
    };
    let of_fractions: Vec<String> = request
        .factors
        .iter_mut()
        .filter(|factor| factor.is_fraction())
        .map(|factor| {
            factor.levels.iter_mut().for_each(fraction);
            factor.name.clone()
        })
        .collect();
    let control = request.control.iter_mut();
    control
        .filter(|own| of_fractions.contains(&own.factor))
        .for_each(|own| fraction(&mut own.level));
}

fn place(path: &Path, line: Option<usize>) -> String {
    let line = line.map_or_else(String::new, |line| format!(":{line}"));
    format!("{}{line}", path.display())
}

fn line_at(text: &str, start: usize) -> usize {
    text.get(..start).unwrap_or("").matches('\n').count() + 1
}

/// The line of a key, or of the nearest table above that stands in the text.
fn line_of(text: &str, part: &str, entry: Option<usize>) -> Option<usize> {
    let table = DeTable::parse(text).ok()?;
    let (mut table, mut start, mut value) = (table.get_ref(), None, None);
    for name in part.split('.') {
        let Some((key, own)) = table.iter().find(|(key, _)| key.get_ref() == name) else {
            value = None;
            break;
        };
        (start, value) = (Some(key.span().start), Some(own));
        match own.get_ref() {
            DeValue::Table(inner) => table = inner,
            _ => break,
        }
    }
    if let (Some(DeValue::Array(list)), Some(at)) = (value.map(Spanned::get_ref), entry) {
        start = list.get(at).and_then(start_of).or(start);
    }
    start.map(|start| line_at(text, start))
}

/// Where an entry of a list begins: its first key, for a table under a header of its own.
fn start_of(entry: &Spanned<DeValue<'_>>) -> Option<usize> {
    match entry.get_ref() {
        DeValue::Table(table) => table.iter().map(|(key, _)| key.span().start).min(),
        _ => Some(entry.span().start),
    }
}

#[cfg(test)]
mod tests {
    use super::{as_fractions, line_of};

    #[test]
    fn levels_in_per_cent_are_drawn_as_fractions() {
        let text = "trial = \"N\"\ndesign = \"randomised_blocks\"\nreplicates = 3\n\
                    control = { factor = \"cut\", level = \"0 %\", beside_factorial = true }\n\
                    [[factors]]\nname = \"cut\"\nlevels = [\"10 %\", \"33,3 %\", \"0.55\"]\nunit = \"fraction\"\n\
                    [[factors]]\nname = \"share\"\nlevels = [\"5 %\", \"7 %\"]\n[field]\n";
        let mut request = toml::from_str(text).unwrap();
        as_fractions(&mut request);
        assert_eq!(request.factors[0].levels, ["0.1", "0.333", "0.55"]);
        // Without a unit a level is a name.
        assert_eq!(request.factors[1].levels, ["5 %", "7 %"]);
        assert_eq!(request.control.unwrap().level, "0");
    }

    const TEXT: &str = "\
trial = \"A\"
control = { factor = \"x\", level = \"0\" }

[[factors]]
name = \"x\"

[[factors]]
levels = [\"1\"]
name = \"y\"

[field]
rows = 3
unusable = [[1, 1],
  [9, 9]]

[balance]
acceptance = 0.5
";

    #[test]
    fn lines_of_keys() {
        let line = |part, entry| line_of(TEXT, part, entry);
        assert_eq!(line("trial", None), Some(1));
        assert_eq!(line("control", None), Some(2));
        assert_eq!(line("factors", None), Some(4));
        assert_eq!((line("factors", Some(0)), line("factors", Some(1))), (Some(5), Some(8)));
        assert_eq!(line("field.unusable", None), Some(13));
        assert_eq!(line("field.unusable", Some(1)), Some(14));
        assert_eq!(line("balance.acceptance", None), Some(17));
        // What is absent stands at the table that would hold it, or nowhere.
        assert_eq!(line("field.trees", None), Some(11));
        assert_eq!((line("checks", None), line("balance.on", None)), (None, Some(16)));
        assert_eq!(line_of("a = ", "a", None), None);
    }
}
