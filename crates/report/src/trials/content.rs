//! What a trials' page is made of.

/// One cell of a table.
#[derive(Debug, Clone, PartialEq)]
pub enum TrialCell {
    /// Words.
    Text(String),
    /// A number with the decimals it is shown with; `None` where it cannot be given.
    Number(Option<f64>, usize),
    /// A probability.
    P(Option<f64>),
}

/// A column's heading.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct TrialHead {
    /// The heading, with unit.
    pub text: String,
    /// Whether its cells are numbers.
    pub numeric: bool,
}

/// A table of a trial; the first cell of a row names the row.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialTable {
    /// Part of its file name: lower-case letters, digits and hyphens.
    pub name: String,
    /// Caption.
    pub caption: String,
    /// Headings.
    pub heads: Vec<TrialHead>,
    /// Headings of its CSV file, the same in every language; those shown where empty.
    pub file_heads: Vec<String>,
    /// Rows of its CSV file, with the same words in every language; those shown where empty.
    pub file_rows: Vec<Vec<TrialCell>>,
    /// Rows, each as long as the headings.
    pub rows: Vec<Vec<TrialCell>>,
    /// What is said below it.
    pub notes: Vec<String>,
}

impl TrialTable {
    /// An empty table; a heading that starts with `#` marks a numeric column.
    #[must_use]
    pub fn new(name: &str, caption: impl Into<String>, heads: &[&str]) -> Self {
        let head = |text: &&str| match text.strip_prefix('#') {
            Some(text) => TrialHead { text: text.to_owned(), numeric: true },
            None => TrialHead { text: (*text).to_owned(), numeric: false },
        };
        Self {
            name: name.to_owned(),
            caption: caption.into(),
            heads: heads.iter().map(head).collect(),
            file_heads: Vec::new(),
            file_rows: Vec::new(),
            rows: Vec::new(),
            notes: Vec::new(),
        }
    }
}

impl TrialSection {
    /// Takes headings and cells of the tables' files from the same section in English: a script that reads
    /// them must not mind the language of the report.
    pub fn file_words_of(&mut self, english: &Self) {
        for (table, english) in self.tables.iter_mut().zip(&english.tables) {
            if (table.name == english.name) && table.heads.len() == english.heads.len() {
                table.file_heads = english.heads.iter().map(|head| head.text.clone()).collect();
                if table.rows.len() == english.rows.len() {
                    table.file_rows.clone_from(&english.rows);
                }
            }
        }
    }
}

/// A point of a plot.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialPoint {
    /// Position on the horizontal axis.
    pub x: f64,
    /// Value.
    pub y: f64,
    /// What it is, for the table beside the plot.
    pub name: String,
}

/// Points of one kind.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialSeries {
    /// Name in the legend; empty for a single series.
    pub name: String,
    /// Points, ascending.
    pub points: Vec<TrialPoint>,
    /// Whether a line joins them.
    pub joined: bool,
}

/// A plot of a trial.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialPlot {
    /// Part of its file name.
    pub name: String,
    /// Title.
    pub title: String,
    /// Caption.
    pub caption: String,
    /// Title of the horizontal axis.
    pub x_title: String,
    /// Title of the vertical axis.
    pub y_title: String,
    /// Names along the horizontal axis at 0, 1, 2, ..; numbers when empty.
    pub categories: Vec<String>,
    /// The points.
    pub series: Vec<TrialSeries>,
    /// Curves without markers: name and points.
    pub curves: Vec<TrialSeries>,
    /// Length of a bar beside the points with its name, such as the critical difference.
    pub bar: Option<(f64, String)>,
    /// Heights of horizontal lines across the plot.
    pub levels: Vec<f64>,
    /// A span along the horizontal axis to be marked, with its name.
    pub span: Option<(f64, f64, String)>,
}

/// Text, tables and plots under one heading.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct TrialSection {
    /// Heading.
    pub heading: String,
    /// Paragraphs.
    pub paragraphs: Vec<String>,
    /// Tables.
    pub tables: Vec<TrialTable>,
    /// Plots.
    pub plots: Vec<TrialPlot>,
}

/// One trait of a trial, at one site or over all.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialPart {
    /// Heading, such as `Nut yield`.
    pub heading: String,
    /// Part of file names, unique within the trial.
    pub slug: String,
    /// The finding in a sentence or two.
    pub finding: String,
    /// Why it could not be analysed and what to do, where it could not.
    pub refused: Option<(String, String)>,
    /// The rest.
    pub sections: Vec<TrialSection>,
    /// Files for programs beside its tables: how the name ends, and the text.
    pub files: Vec<(&'static str, String)>,
}

/// A trial as the page shows it.
#[derive(Debug, Clone, PartialEq)]
pub struct TrialReport {
    /// Id.
    pub id: String,
    /// Title.
    pub title: String,
    /// The sentence for the manager.
    pub sentence: String,
    /// What it was: design, trees, seasons.
    pub facts: Vec<(String, String)>,
    /// What a person should know before reading on.
    pub notes: Vec<String>,
    /// Traits.
    pub parts: Vec<TrialPart>,
}
