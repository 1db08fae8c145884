//! What a contributor runs.

mod apart;
mod bench;
mod compile;
mod dist;
mod fuzz;
mod progress;
mod references;
mod screenshots;
mod serve;
mod size;
mod task;
mod test;
mod wasm;
mod workspace;

use std::env;
use std::process::ExitCode;

use task::{Task, TaskError};
use workspace::Workspace;

const HELP: &str = "\
Usage: cargo xtask <TASK> [OPTIONS]

Tasks:
  serve        build the app and serve it on this computer
                 --port N       listen on port N, or the next free one (8080)
                 --base /PATH/  serve below a path, as some hosts do (/)
  test         format, lints, all tests, the size gate, and the browser tests;
               installs what it lacks or says what to install
                 --skip-browser leave out everything that needs a browser
  dist         build the finished page into target/dist and weigh it
  bench        print sizes, computing times and loading times
  references   rebuild the check data with general-purpose Python libraries, in
               an environment of its own, and measure against them
                 --table        only print every computed value beside its
                                published one; needs no Python
  fuzz         try hostile input of every kind; needs a C++ compiler
                 --inputs N     how many in all (10000000)
  screenshots  take the README's pictures from the running app
  help         print this
";

fn main() -> ExitCode {
    let task = match task::parse(env::args().skip(1)) {
        Ok(task) => task,
        Err(error) => {
            eprintln!("error: {error}\n\n{HELP}");
            return ExitCode::from(2);
        }
    };
    match perform(task) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("error: {error}");
            ExitCode::FAILURE
        }
    }
}

fn perform(task: Task) -> Result<(), TaskError> {
    let workspace = Workspace::find();
    match task {
        Task::Serve { port, base } => serve::serve(&workspace, port, &base),
        Task::Test { skip_browser } => test::test(&workspace, skip_browser),
        Task::Dist => serve::dist(&workspace),
        Task::Bench => bench::bench(&workspace),
        Task::References { table: true } => references::table(&workspace),
        Task::References { table: false } => references::rebuild(&workspace),
        Task::Fuzz { inputs } => fuzz::fuzz(&workspace, inputs),
        Task::Screenshots => screenshots::screenshots(&workspace),
        Task::Help => {
            print!("{HELP}");
            Ok(())
        }
    }
}
