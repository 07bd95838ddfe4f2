//! The program: parse, do, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    rowfall::cli::main()
}
