//! The tables of a record book: which columns they have, in which unit and range.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A table of the record book.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "snake_case")]
pub enum Table {
    /// One row per block.
    Blocks,
    /// One row per tree.
    Trees,
    /// One row per visit to a tree with saw or secateurs.
    Prunings,
    /// One row per frame count of lateral shoots.
    Laterals,
    /// One row per pick.
    Harvests,
    /// One row per plot's tree in a randomised trial.
    Trials,
}

/// What a column holds.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum ColumnKind {
    /// Free text, trimmed; ids are text.
    Text,
    /// One word of a list, compared without case.
    Word(&'static [&'static str]),
    /// A calendar date.
    Date,
    /// A date, or a bare year standing for its first day.
    DateOrYear,
    /// A number in the column's unit.
    Number,
    /// A whole number, zero or more.
    Count,
    /// Yes or no.
    Flag,
}

/// One column of a table.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct ColumnSpec {
    /// Canonical name, lower case with underscores.
    pub name: &'static str,
    /// What it holds.
    pub kind: ColumnKind,
    /// Whether a file must have it and each row must fill it.
    pub required: bool,
    /// Unit of a number, empty for none.
    pub unit: &'static str,
    /// Values outside are impossible: the row is quarantined.
    pub possible: Option<(f64, f64)>,
    /// Values outside are unusual: the row is kept with a warning.
    pub usual: Option<(f64, f64)>,
    /// Whether a row can do without it: a cell that cannot be read is left out and told, and the row
    /// is kept (unless it looks like another unit, which concerns the whole file). Elsewhere it sets
    /// its row aside.
    pub spare: bool,
    /// Meaning in one sentence.
    pub doc: &'static str,
}

/// A table with its columns, required ones first.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct TableSpec {
    /// Which table.
    pub table: Table,
    /// What one row is.
    pub row_is: &'static str,
    /// Whether a run needs it.
    pub required: bool,
    /// Whether columns beyond the list are kept as text (the factors of a trial).
    pub keeps_extra_columns: bool,
    /// The columns.
    pub columns: &'static [ColumnSpec],
}

impl Table {
    /// Every table, in reading order.
    pub const ALL: [Table; 6] =
        [Self::Blocks, Self::Trees, Self::Prunings, Self::Laterals, Self::Harvests, Self::Trials];

    /// File stem and name in `book.toml`.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Blocks => "blocks",
            Self::Trees => "trees",
            Self::Prunings => "prunings",
            Self::Laterals => "laterals",
            Self::Harvests => "harvests",
            Self::Trials => "trials",
        }
    }

    /// Columns and promises of the table.
    #[must_use]
    pub fn spec(self) -> &'static TableSpec {
        match self {
            Self::Blocks => &BLOCKS,
            Self::Trees => &TREES,
            Self::Prunings => &PRUNINGS,
            Self::Laterals => &LATERALS,
            Self::Harvests => &HARVESTS,
            Self::Trials => &TRIALS,
        }
    }
}

impl fmt::Display for Table {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.as_str())
    }
}

impl TableSpec {
    /// The column of a name.
    #[must_use]
    pub fn column(&self, name: &str) -> Option<&'static ColumnSpec> {
        self.columns.iter().find(|column| column.name == name)
    }
}

const fn text(name: &'static str, required: bool, doc: &'static str) -> ColumnSpec {
    column(name, ColumnKind::Text, required, "", None, None, doc)
}

const fn number(
    name: &'static str,
    unit: &'static str,
    possible: (f64, f64),
    usual: (f64, f64),
    doc: &'static str,
) -> ColumnSpec {
    column(name, ColumnKind::Number, false, unit, Some(possible), Some(usual), doc)
}

const fn count(name: &'static str, most: f64, doc: &'static str) -> ColumnSpec {
    column(name, ColumnKind::Count, false, "", Some((0.0, most)), None, doc)
}

