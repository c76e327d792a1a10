//! `navassay`: how far off are the numbers of a hip navigation measurement, why, and can it be shown.

use std::process::ExitCode;

fn main() -> ExitCode {
    navassay::cli::main()
}
