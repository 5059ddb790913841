//! Arguments of `explain`, `completions` and `manual`.

use super::Format;
use clap::{Args, ValueEnum};
use clap_complete::Shell;
use std::path::PathBuf;

/// Arguments of `explain`.
#[derive(Debug, Args)]
#[command(after_help = "\
Every problem that check and run print carries a code. Without a code, lists them all.

Examples:
  anacurve explain tree-unknown
  anacurve explain --format json")]
pub struct ExplainArgs {
    /// Codes as printed
    #[arg(value_name = "CODE")]
    pub codes: Vec<String>,
    /// How the explanation is printed
    #[arg(long, value_enum, default_value_t = Format::Text)]
    pub format: Format,
}

/// How a schema is printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, ValueEnum)]
pub enum SchemaFormat {
    /// Tables and their columns, and the settings, for people.
    Markdown,
    /// Tables, a JSON Schema of book.toml and the columns of tree_seasons.parquet, for programs.
    Json,
}

/// Arguments of `schema`.
#[derive(Debug, Args)]
#[command(after_help = "\
The tables of a record book with their columns, units and ranges, and the sections and keys of
book.toml, generated from what reads them. As JSON also a JSON Schema of book.toml, which editors can
check the file by.

Examples:
  anacurve schema > tables.md
  anacurve schema --format json > schema.json")]
pub struct SchemaArgs {
    /// How the schema is printed
    #[arg(long, value_enum, default_value_t = SchemaFormat::Markdown)]
    pub format: SchemaFormat,
}

/// Arguments of `completions`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example, for bash:
  anacurve completions bash > ~/.local/share/bash-completion/completions/anacurve")]
pub struct CompletionsArgs {
    /// Shell to complete in
    #[arg(value_enum)]
    pub shell: Shell,
}

/// Arguments of `manual`.
#[derive(Debug, Args)]
#[command(after_help = "\
Example:
  anacurve manual ~/.local/share/man/man1 && man anacurve-run")]
pub struct ManualArgs {
    /// Folder for the pages, one per command; made if absent
    #[arg(value_name = "DIR")]
    pub dir: PathBuf,
}