const fn column(
    name: &'static str,
    kind: ColumnKind,
    required: bool,
    unit: &'static str,
    possible: Option<(f64, f64)>,
    usual: Option<(f64, f64)>,
    doc: &'static str,
) -> ColumnSpec {
    ColumnSpec { name, kind, required, unit, possible, usual, spare: false, doc }
}

const fn spare(spec: ColumnSpec) -> ColumnSpec {
    ColumnSpec { spare: true, ..spec }
}

const fn needed(spec: ColumnSpec) -> ColumnSpec {
    ColumnSpec { required: true, ..spec }
}

const DATE: ColumnSpec =
    column("date", ColumnKind::Date, true, "", None, None, "Day of the visit.");
const TREE: ColumnSpec = text("tree", true, "Tree id, unique in the book.");
const TRAINING: &[&str] = &["modified_leader", "open_centre", "none"];
const BASES: &[&str] = &["canopy_fraction", "shoots", "spread", "headed_length"];
const PLANTED: ColumnSpec =
    column("planted", ColumnKind::DateOrYear, false, "", None, None, "Planting date or year.");

static BLOCKS: TableSpec = TableSpec {
    table: Table::Blocks,
    row_is: "a block of one plantation",
    required: true,
    keeps_extra_columns: false,
    columns: &[
        text("block", true, "Block id, unique in the book."),
        text("site", true, "Plantation or estate the block lies in."),
        text("region", true, "Agro-climatic region, declared in book.toml."),
        spare(number("row_spacing_m", "m", (1.0, 40.0), (2.0, 15.0), "Distance between rows.")),
        spare(number(
            "tree_spacing_m",
            "m",
            (1.0, 40.0),
            (2.0, 15.0),
            "Distance between trees in a row.",
        )),
        text("variety", false, "Variety or clone."),
        PLANTED,
        spare(column(
            "training",
            ColumnKind::Word(TRAINING),
            false,
            "",
            None,
            None,
            "Training system of young trees.",
        )),
        spare(number("area_ha", "ha", (0.0001, 100_000.0), (0.01, 500.0), "Area of the block.")),
    ],
};

static TREES: TableSpec = TableSpec {
    table: Table::Trees,
    row_is: "a tree",
    required: true,
    keeps_extra_columns: false,
    columns: &[
        TREE,
        text("block", true, "Block the tree stands in."),
        spare(count("row", 100_000.0, "Row number within the block.")),
        spare(count("column", 100_000.0, "Position within the row.")),
        PLANTED,
        spare(number("girth_cm", "cm", (1.0, 800.0), (5.0, 300.0), "Trunk girth.")),
        spare(number("height_m", "m", (0.1, 40.0), (0.5, 15.0), "Tree height.")),
        spare(number(
            "spread_ns_m",
            "m",
            (0.1, 50.0),
            (0.3, 20.0),
            "Canopy spread north to south.",
        )),
        spare(number("spread_ew_m", "m", (0.1, 50.0), (0.3, 20.0), "Canopy spread east to west.")),
        text(
            "status",
            false,
            "dead, removed, felled or missing (morta, removida, derrubada, faltante; mort, arraché, abattu, manquant; muerto) for a tree that is no longer there; any other word means that it stands, and words that are not known are told.",
        ),
    ],
};

