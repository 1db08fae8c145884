//! Headers between the steps of a long task.

use std::time::Instant;

/// Says which step begins and how long the task has run.
#[derive(Debug)]
pub struct Progress {
    begun: Instant,
}

impl Progress {
    /// Starts the clock.
    pub fn begin() -> Self {
        Self { begun: Instant::now() }
    }

    /// Announces a step.
    pub fn step(&self, what: &str) {
        println!("\n[{:6.1} s] {what}", self.begun.elapsed().as_secs_f64());
    }
}
