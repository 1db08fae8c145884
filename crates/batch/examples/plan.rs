//! Plans a batch without a browser.
//!
//! ```text
//! cargo run -q -p batch --example plan < batch.json    # the plan as JSON, a unit in every key
//! cargo run -q -p batch --example plan -- --demo       # the invented example document
//! ```
//!
//! Both shapes are described in DEVELOPERS.md. Exit code 1 and a plain message
//! on standard error for a document that is no sound batch.

use batch::demo::demo;
use batch::document::Batch;
use batch::json::{Json, text_of};
use batch::moment::Moment;
use batch::plan::plan;
use batch::report::plan_json;
use std::io::Read;
use std::process::ExitCode;

fn main() -> ExitCode {
    match run() {
        Ok(text) => {
            println!("{text}");
            ExitCode::SUCCESS
        }
        Err(problem) => {
            eprintln!("{problem}");
            ExitCode::FAILURE
        }
    }
}

fn run() -> Result<String, String> {
    if let Some(option) = std::env::args().nth(1) {
        return if option == "--demo" {
            // A fixed moment: the same document every time.
            let batch = demo("invented-example".to_owned(), Moment::from_seconds(1_764_000_000));
            let value: serde_json::Value =
                serde_json::from_str(&text_of(&batch)).map_err(|problem| problem.to_string())?;
            serde_json::to_string_pretty(&value).map_err(|problem| problem.to_string())
        } else {
            Err(format!("Unknown option {option}. Give a batch document on standard input, or --demo."))
        };
    }
    let mut text = String::new();
    std::io::stdin().read_to_string(&mut text).map_err(|problem| format!("Standard input: {problem}"))?;
    let batch = Json::of(&text)
        .and_then(Batch::read)
        .map_err(|problem| format!("Not a batch document: {problem}"))?;
    batch.check().map_err(|problem| format!("Not a sound batch: {problem}"))?;
    let report = plan_json(&batch, &plan(&batch), batch.begun);
    serde_json::to_string_pretty(&report).map_err(|problem| problem.to_string())
}
