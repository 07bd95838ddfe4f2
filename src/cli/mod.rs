//! The command line: arguments, commands, messages, progress, logging and exit codes.

pub mod args;
pub mod commands;
pub mod disk;
pub mod exit;
pub mod logging;
pub mod messages;
pub mod progress;

use args::{Args, Command};
use clap::Parser;
use clap::error::ErrorKind;
use messages::Voice;
use std::process::ExitCode;

/// Parses the arguments, runs the command, says what went wrong and returns the exit code.
#[must_use]
pub fn main() -> ExitCode {
    let args = match Args::try_parse() {
        Ok(args) => args,
        Err(error) => {
            // Help and version are asked for; anything else clap refuses is a wrong request.
            let asked = matches!(error.kind(), ErrorKind::DisplayHelp | ErrorKind::DisplayVersion);
            let _ = error.print();
            return ExitCode::from(if asked { exit::DONE } else { exit::WRONG_REQUEST });
        }
    };
    let voice = Voice::new(&args.global);
    logging::start(voice.colour);
    let done = match &args.command {
        Command::Init(init) => commands::init::init(init, &voice),
        Command::Check(check) => commands::check::check(check, &voice),
        Command::Run(run) => commands::run::run(run, &voice),
        Command::Explain(explain) => commands::explain::explain(explain, &voice),
        Command::Compare(compare) => commands::compare::compare(compare, &voice),
        Command::Schema => commands::schema::schema(&voice),
    };
    match done {
        Ok(()) => ExitCode::from(exit::DONE),
        Err(problems) => {
            voice.problems(&problems);
            ExitCode::from(exit::code(&problems))
        }
    }
}
