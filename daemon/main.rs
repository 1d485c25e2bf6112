//! The program `lowtide`: hands over to the commands.

use std::process::ExitCode;

fn main() -> ExitCode {
    lowtide::command::main()
}
