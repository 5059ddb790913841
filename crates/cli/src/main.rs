//! The `anacurve` command: records in, next season's pruning advice out.

use clap::Parser;
use clap::error::{ContextKind, ContextValue, ErrorKind};
use std::process::ExitCode;

fn main() -> ExitCode {
    ingest_tables::quiet_guarded_panics();
    match anacurve::args::Cli::try_parse() {
        Ok(cli) => anacurve::execute(&cli),
        Err(error) => with_tips(error).exit(),
    }
}

/// No option of these commands takes the place of a value, so that the tip to write one behind `--` would lead to a
/// folder of that name. The season that `run` advises for is a setting.
fn with_tips(mut error: clap::Error) -> clap::Error {
    if error.kind() == ErrorKind::UnknownArgument {
        let of_season = matches!(
            error.get(ContextKind::InvalidArg),
            Some(ContextValue::String(option)) if option == "--season"
        );
        let season = "season under [options] of book.toml sets the season that advice is for";
        let mut tips = match error.remove(ContextKind::Suggested) {
            Some(ContextValue::StyledStrs(tips)) => tips,
            _ => Vec::new(),
        };
        tips.retain(|tip| !tip.to_string().contains("as a value"));
        tips.extend(of_season.then(|| season.into()));
        if !tips.is_empty() {
            error.insert(ContextKind::Suggested, ContextValue::StyledStrs(tips));
        }
    }
    error
}
