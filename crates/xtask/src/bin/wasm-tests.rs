//! Runs the app's browser unit tests: cargo calls this with a test binary built for wasm.
//!
//! It is wasm-bindgen's own test runner, taken from our lock file so that it cannot drift from the
//! wasm-bindgen the tests are built with.

use std::process::ExitCode;

fn main() -> ExitCode {
    match wasm_bindgen_cli::wasm_bindgen_test_runner::run_cli_with_args(std::env::args_os()) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:?}");
            ExitCode::FAILURE
        }
    }
}
