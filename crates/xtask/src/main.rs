//! What a contributor runs.

mod apart;
mod bench;
mod compile;
mod dist;
mod fuzz;
mod kill;
mod progress;
mod references;
mod reproduce;
mod screenshots;
mod serve;
mod shares;
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
                 --brotli       add a packed copy beside each file, for hosts
                                that send those
  size         show where the bytes of the page go, and weigh it
  reproduce    build the page here and from a copy elsewhere, and compare them
               byte for byte
  bench        measure sizes, computing times, loading times and the time from
               key to paint, and bring the README's tables up to date
                 --only GROUP   measure only one group of these
                 --table        only make the tables of what was measured before
  references   rebuild the check data with general-purpose Python libraries, in
               an environment of its own, and measure against them
                 --table        only print every computed value beside its
                                published one; needs no Python
  kill         kill the browser at moments of chance while somebody types, and
               look whether anything was lost
                 --times N      so often (500)
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
        Task::Dist { brotli } => serve::dist(&workspace, brotli),
        Task::Size => shares::size(&workspace),
        Task::Reproduce => reproduce::reproduce(&workspace),
        Task::Bench { table: true, .. } => bench::tables(&workspace),
        Task::Bench { table: false, only } => bench::bench(&workspace, only.as_deref()),
        Task::References { table: true } => references::table(&workspace),
        Task::References { table: false } => references::rebuild(&workspace),
        Task::Kill { times } => kill::kill(&workspace, times),
        Task::Fuzz { inputs } => fuzz::fuzz(&workspace, inputs),
        Task::Screenshots => screenshots::screenshots(&workspace),
        Task::Help => {
            print!("{HELP}");
            Ok(())
        }
    }
}
