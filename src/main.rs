//! The binary: parse arguments, call cli, exit code.

use std::process::ExitCode;

fn main() -> ExitCode {
    ExitCode::from(rampart::cli::main())
}
