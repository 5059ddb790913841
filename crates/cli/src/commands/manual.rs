//! `anacurve completions` and `anacurve manual`, from the definitions of the commands themselves.

use crate::args::{Cli, CompletionsArgs, ManualArgs};
use crate::console::{Failure, Outcome, print_after, print_data};
use clap::{Command, CommandFactory};
use records::counted;
use std::fs;

/// Prints the script that completes commands in a shell.
pub fn completions(args: &CompletionsArgs) -> Result<Outcome, Failure> {
    let mut script = Vec::new();
    clap_complete::generate(args.shell, &mut Cli::command(), "anacurve", &mut script);
    print_data(&String::from_utf8_lossy(&script))?;
    Ok(Outcome::Done)
}

/// A page whose synopsis names the value that each option takes, which it leaves out as it is made.
fn with_values(page: &str, command: &Command) -> String {
    let mut page = page.to_owned();
    for option in command.get_arguments().filter(|own| own.get_action().takes_values()) {
        if let (Some(long), Some([value, ..])) = (option.get_long(), option.get_value_names()) {
            let named = format!("\\fB\\-\\-{}\\fR", long.replace('-', "\\-"));
            let value = value.replace('-', "\\-");
            page = page.replacen(&format!("[{named}]"), &format!("[{named} \\fI{value}\\fR]"), 1);
        }
    }
    page
}

/// Writes a manual page for the program and one for each command.
pub fn manual(args: &ManualArgs) -> Result<Outcome, Failure> {
    let failed = |error: &std::io::Error| {
        Failure::new(
            format!("{}: {error}", args.dir.display()),
            "name a folder that can be written",
        )
    };
    fs::create_dir_all(&args.dir).map_err(|error| failed(&error))?;
    let mut program = Cli::command();
    program.build();
    let mut pages = vec![("anacurve".to_owned(), program.clone())];
    for command in program.get_subcommands().filter(|command| command.get_name() != "help") {
        let name = format!("anacurve-{}", command.get_name());
        pages.push((name, command.clone()));
    }
    for (name, command) in &pages {
        let mut page = Vec::new();
        clap_mangen::Man::new(command.clone()).render(&mut page).map_err(|error| failed(&error))?;
        let page = with_values(&String::from_utf8_lossy(&page), command);
        fs::write(args.dir.join(format!("{name}.1")), page).map_err(|error| failed(&error))?;
    }
    let pages = counted(pages.len() as u64, "page", "pages");
    print_after(&format!("{pages} written to {}\n", args.dir.display()), Some(&args.dir))?;
    Ok(Outcome::Done)
}
