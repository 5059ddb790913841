//! Arguments of `explain`, `completions` and `manual`.

use super::Format;
use clap::Args;
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