static PRUNINGS: TableSpec = TableSpec {
    table: Table::Prunings,
    row_is: "a visit to a tree",
    required: true,
    keeps_extra_columns: false,
    columns: &[
        TREE,
        DATE,
        number(
            "intensity",
            "fraction",
            (0.0, 1.0),
            (0.0, 0.8),
            "Fraction of the canopy removed, 0 to 1 (or a per cent sign or declared unit).",
        ),
        column(
            "measured_as",
            ColumnKind::Word(BASES),
            false,
            "",
            None,
            None,
            "How the intensity was measured.",
        ),
        count("shoots_cut", 100_000.0, "Shoots cut (basis shoots)."),
        count("shoots_total", 100_000.0, "Shoots before the cut (basis shoots)."),
        number("height_before_m", "m", (0.1, 40.0), (0.5, 15.0), "Height before (basis spread)."),
        number(
            "spread_ns_before_m",
            "m",
            (0.1, 50.0),
            (0.3, 20.0),
            "North-south spread before (basis spread).",
        ),
        number(
            "spread_ew_before_m",
            "m",
            (0.1, 50.0),
            (0.3, 20.0),
            "East-west spread before (basis spread).",
        ),
        number("height_after_m", "m", (0.0, 40.0), (0.3, 15.0), "Height after (basis spread)."),
        number(
            "spread_ns_after_m",
            "m",
            (0.0, 50.0),
            (0.2, 20.0),
            "North-south spread after (basis spread).",
        ),
        number(
            "spread_ew_after_m",
            "m",
            (0.0, 50.0),
            (0.2, 20.0),
            "East-west spread after (basis spread).",
        ),
        number(
            "removed_cm",
            "cm",
            (0.0, 1000.0),
            (0.0, 300.0),
            "Shoot length removed (basis headed_length).",
        ),
        number(
            "length_cm",
            "cm",
            (0.1, 1000.0),
            (1.0, 300.0),
            "Shoot length before the cut (basis headed_length).",
        ),
        spare(count("cuts_to_3cm", 10_000.0, "Cuts up to 3 cm diameter.")),
        spare(count("cuts_3_to_5cm", 10_000.0, "Cuts of 3 to 5 cm.")),
        spare(count("cuts_5_to_10cm", 10_000.0, "Cuts of 5 to 10 cm.")),
        spare(count("cuts_over_10cm", 10_000.0, "Cuts over 10 cm.")),
        spare(number(
            "minutes",
            "min",
            (0.0, 1440.0),
            // A tree left uncut took none.
            (0.0, 240.0),
            "Working minutes spent on the tree, all hands together.",
        )),
        spare(text("tool", false, "Tool used.")),
        spare(column(
            "dressed",
            ColumnKind::Flag,
            false,
            "",
            None,
            None,
            "Whether large cut ends were dressed.",
        )),
    ],
};

static LATERALS: TableSpec = TableSpec {
    table: Table::Laterals,
    row_is: "a frame count",
    required: false,
    keeps_extra_columns: false,
    columns: &[
        TREE,
        DATE,
        needed(number("frame_m2", "m2", (0.001, 25.0), (0.04, 4.0), "Area of the counting frame.")),
        needed(count("laterals", 5000.0, "Lateral shoots in the frame.")),
        spare(count("flowering_laterals", 5000.0, "Those that flower.")),
        text("side", false, "Side of the tree."),
    ],
};

static HARVESTS: TableSpec = TableSpec {
    table: Table::Harvests,
    row_is: "a pick from a tree",
    required: true,
    keeps_extra_columns: false,
    columns: &[
        TREE,
        DATE,
        needed(number("nut_kg", "kg", (0.0, 300.0), (0.0, 60.0), "Raw nuts in shell picked.")),
        number(
            "moisture_pct",
            "%",
            (0.0, 60.0),
            (4.0, 35.0),
            "Moisture of the weighed nuts, per cent of wet weight.",
        ),
        spare(count("nut_count", 100_000.0, "Number of nuts.")),
    ],
};

static TRIALS: TableSpec = TableSpec {
    table: Table::Trials,
    row_is: "a plot's tree in a trial",
    required: false,
    keeps_extra_columns: true,
    columns: &[
        text("trial", true, "Trial id."),
        TREE,
        text(
            "replicate",
            true,
            "Replicate or block of the trial; the same word in every row where the design has none.",
        ),
        text("main_plot", false, "Main plot."),
        text("sub_plot", false, "Sub plot."),
    ],
};
