//! The `onus` command: parse, run, print the error, set the exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    onus::cli::main()
}
